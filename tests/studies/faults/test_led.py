"""The light beside the board in the search for a fault: readings against equations written out here, and its fault."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.sheets.sheet_data import SheetData
from piezolab.studies.board_as_built import BoardAsBuilt
from piezolab.studies.faults import Meter, Reading, diagnose, predicted
from piezolab.studies.faults.beforehand import beforehand
from piezolab.studies.faults.drawn_board import table_of
from piezolab.studies.faults.fault_network import fault_network, settings_of
from piezolab.studies.faults.making import faults_of, question_of
from piezolab.studies.faults.network_names import LIGHT_R, Settings
from piezolab.studies.faults.simulate import Findings, Tone, simulate
from piezolab.studies.led import led

CHAIN = SignalChain({"jfet_idss": 5e-3, "jfet_vgsoff": -2.0, "jfet_lambda": 0.0, "jfet_ig": 0.0})
BETA, V_OFF, R_S = 5e-3 / 4, -2.0, 3.9e3
SATURATION, V_T = 1e-6, 0.02569
METER = Meter()
INSIDE = 40.0  # ohm: a weak battery, so that what the light draws shows


def found(diode: bool, lit: bool, emf: float, times: float = 1.0) -> Findings:
    assembly, light = assemble(CHAIN.values), led(CHAIN, "red", diode) if lit else None
    network = fault_network(assembly, diode, light)
    settings: Settings = settings_of(network, assembly) | {"B1.emf": emf, "B1.inside": INSIDE}
    if light:
        settings[f"{LIGHT_R}.ohm"] = times * light.ohm
    settings = {name: np.full(2, value) for name, value in settings.items()}
    return simulate(network, settings, 2, question_of(CHAIN, METER, Tone()))


def supply_by_hand(diode: bool, lit: bool, emf: float, times: float = 1.0) -> float:
    """Ohm's, Shockley's and the square law round one loop; the light: its drop and its resistor, or nothing."""
    stage = brentq(lambda i: i - BETA * (-i * R_S - V_OFF) ** 2, 0.0, -V_OFF / R_S)
    light = led(CHAIN, "red", diode)

    def short(volt: float) -> float:
        ampere = stage + volt / METER.input_ohm
        ampere += max(volt - light.drop_v, 0.0) / (times * light.ohm) if lit else 0.0
        return volt + ampere * INSIDE + (V_T * math.log1p(ampere / SATURATION) if diode else 0.0) - emf

    return brentq(short, 0.0, emf)


@pytest.mark.parametrize("diode", [True, False])
@pytest.mark.parametrize(("lit", "emf", "times"), [(True, 9, 1), (True, 9, 0.1), (True, 6, 1), (False, 9, 1)])
def test_the_supply_with_the_light_on_it(diode: bool, lit: bool, emf: float, times: float) -> None:
    told = found(diode, lit, emf, times)
    by_hand = supply_by_hand(diode, lit, emf, times)
    # the diode's resistance is found in two turns, from a guess that is meant for a third of a milliampere
    assert told.dc["supply"][0] == pytest.approx(by_hand, abs=2e-3 if times == 1 or not diode else 5e-3)
    if lit:
        assert found(diode, False, emf).dc["supply"][0] - by_hand > 0.02, "it draws"
        drawn = emf * (emf - told.dc["clip"][0]) / INSIDE
        assert told.battery_w[0] == pytest.approx(drawn, rel=0.02)


def test_it_stays_dark_below_its_drop_behind_a_reversed_battery_and_under_the_ohms_ranges() -> None:
    for emf in (1.7, -9.0):
        one, other = found(False, True, emf), found(False, False, emf)
        for place in one.dc:
            assert one.dc[place][0] == pytest.approx(other.dc[place][0], abs=1e-6), (emf, place)
    one, other = found(True, True, 9.0), found(True, False, 9.0)
    assert {place: one.ohm[place][0] for place in one.ohm} == {
        place: pytest.approx(other.ohm[place][0], rel=1e-6) for place in other.ohm
    }


def test_the_search_expects_what_the_sheet_prints_and_finds_the_wrong_resistor() -> None:
    chain, build = SignalChain(supply="coin-2"), BoardAsBuilt(led="red", diode="none")
    table, sheet = table_of(chain, build), SheetData(chain, build)
    for row in sheet.volts:
        if row.lane in ("clip", "supply"):
            low, typical, high = predicted(table, "healthy")[f"dc:{row.lane}"]
            assert row.expected.low - 0.05 <= typical <= row.expected.high + 0.05
    sound = [Reading("dc", "clip", sheet.volts[0].expected.typical), Reading("ohm", "supply", 4.0e3)]
    assert diagnose(table, sound).spots[0].spot == "healthy"
    assert f"small:{LIGHT_R}" in {fault.key for fault in table.hypotheses}
    shares = {spot.spot: spot.probability for spot in beforehand(chain, False, False, "red")}
    assert shares[f"part:{LIGHT_R}"] == pytest.approx(diagnose(table).probability(f"part:{LIGHT_R}"), rel=0.2)


def test_without_a_light_there_is_no_fault_of_it() -> None:
    network = fault_network(assemble(CHAIN.values))
    assert not [fault.key for fault in faults_of(CHAIN, network) if LIGHT_R in fault.key]
