"""What was measured goes back to what made it: forward through the network of the whole chain, back by the study."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from piezolab.chain import ChainError, SignalChain
from piezolab.chain.assembly import PICKUP, assemble
from piezolab.circuit.elements import Resistor
from piezolab.circuit.small_signal import impedance, transfer
from piezolab.studies.in_hand.measure_pickup import (
    Measured,
    MeasureError,
    consequence,
    pickup_by_meter,
    pickup_by_recordings,
    playing_by_take,
    put_in,
)
from piezolab.studies.levels import levels

discs = st.sampled_from(["1", "2p", "2s"])


def recorded(chain: SignalChain, ohm: float, hertz: float) -> float:
    """Level in dB at the input with a resistor across the pickup: the nodal solution of the whole network."""
    built = assemble(chain.but(stage="direct").values)
    network = built.network.plus(Resistor("across", PICKUP, "ground", ohm))
    return 20 * float(np.log10(np.abs(transfer(network, hertz, built.drive, built.load))))


@given(st.floats(2e-9, 60e-9), discs, st.floats(80, 400), st.floats(0.0, 40.0), st.sampled_from([0.0, 0.02]))
@settings(max_examples=40)
def test_two_recordings_through_the_network_give_the_capacitance_back(farad, kind, hertz, temp, loss):
    chain = SignalChain(
        pickup_c=farad, discs=kind, temp_c=temp, pickup_loss=loss, input_r=1e6, input_c=1e-10, cable_m=2.0
    )
    reactance = 1 / (2 * np.pi * hertz * farad)
    one, other = (reactance / 4, recorded(chain, reactance / 4, hertz)), (reactance * 4, 0.0)
    other = (other[0], recorded(chain, other[0], hertz))
    found = pickup_by_recordings(chain, one, other, hertz)
    assert found.low <= farad <= found.high
    assert found.value == pytest.approx(farad, rel=2e-3 if loss == 0 else 0.05)
    assert pickup_by_recordings(chain, other, one, hertz) == found  # whichever was recorded first


def test_dielectric_loss_moves_the_levels_as_little_as_is_said():
    for farad in (2e-9, 15e-9):
        for ohm in (1e4, 1e5, 1e6):
            lossy, plain = (SignalChain(pickup_c=farad, pickup_loss=loss) for loss in (0.02, 0.0))
            apart = [recorded(chain, ohm, 147.0) - recorded(chain, 10 * ohm, 147.0) for chain in (lossy, plain)]
            assert abs(apart[0] - apart[1]) < 0.2


@given(st.floats(1e-9, 100e-9), discs, st.floats(0.0, 3.0))
@settings(max_examples=30)
def test_a_capacitance_range_reads_what_hangs_on_it(farad, kind, lead):
    """Forward: the network's admittance at the lead's end, at a meter's usual 400 Hz or so."""
    chain = SignalChain(stage="direct", pickup_c=farad, discs=kind, lead_m=lead, pickup_loss=0.0, pickup_r=100e9)
    built = assemble(chain.values)
    pickup = [part.element() for part in built.where("pickup", "lead")]
    network = type(built.network)(pickup)
    reading = float(np.imag(1 / impedance(network, 400.0, PICKUP, "ground"))) / (2 * np.pi * 400.0)
    found = pickup_by_meter(chain, reading, 0.02, 1e-11)
    assert found.value == pytest.approx(farad, rel=1e-6)
    assert found.low < farad < found.high
    bare = pickup_by_meter(chain, reading, 0.02, 1e-11, through_lead=False)
    assert bare.value >= found.value


@given(st.floats(0.05, 0.9), st.booleans(), st.floats(0.5, 10.0))
@settings(max_examples=20)
def test_a_take_gives_the_playing_level_back(play, staged, full_scale):
    chain = SignalChain(play_v=play, pickup_loss=0.0)
    direct = chain if staged else chain.but(stage="direct")
    peak = float(levels(direct).output_v_peak)
    if peak > full_scale:
        return
    found = playing_by_take(chain, 20 * np.log10(peak / full_scale), full_scale, 1000.0, staged)
    assert found.value == pytest.approx(play, rel=1e-3)
    assert found.low < play < found.high


def test_what_was_measured_goes_in_and_nothing_else_changes():
    chain = SignalChain(gate_r=1e6)
    there = put_in(chain, "pickup_c", Measured(14.23456e-9, 14e-9, 14.5e-9))
    assert there.pickup_c == 14.23e-9 and there.but(pickup_c=None) == chain
    with pytest.raises(KeyError, match="gate_r"):
        put_in(chain, "gate_r", Measured(1.0, 1.0, 1.0))
    with pytest.raises(ChainError):
        put_in(chain, "pickup_c", Measured(1.0, 1.0, 1.0))
    with pytest.raises(ChainError):
        put_in(chain.but(input=("pedal", "interface")), "input_r", Measured(1e6, 0.9e6, 1.1e6))


def test_the_consequence_lies_between_its_ends():
    chain = SignalChain(stage="direct", pickup_c=2e-9, input_r=100e3, cable_m=0.0, lead_m=0.0, input_c=0.0)
    ends = consequence(chain, "pickup_c", Measured(2e-9, 1e-9, 3e-9))
    assert ends.low < ends.value < ends.high < 0
    # far below the corner the bass is proportional to the capacitance: 1 nF to 2 nF makes nearly 6 dB
    assert ends.value - ends.low == pytest.approx(6.0, abs=0.3) and ends.apart == ends.high - ends.low
    room = consequence(SignalChain(), "play_v", Measured(1.0, 0.5, float("inf")))
    assert room.low - room.value == pytest.approx(6.02, abs=0.01) and room.high == room.value


def test_what_cannot_be_is_refused_in_a_sentence():
    with pytest.raises(MeasureError, match=r"^levels: they give .* allowed is more"):
        pickup_by_recordings(SignalChain(cable_m=100.0), (100e3, -8.0), (1e6, 0.0), 147.0)
    with pytest.raises(MeasureError, match="next to nothing"):
        playing_by_take(SignalChain(discs="2px", stage="direct"), -6.0, 2.0, 1000.0, False)
