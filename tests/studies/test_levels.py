"""Levels and clip edges: against the input's divider, the square law by hand, and the nonlinear network itself."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from piezolab.chain import SignalChain
from piezolab.studies.bias import bias
from piezolab.studies.levels import levels, levels_of, load_voltage
from piezolab.studies.linear import LinearChain
from piezolab.studies.response import response
from piezolab.studies.swing import swing


def test_the_bare_pickup_clips_only_the_input() -> None:
    chain = SignalChain(stage="direct")
    found = levels(chain)
    assert found.clip_cause == "input"
    assert float(found.up) == float(found.down) == pytest.approx(1.5 / response(chain, np.array([1e3])).gain_1khz)
    assert float(found.input_headroom_db) == pytest.approx(20 * np.log10(float(found.up) / 1.0))


def test_output_level_in_dbu_counts_rms() -> None:
    """1 V peak is 0.7071 V rms, -0.79 dBu (0 dBu is 0.7746 V)."""
    chain = SignalChain(stage="direct", input_r=1e9, input_c=0.0, cable_m=0.0, lead_m=0.0)
    assert float(levels(chain).output_dbu) == pytest.approx(-0.79, abs=0.01)


def test_a_follower_that_is_not_loaded_cuts_off_where_the_square_law_says() -> None:
    """Bleed and input nearly nothing: the source follows until I_D is 1 % of rest."""
    chain = SignalChain(bleed_r=100e6, input="acoustic-amplifier", input_max=50.0)
    rest, v = bias(chain), chain.values
    beta = v.jfet_idss / (1 + v.jfet_lambda * v.jfet_vds) / v.jfet_vgsoff**2
    i = 0.01 * float(rest.i_d)
    v_s = i * 3.9e3
    v_gs = brentq(lambda x: beta * (x - v.jfet_vgsoff) ** 2 * (1 + v.jfet_lambda * (9 - v_s)) - i, v.jfet_vgsoff, 0)
    edge = float(rest.v_g) - (v_s + v_gs)
    found = levels(chain)
    assert found.cause_down == "cut-off"
    # the pickup's capacitance loses 0.02 dB into lead and gate
    assert float(found.down) == pytest.approx(edge, rel=0.02)


@settings(max_examples=25)
@given(
    st.sampled_from(["follower", "gain"]),
    st.floats(0.001, 0.02),
    st.sampled_from(["amplifier", "line", "microphone"]),
)
def test_small_swings_come_out_as_the_response_says(stage: str, e: float, kind: str) -> None:
    chain = SignalChain(stage=stage, input=(kind,))
    linear = LinearChain.of(chain.values)
    up, down = load_voltage(linear, np.array([e / 100, -e / 100]))
    slope = abs(up - down) / (2 * e / 100)
    assert slope == pytest.approx(abs(complex(linear.gain(1000.0))), rel=2e-3)


def test_edges_of_a_batch_are_those_of_its_members() -> None:
    ohms = np.array([1.5e3, 3.9e3, 10e3])
    chain = SignalChain(input="line")
    many = levels_of(chain.values.but(source_r=ohms))
    for n, ohm in enumerate(ohms):
        one = levels(chain.but(source_r=float(ohm)))
        assert float(many.up[n]) == pytest.approx(float(one.up), rel=1e-6)
        assert float(many.down[n]) == pytest.approx(float(one.down), rel=1e-6)
        assert many.clip_cause[n] == str(one.clip_cause)


def test_an_input_that_takes_less_clips_first() -> None:
    edges = [float(levels(SignalChain(input_max=m)).clip_input_v_peak) for m in (0.1, 0.3, 1.0, 10.0)]
    assert edges == sorted(edges)
    assert levels(SignalChain(input_max=0.1)).clip_cause == "input"
    assert levels(SignalChain(input_max=0.1)).clip_input_v_peak == pytest.approx(0.1 / 0.8856, rel=0.02)


def test_the_load_line_moves_the_edge_and_not_only_the_source_resistor() -> None:
    """The same bias into 2 kilohm instead of 1 megohm cuts off at less than half the swing."""
    light, heavy = (
        swing(LinearChain.of(SignalChain(input=(kind,)).values)) for kind in ("amplifier", "microphone")
    )
    assert float(heavy.headroom) < 0.6 * float(light.headroom)
