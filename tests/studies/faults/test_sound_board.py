"""Sheet and search for a fault expect the same of a sound board, whatever it is built with and read with."""

import pytest

from piezolab.chain.link import from_link
from piezolab.sheets.sheet_data import SheetData
from piezolab.studies.board_as_built import BoardAsBuilt
from piezolab.studies.faults import FaultTable, diagnose
from piezolab.studies.metering.sound_board import sound_readings

SMALL = {"ohm_max": 2e6, "meter_ohm": 1e6, "test_v": 0.3, "low_v": 3.0}
LARGE = {"counts": 6000, "ohm_max": 60e6, "test_v": 0.6}
BUILDS = [("", {}), ("", SMALL), ("return=tap", {"diode": "none", **LARGE}), ("stage=gain&supply=adapter", SMALL),
          ("supply=li-ion-9v&stage=gain", {"led": "red"})]  # fmt: skip


@pytest.mark.parametrize(("link", "options"), BUILDS)
def test_the_sheet_prints_what_the_search_expects(link: str, options: dict) -> None:
    data = SheetData(from_link(link), BoardAsBuilt(**options))
    sound = dict(sound_readings(data.chain, data.build.guarded, data.build.meter, data.build.led))
    assert sound.pop(("ohm", "clip")) == data.power.clip_on
    assert sound.pop(("ohm", "plug")) == sound["ohm", data.assembly.jack]
    printed = {("dc", row.lane): row.expected for row in data.volts}
    printed |= {("ohm", row.red): row.expected for row in data.ohms if row.black == "ground"}
    assert sound.keys() == printed.keys() and len(sound) >= 9
    for key, expected in sound.items():
        assert (expected.low, expected.high) == (printed[key].low, printed[key].high), key


def test_no_stage_nothing_to_expect() -> None:
    assert not sound_readings(from_link("stage=direct"), True, BoardAsBuilt().meter)


def test_the_search_tells_these_figures(table: FaultTable) -> None:
    sheet, told = SheetData(table.chain), 0
    found = diagnose(table, (), ("weak",))
    for step in (found.next, *found.others):
        for spot, expected in step.expected:
            if spot == "healthy" and step.check.kind == "ohm" and step.check.place != "cable":
                sound = table.sound["ohm", step.check.place]
                assert expected == (sound.low, sound.high)
                told += 1
    assert told >= 5
    assert table.sound["ohm", "clip"] == sheet.power.clip_on
