"""What every row of the shipped catalogue must satisfy."""

import re
import subprocess
import sys
from collections.abc import Callable
from dataclasses import FrozenInstanceError
from types import MappingProxyType

import pytest

from piezolab import catalogue
from piezolab.catalogue import Row

LOADERS = (catalogue.transistors, catalogue.inputs, catalogue.cables, catalogue.batteries, catalogue.pickups)
ROWS = [row for load in LOADERS for row in load().values()]
LEAST = {"transistors": 16, "inputs": 14, "cables": 8, "batteries": 8, "pickups": 8}

#: Capitals the trade itself uses inside a sentence; any other capitalised word could be somebody's name.
TRADE_CAPITALS = {
    "AA",
    "A23",
    "BL",
    "Hi-Z",
    "Hz",
    "CR2032",
    "I_DSS",
    "V_GS",
    "V_GS(off)",
    "C_iss",
    "C_rss",
    "GR",
    "Inst",
    "PVDF",
    "Y",
    "B",
    "Lambda",
}
TYPE_NUMBER = re.compile(r"(\d?[A-Z]{1,5}\d{2,5}[A-Z]?)(-[A-Z]+)?|\d[A-Z]\d+")
UNIT = re.compile(r"\d*[pnµmkM]?(Ah|A|V|S|F|Hz)")
COMPANY_MARKS = re.compile(
    r"[®™©]|\b(inc|ltd|llc|gmbh|corp|corporation|company|co|plc|s\.?a|b\.?v|k\.?k)\b\.?(?!\w)", re.IGNORECASE
)


@pytest.mark.parametrize("load", LOADERS, ids=lambda load: load.__name__)
def test_the_mapping_is_read_only_cached_and_long_enough(load: Callable) -> None:
    rows = load()
    assert isinstance(rows, MappingProxyType) and load() is rows
    assert len(rows) >= LEAST[load.__name__]
    assert all(name == row.name for name, row in rows.items())
    with pytest.raises(FrozenInstanceError):
        next(iter(rows.values())).label = "other"


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_every_row_says_where_its_numbers_come_from(row: Row) -> None:
    assert len(row.source) > 10 and len(row.note) > 10 and len(row.label) > 2
    if not row.from_memory:
        assert "read" in row.source and not row.recalled
    elif not row.recalled:
        assert "no source" in row.source
    if row.recalled == ("all",):
        assert "memory" in row.source


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_no_row_names_a_maker(row: Row) -> None:
    """Checked by shape, without a list of names: company marks, and capitals the trade does not use."""
    texts = [row.label, row.note, row.source, getattr(row, "caution", ""), *getattr(row, "tags", ())]
    for text in texts:
        assert not COMPANY_MARKS.search(text), text
        for sentence in re.split(r"(?<=[.:;?!])\s+", text):
            for word in re.findall(r"[\w()-]+", sentence)[1:]:
                word = word.strip("-").removeprefix("(").rstrip(")") + (")" if "(off" in word else "")
                if any(letter.isupper() for letter in word) and word not in TRADE_CAPITALS:
                    assert TYPE_NUMBER.fullmatch(word) or UNIT.fullmatch(word), (word, text)


def test_defaults() -> None:
    assert catalogue.default_transistor() in catalogue.transistors()
    assert catalogue.default_input() == "amplifier"
    assert catalogue.default_battery() == "alkaline-9v"
    assert catalogue.default_cable() == "ordinary"
    assert catalogue.default_pickup() == "disc-27"
    assert {"amplifier", "pedal", "interface"} <= catalogue.inputs().keys()
    assert "adapter" not in catalogue.batteries()


def test_names_fit_a_link_unescaped() -> None:
    assert all(re.fullmatch(r"[A-Za-z0-9-]+", row.name) for row in ROWS)


def test_the_defaults_of_the_catalogue_are_the_defaults_of_the_chain() -> None:
    """15 nF, 1 GΩ, 0.02, 100 pF/m and 9 V, as the share link's format 1 has them."""
    disc = catalogue.pickups()[catalogue.default_pickup()]
    assert (disc.capacitance, disc.r_insulation, disc.loss_tangent) == (15e-9, 1e9, 0.02)
    assert catalogue.cables()[catalogue.default_cable()].c_per_m == 100e-12
    assert catalogue.batteries()[catalogue.default_battery()].nominal_v == 9.0


def test_only_microphone_sockets_carry_phantom_power_and_say_so() -> None:
    for row in catalogue.inputs().values():
        if row.phantom:
            assert "microphone" in row.tags and "phantom" in row.note.lower()


def test_every_battery_carries_a_caution() -> None:
    for row in catalogue.batteries().values():
        assert re.search(r"short|swallow", row.caution, re.IGNORECASE)
        if "lithium" in row.label:
            assert "fire" in row.caution


def test_geometry_and_capacitance_agree() -> None:
    for row in catalogue.pickups().values():
        assert row.capacitance_from_geometry == pytest.approx(row.capacitance, rel=0.05), row.name


def test_the_catalogue_loads_without_numpy() -> None:
    code = (
        "import sys; from piezolab import catalogue as c; "
        "[f() for f in (c.transistors, c.inputs, c.cables, c.batteries, c.pickups)]; "
        "sys.exit('numpy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
