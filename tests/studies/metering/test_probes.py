"""A meter by algebra against the meter as a part of the network, solved with it: two routes for each place."""

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.chain.assembly import GROUND
from piezolab.circuit.elements import Resistor, VoltageSource
from piezolab.circuit.operating_point import operating_point
from piezolab.circuit.small_signal import linearised, transfer
from piezolab.studies.metering.board_under_meter import CLIP, CONTACT_OHM, fed, under_meter, with_design
from piezolab.studies.metering.probes import Probe, at_probes, fed_at_probes, tone_at_probes

CHAINS = [
    SignalChain(),
    SignalChain({"stage": "gain", "return": "divider", "gate_stop": 1e3}),
    SignalChain({"return": "tap", "discs": "2p", "drain_r": 2.2e3}),
]


@pytest.mark.parametrize("chain", CHAINS)
@pytest.mark.parametrize("schottky", [True, False])
def test_volts_are_those_with_the_meter_soldered_in(chain: SignalChain, schottky: bool) -> None:
    board = under_meter(chain, schottky, size=20)
    states = np.array([[6.0], [9.5]])
    lanes = [CLIP, *board.lanes[:-1]]
    found = fed_at_probes(board, with_design(board), [Probe(lane, ohm=1e6) for lane in lanes], states)
    assert found.shape == (len(lanes), 2, 21)
    for lane, volts in zip(lanes, found, strict=True):
        meter = Resistor("meter", lane, GROUND, 1e6)
        many = fed(board, board.network.plus(meter), states, CONTACT_OHM).point.voltage(lane)
        designed = fed(board, board.nominal.plus(meter), states, CONTACT_OHM).point.voltage(lane)
        assert volts[:, :-1] == pytest.approx(many, rel=1e-9, abs=1e-10)
        assert volts[:, -1:] == pytest.approx(designed, rel=1e-9, abs=1e-10)


@pytest.mark.parametrize("chain", CHAINS)
def test_ohms_are_those_of_a_meter_soldered_in(chain: SignalChain) -> None:
    """Between lanes that hang on the insulation alone, unit currents leave eight digits of a kilohm."""
    board = under_meter(chain, size=10)
    pairs = [(a, b) for a in board.lanes for b in board.lanes if a != b]
    found = at_probes(board.network, [Probe(a, b, 1e5, 0.4) for a, b in pairs]).volt
    for (a, b), volts in zip(pairs, found, strict=True):
        probed = board.network.plus(Resistor("probe", "tip", a, 1e5), VoltageSource("cell", "tip", b, 0.4))
        assert volts == pytest.approx(operating_point(probed).voltage(a, b), rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("chain", CHAINS)
def test_tones_are_those_with_the_meter_soldered_in(chain: SignalChain) -> None:
    board = under_meter(chain, size=10)
    sent = board.network.plus(VoltageSource("tone", "sender", GROUND), Resistor("own", "sender", "pickup", 1e6))
    lanes = board.lanes[:-1]
    found = tone_at_probes(board, sent, [Probe(lane, ohm=1e6) for lane in lanes], "tone", 400.0)
    for lane, gain in zip(lanes, found, strict=True):
        powered = fed(board, sent.plus(Resistor("meter", lane, GROUND, 1e6)), float(chain.values.supply_v))
        expected = transfer(linearised(powered.network, powered.point), 400.0, "tone", lane)
        assert gain == pytest.approx(expected, rel=1e-8, abs=1e-14)
