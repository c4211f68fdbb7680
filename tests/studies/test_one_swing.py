"""One swing in time: the mark of the Bode plot, the closed form of a bare pickup, and a general solver in time."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from piezolab.chain import SignalChain
from piezolab.chain.link import from_link
from piezolab.pitch import parse_tuning
from piezolab.studies.loading import bare_pickup
from piezolab.studies.one_swing import SWINGS, one_swing
from piezolab.studies.response import response

PLAIN = {"stage": "direct", "pickup_loss": 0.0}


def test_it_is_the_mark_on_the_bode_plot():
    for link in ("input=line", "input=line&stage=direct", "stage=gain&pickup_c=1n", "discs=2px"):
        chain = from_link(link)
        for note in parse_tuning(chain.tuning):
            found = one_swing(chain, note.frequency_hz)
            plot = response(chain, np.array([note.frequency_hz]))
            assert found.share == pytest.approx(abs(plot.gain[0]), rel=1e-12)
            assert np.max(found.arrives) <= found.share * (1 + 1e-12)


@settings(max_examples=30)
@given(
    st.floats(0.2e-9, 100e-9), st.sampled_from(["line", "amplifier", "pedal-vintage"]), st.floats(0.5, 20.0),
    st.floats(30.0, 1000.0),
)  # fmt: skip
def test_size_and_lead_of_a_bare_pickup_by_its_closed_form(farad, kind, metres, hertz):
    chain = SignalChain(**PLAIN, pickup_c=farad, input=kind, cable_m=metres)
    found, bare = one_swing(chain, hertz), bare_pickup(chain.values)
    x = hertz / float(bare.corner_hz)
    assert found.share == pytest.approx(float(bare.full_level) * x / np.hypot(1.0, x), rel=1e-9)
    assert found.early_s == pytest.approx(np.arctan(1 / x) / (2 * np.pi * hertz), rel=1e-9)


def test_a_general_solver_ends_at_the_same_swing():
    """C_p dv/dt = C_p de/dt - v/R - C dv/dt from rest, until what it began with has gone."""
    chain = SignalChain(**PLAIN, pickup_c=5e-9, input="line")
    bare, hertz = bare_pickup(chain.values), 147.0
    omega, c_p, c = 2 * np.pi * hertz, float(bare.c_p), float(bare.c_load)
    r = 1 / (1 / float(bare.r_p) + 1 / float(bare.r_load))
    periods = 12
    found = one_swing(chain, hertz)
    late = periods / hertz + found.time_s
    solved = solve_ivp(
        lambda t, v: (c_p * omega * np.cos(omega * t) - v / r) / (c_p + c), (0.0, late[-1]), [0.0],
        t_eval=late, rtol=1e-9, atol=1e-12, max_step=1e-4,
    )  # fmt: skip
    assert np.allclose(solved.y[0], found.arrives, atol=1e-5)


def test_the_disc_makes_one_and_a_half_swings_of_size_one():
    found = one_swing(SignalChain(), 100.0)
    assert found.time_s[-1] == pytest.approx(SWINGS / 100.0)
    assert np.max(found.disc) == pytest.approx(1.0, abs=1e-3) and found.disc[-1] == pytest.approx(0.0, abs=1e-9)
