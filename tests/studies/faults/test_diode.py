"""The polarity diode in the fault finder: readings against equations written out here, and what is made of them."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.studies.faults import FaultTable, Meter, Reading, diagnose, fault_table, predicted
from piezolab.studies.faults.fault_network import fault_network, settings_of
from piezolab.studies.faults.making import faults_of, question_of
from piezolab.studies.faults.network_names import Settings
from piezolab.studies.faults.simulate import Findings, Tone, simulate

SATURATION, LEAK, V_T = 1e-6, 1e-5, 0.02569  # A, A, V at 25 degC
CHAIN = SignalChain({"jfet_idss": 5e-3, "jfet_vgsoff": -2.0, "jfet_lambda": 0.0, "jfet_ig": 0.0})
BETA, V_OFF, R_S = 5e-3 / 4, -2.0, 3.9e3
METER = Meter()


def found(key: str, **more: float) -> Findings:
    """Readings of the parts as designed with one fault."""
    assembly = assemble(CHAIN.values)
    network = fault_network(assembly)
    fault = next(fault for fault in faults_of(CHAIN, network) if fault.key == key)
    settings: Settings = {name: np.full(2, value) for name, value in settings_of(network, assembly).items()}
    settings |= fault.edit(settings, lambda low, high: np.full(2, math.sqrt(low * high)))
    settings |= {name: np.full(2, value) for name, value in more.items()}
    return simulate(network, {k: np.broadcast_to(v, 2) for k, v in settings.items()}, 2,
                    question_of(CHAIN, METER, Tone()))  # fmt: skip


def source_current() -> float:
    """Square law: I = beta (-I R_S - V_off)^2."""
    return brentq(lambda i: i - BETA * (-i * R_S - V_OFF) ** 2, 0.0, -V_OFF / R_S)


def test_volts_behind_the_diode_by_the_square_law_and_shockleys() -> None:
    ampere = source_current() + 9.0 / METER.input_ohm
    by_hand = 9.0 - ampere * 1.0 - V_T * math.log1p(ampere / SATURATION)
    volts = found("healthy").dc
    assert volts["supply"][0] == pytest.approx(by_hand, abs=2e-3)
    assert volts["clip"][0] == pytest.approx(9.0, abs=2e-3)
    assert volts["source"][0] == pytest.approx(source_current() * R_S, rel=2e-3)
    assert found("shorted_diode:D1").dc["supply"][0] == pytest.approx(9.0, abs=2e-3)


@pytest.mark.parametrize("up", [0, 1, 2, 3])
def test_ohms_at_the_clip_range_by_range(up: int) -> None:
    """One loop: the range's resistance, the diode, the channel at V_GS = 0 near zero volts, the source resistor. The
    20 kohm range is the lowest to show the board; up to three above it may have been left on."""
    test_ohm = 10e3 * 10.0**up

    def loop(i: float) -> float:
        drop = V_T * math.log1p(i / SATURATION)
        return METER.test_v - i * test_ohm - drop - channel(i) - i * R_S

    def channel(i: float) -> float:  # the triode law with the gate at ground: V_GS = -I R_S
        drive = -i * R_S - V_OFF
        return drive - math.sqrt(drive**2 - i / BETA)

    ampere = brentq(loop, 1e-15, METER.test_v / (test_ohm + R_S))
    seen = METER.test_v - ampere * test_ohm
    read = found("healthy", **{"meter.up": up}).ohm["clip"][0]
    assert read == pytest.approx(seen / ampere, rel=0.01)


def test_reversed_it_leaks_and_a_reversed_battery_meets_it() -> None:
    """Behind 10 uA of leak hangs the channel with its source resistor: 4.1 kohm, by Ohm's law 41 mV."""
    board = R_S + 1 / (2 * BETA * -V_OFF)
    assert found("reversed_diode:D1").dc["supply"][0] == pytest.approx(LEAK * board, rel=0.05)
    back = found("reversed_battery:B1")
    assert back.dc["clip"][0] == pytest.approx(-9.0, abs=0.01)
    assert back.dc["supply"][0] == pytest.approx(-LEAK * board, rel=0.05)
    assert back.battery_w[0] < 1e-3
    assert found("open:D1").dc["supply"][0] == pytest.approx(0.0, abs=1e-5)


def test_a_healthy_board_read_through_the_diode_stays_healthy(table: FaultTable) -> None:
    one = diagnose(table, [Reading("ohm", "clip", 15.1e3)])
    assert one.spots[0].spot == "healthy" and one.probability("leads") < 0.05
    readings = [Reading(kind, place, predicted(table, "healthy")[f"{kind}:{place}"][1])
                for kind, place in (("ohm", "clip"), ("dc", "clip"), ("dc", "supply"), ("dc", "source"),
                                    ("ohm", "plug"), ("high", "jack"), ("ohm", "supply"))]  # fmt: skip
    assert diagnose(table, readings).spots[0].spot == "healthy"
    bare = fault_table(SignalChain(), diode=False)
    assert diagnose(bare, [Reading("ohm", "clip", 15.1e3)]).probability("leads") > 0.2, "else a bad joint"


@pytest.mark.parametrize("high", [6.6e3, 12e3, 27e3])
def test_any_range_of_the_meter_may_read_the_clip(table: FaultTable, high: float) -> None:
    assert diagnose(table, [Reading("ohm", "clip", high)]).spots[0].spot == "healthy"


def test_over_range_at_the_clip_is_open(table: FaultTable) -> None:
    clip = diagnose(table, [Reading("ohm", "clip", math.inf), Reading("ohm", "supply", 4e3)])
    assert clip.spots[0].spot == "leads"
    assert {"open:D1", "open:B1.plus"} <= {fault.key for fault in clip.spots[0].faults if fault.probability > 0.05}


@pytest.mark.parametrize("key, readings", [
    ("reversed_diode:D1", {"dc:clip": 9.2, "dc:supply": 0.04, "dc:source": 0.04}),
    ("missing_diode:D1", {"ohm:clip": 4.02e3, "ohm:supply": 4.02e3, "dc:clip": 9.2, "dc:supply": 9.2}),
])  # fmt: skip
def test_faults_of_the_diode_are_found(table: FaultTable, key: str, readings: dict[str, float]) -> None:
    found = diagnose(table, [Reading(*check.split(":"), value) for check, value in readings.items()])
    assert found.spots[0].spot == "part:D1" and found.spots[0].faults[0].key == key


def test_without_a_diode_it_is_the_board_of_before() -> None:
    bare = fault_table(SignalChain(), diode=False)
    assert not any("D1" in fault.key for fault in bare.hypotheses)
    assert predicted(bare, "healthy")["ohm:clip"][2] < 4.3e3
