"""What the build sheet prints, against published tables and worked examples, and facts of the bench."""

from __future__ import annotations

import pytest

from piezolab.chain.link import from_link
from piezolab.quantity import series
from piezolab.sheets.build_steps import build_steps
from piezolab.sheets.meter_steps import first_power_steps
from piezolab.sheets.sheet_data import SheetData
from piezolab.sheets.tables import part_rows
from piezolab.studies.board.board_parts import HOLE, TRANSISTOR, size_of
from piezolab.studies.metering.board_under_meter import under_meter
from piezolab.studies.metering.expected import meter_volts, transistor_check
from piezolab.studies.metering.instrument import Meter
from piezolab.studies.shopping import shopping

#: IEC 60062:2016, table 1 (colours of figures, multiplier, tolerance) and clause 4 (letter codes); from memory.
BANDS = {
    "1k": "brown black black brown brown",
    "4M7": "yellow violet black yellow brown",
    "68k": "blue grey black red brown",
    "3M3": "orange orange black yellow brown",
    "15k": "brown green black red brown",
}
#: IEC 60062:2016, clause 5: two figures and the power of ten in picofarads; from memory.
THREE_DIGITS = {"100n": "104", "4n7": "472", "220n": "224", "10n": "103"}


def rows(link: str) -> dict:
    return {row.reference: row for row in part_rows(SheetData(from_link(link)))}


@pytest.mark.parametrize("value", BANDS)
def test_bands_and_codes_of_iec_60062(value: str) -> None:
    row = rows(f"bleed_r={value}")["Rbleed"]
    assert (row.value, row.marking) == (value, BANDS[value])


@pytest.mark.parametrize("value", THREE_DIGITS)
def test_capacitor_codes_of_iec_60062(value: str) -> None:
    row = rows(f"out_c={value}")["Cout"]
    assert (row.value, row.marking) == (value, THREE_DIGITS[value])


def test_values_of_iec_60063() -> None:
    """E24 of IEC 60063:2015, table 1 (from memory): 3.9 and 4.3 are neighbours; in ratio 4.1 is nearer to 4.3."""
    assert {3.9, 4.3} <= set(series("E24")) and 4.1 not in set(series("E24"))
    found = {item.name: item for item in shopping(from_link("source_r=4.1k&out_c=3u"))}
    assert found["R_S"].preferred == pytest.approx(4.3e3)
    assert found["C_out"].preferred in (pytest.approx(2.7e-6), pytest.approx(3.3e-6))


def test_self_biased_stage_as_a_meter_reads_it() -> None:
    """Boylestad and Nashelsky, Electronic Devices and Circuit Theory, self-bias example (from memory): I_DSS 8 mA,
    V_P -6 V, R_S 1 kilohm, R_D 3.3 kilohm, R_G 1 megohm, 20 V: V_GS -2.6 V, I_D 2.6 mA, V_D 11.42 V. The book reads a
    graph (2 %), takes lambda = 0 and no leakage; its meter draws nothing, ours of 10 megohm too little to show here."""
    link = (
        "stage=gain&jfet_idss=8m&jfet_vgsoff=6&jfet_lambda=0&jfet_ig=0&source_r=1k&drain_r=3.3k&gate_r=1M"
        "&supply=adapter&supply_v=20"
    )
    found = {each.lane: each for each in meter_volts(under_meter(from_link(link), schottky=False))}
    assert found["source"].expected.typical == pytest.approx(2.6, rel=0.02)
    assert found["drain"].expected.typical == pytest.approx(20 - 2.6e-3 * 3.3e3, rel=0.02)
    assert found["pickup"].expected.typical == pytest.approx(0.0, abs=1e-3)


def test_divider_biased_stage_as_a_meter_reads_it() -> None:
    """The same book, voltage-divider example (from memory): I_DSS 8 mA, V_P -4 V, R_1 2.1 megohm, R_2 270 kilohm, R_S
    1.5 kilohm, R_D 2.4 kilohm, 16 V: V_G 1.82 V, I_D 2.4 mA, V_D 10.24 V, V_S 3.6 V (graph-read: 2 %). The book joins
    the gate to the divider itself; our gate resistor of 1 kilohm carries no current."""
    part = 270e3 / 2.37e6
    link = (
        "stage=gain&return=divider&divider_r=2.37M&jfet_idss=8m&jfet_vgsoff=4&jfet_lambda=0&jfet_ig=0&source_r=1.5k"
        f"&drain_r=2.4k&gate_r=1k&return_part={part!r}&supply=adapter&supply_v=16"
    )
    board = under_meter(from_link(link), schottky=False)
    found = {each.lane: each for each in meter_volts(board, Meter(input_ohm=1e9))}
    assert found["divider"].expected.typical == pytest.approx(1.82, rel=0.02)
    assert found["source"].expected.typical == pytest.approx(3.6, rel=0.02)
    assert found["drain"].expected.typical == pytest.approx(10.24, rel=0.02)


def test_silicon_junction_on_a_diode_test() -> None:
    """A silicon junction shows 0.5 to 0.8 V at about 1 mA (any electronics textbook; common practice, no source)."""
    found = transistor_check(from_link("")).junction
    assert 0.45 < found.low < 0.6 < found.typical < 0.75 < found.high < 0.9


def test_facts_of_the_bench() -> None:
    """60/40 solder and 330 to 350 degC at the tip; the long lead is positive; nothing gets warm: common practice, no
    source."""
    data = SheetData(from_link(""))
    told = " ".join(f"{step.words} {step.caution}" for step in (*build_steps(data), *first_power_steps(data)))
    assert "330 to 350 °C at the tip, 60/40 solder" in told
    assert "electrolytics, long lead to +" in told
    assert "Nothing may get warm" in told
    # lead zirconate titanate, the usual piezo ceramic, is some 60 % lead by weight (materials handbooks; from memory)
    assert "The ceramic holds lead: do not sand" in told and "wash your hands" in told


def test_sizes_of_ordinary_parts() -> None:
    """A quarter-watt resistor lies on 10.16 mm, film capacitors on 5 or 7.5, electrolytics on 2.5 or 5, a TO-92's legs
    are spread to 2.54 mm: common practice, no source."""
    assert HOLE == 2.54 and TRANSISTOR.pitch == HOLE
    assert size_of("resistor", 1e3).pitch == 10.16
    assert [size_of("capacitor", c).pitch for c in (10e-9, 470e-9, 10e-6, 220e-6)] == [5.08, 7.62, 2.54, 5.08]
