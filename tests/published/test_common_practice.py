"""What makers of home-made instruments go by: common practice, no source.

No lead, cable or input capacitance and a pickup that does not leak: the loss is below the full level.
"""

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.circuit.elements import Capacitor, Resistor, VoltageSource
from piezolab.circuit.network import Network
from piezolab.circuit.small_signal import transfer
from piezolab.pitch import frequency
from piezolab.quantity import decibels
from piezolab.studies.bias import bias
from piezolab.studies.linear import LinearChain
from piezolab.studies.loading import loading
from piezolab.studies.response import response

BARE = {"stage": "direct", "lead_m": 0.0, "cable_m": 0.0, "input_c": 0.0, "pickup_loss": 0.0}
E2, E1 = 82.4, 41.2  # Hz


def lost_db(pickup_c: float, input_r: float, f: float) -> float:
    """Loss below the full level of a bare pickup into a resistance, by the studies and by the chain's network."""
    chain = SignalChain({**BARE, "pickup_c": pickup_c, "pickup_r": 100e9, "input_r": input_r})
    perfect = chain.values.but(pickup_r=1e18)
    by_network = -decibels(np.abs(LinearChain.of(perfect).gain(f)))
    bare = loading(chain).bare
    assert -decibels(np.abs(bare.gain(f)) / bare.full_level) == pytest.approx(by_network, abs=1e-3)
    return by_network


def test_a_disc_of_15_nf_into_10_kilohm_loses_over_20_db_at_82_hz() -> None:
    """Common practice, no source: a line input is far too low for a bare disc."""
    assert 20 < lost_db(15e-9, 10e3, E2) < 26


def test_a_small_disc_of_1_nf_into_1_megohm_loses_over_6_db_at_82_hz() -> None:
    """Common practice, no source: a guitar amplifier's input is not enough for a small disc."""
    assert 6 < lost_db(1e-9, 1e6, E2) < 12


def test_3_3_megohm_across_15_nf_loses_less_than_a_tenth_of_a_db_at_41_hz() -> None:
    """Common practice, no source: a gate resistor of megohms keeps the lowest string of a bass whole."""
    assert 0 < lost_db(15e-9, 3.3e6, E1) < 0.1
    assert frequency("E1") == pytest.approx(E1, abs=0.01) and frequency("E2") == pytest.approx(E2, abs=0.01)


def test_10_microfarad_into_10_kilohm_blocks_dc_and_passes_20_hz() -> None:
    """Common practice, no source: the usual coupling capacitor in front of a line input."""
    network = Network(
        [VoltageSource("V", "in", "ground"), Capacitor("C", "in", "out", 10e-6), Resistor("R", "out", "ground", 10e3)]
    )
    level = decibels(np.abs(transfer(network, np.array([1e-4, 20.0]), "V", "out")))
    assert level[0] < -80 and level[1] > -0.05
    # and in a whole chain: less than half a decibel at 20 Hz for it, and nothing but leakage on the jack
    chain = SignalChain(input="line", out_c=10e-6, gate_r=1e9, bleed_r=100e3)
    whole = chain.but(out_c=1e-3)
    f = np.array([20.0])
    change = decibels(np.abs(LinearChain.of(chain.values).gain(f) / LinearChain.of(whole.values).gain(f)))
    assert -0.05 < change[0] < 0
    assert LinearChain.of(chain.values).point.voltage("jack") == pytest.approx(0, abs=1e-12)
    assert bias(chain).v_s > 0.5


@pytest.mark.parametrize("pickup_c", [1e-9, 5e-9, 15e-9, 30e-9])
def test_a_longer_cable_on_a_bare_piezo_lowers_the_level_and_the_corner(pickup_c: float) -> None:
    """Common practice, no source: capacitance beside capacitance makes it quieter, not duller, and a little bassier."""
    found = [loading(SignalChain(stage="direct", pickup_c=pickup_c, cable_m=m)) for m in (1, 3, 10, 30)]
    levels, corners = [one.full_level for one in found], [one.corner_hz for one in found]
    assert levels == sorted(levels, reverse=True) and len(set(levels)) == 4
    assert corners == sorted(corners, reverse=True) and len(set(corners)) == 4


def test_a_follower_gives_no_voltage_gain_and_a_gain_stage_does() -> None:
    """Common practice, no source: one makes the pickup strong enough for a cable, the other also louder."""
    bare = response(SignalChain(stage="direct", input="line"))
    for jfet in ("J113", "2N5457", "J201", "MPF102"):
        follower = response(SignalChain(jfet=jfet, input="line"))
        assert 0.4 < follower.midband_gain < 1
        # its use is the bass: on the same line input the bare pickup is thin below a kilohertz
        assert follower.low_corner_hz < 20 and bare.low_corner_hz > 900
    for jfet in ("J113", "2N5457"):
        assert response(SignalChain(stage="gain", jfet=jfet, supply_v=18)).midband_gain > 2
