"""A held press: the closed form against a general solver in time and against the pole of the nodal equations."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from piezolab.chain import SignalChain
from piezolab.chain.link import from_link
from piezolab.studies.held_press import FROM_S, LEFT, TO_S, held_press
from piezolab.studies.response import response

PLAIN = {"stage": "direct", "pickup_loss": 0.0}
CHAINS = st.builds(
    lambda farad, kind, metres, discs: SignalChain(**PLAIN, pickup_c=farad, input=kind, cable_m=metres, discs=discs),
    st.floats(0.2e-9, 100e-9), st.sampled_from(["line", "amplifier", "pedal-vintage"]), st.floats(0.0, 20.0),
    st.sampled_from(["1", "2p", "2s"]),
)  # fmt: skip


@settings(max_examples=30)
@given(CHAINS)
def test_it_has_the_pole_of_the_nodal_equations(chain):
    """One pole, H = k jw tau/(1 + jw tau): jw/H over jw is a straight line, its slope 1/k and its start 1/(k tau)."""
    found = held_press(chain)
    w = 2j * np.pi * np.array([0.2, 1.0, 5.0]) / (2 * np.pi * found.tau_s)
    h = response(chain, (w / 2j / np.pi).real).gain
    slope, at_zero = np.polyfit(w.imag, (w / h).imag, 1)[0], np.mean((w / h).real)
    assert slope / at_zero == pytest.approx(found.tau_s, rel=1e-6)


@settings(max_examples=5)
@given(CHAINS)
def test_a_general_solver_drains_alike(chain):
    """Kirchhoff's current law at the input once the press is over: (C_p + C) dv/dt = -v/R, read off the chain."""
    found, values = held_press(chain), chain.values
    times = {"1": (1, 1), "2p": (2, 1), "2s": (1, 2)}[chain.discs]  # beside each other, one after the other
    c_p, leak = values.pickup_c * times[0] / times[1], values.pickup_r * times[1] / times[0]
    c = values.lead_m * values.lead_c + values.cable_m * values.cable_c + values.input_c
    until = found.time_s[found.time_s < 5 * found.tau_s]
    solved = solve_ivp(
        lambda t, v: -v * (1 / leak + 1 / values.input_r) / (c_p + c), (0.0, until[-1]), [c_p / (c_p + c)],
        t_eval=until, rtol=1e-9, atol=1e-12,
    )  # fmt: skip
    assert np.allclose(solved.y[0], found.left[: len(until)], rtol=1e-6)


def test_37_percent_is_left_after_r_times_c():
    found = held_press(from_link("input=line"))
    assert (found.time_s[0], found.time_s[-1]) == pytest.approx((FROM_S, TO_S))
    assert pytest.approx(0.37, abs=0.003) == LEFT
    assert found.tau_s == pytest.approx(found.r_ohm * found.c_farad)
    left = np.interp(np.log(found.tau_s), np.log(found.time_s), found.left)
    assert left == pytest.approx(LEFT * found.start, rel=1e-3)


def test_discs_that_cancel_have_nothing_to_drain():
    assert held_press(from_link("discs=2px")) is None
