"""A malformed row is refused with one sentence naming file, row, field, value and what is allowed."""

import dataclasses
import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from piezolab import catalogue
from piezolab.catalogue import (
    BatteryKind,
    CableKind,
    CatalogueError,
    InputKind,
    PickupKind,
    Row,
    TransistorType,
    load_file,
    spelled_out,
)
from piezolab.catalogue.schema import build_row, file_key
from tests.catalogue.freeze import raw_tables

KINDS: dict[type[Row], tuple[str, str]] = {
    TransistorType: ("transistors", "2N3819"),
    InputKind: ("inputs", "amplifier"),
    CableKind: ("cables", "ordinary"),
    BatteryKind: ("batteries", "alkaline-9v"),
    PickupKind: ("pickups", "disc-27"),
}


def declared(kind: type[Row]) -> list[dataclasses.Field]:
    return [item for item in dataclasses.fields(kind) if "rule" in item.metadata]


FIELDS = [
    pytest.param(kind, item, id=f"{kind.__name__}-{item.name}") for kind in KINDS for item in declared(kind)
]
NUMBERS = [
    param
    for param in FIELDS
    if "float" in str(param.values[1].type) and "tuple" not in str(param.values[1].type)
]


def refusal(
    kind: type[Row], changes: dict[str, Any], drop: tuple[str, ...] = (), name: str | None = None
) -> str:
    file, row = KINDS[kind]
    table = {key: value for key, value in {**raw_tables(file)[row], **changes}.items() if key not in drop}
    with pytest.raises(CatalogueError) as caught:
        build_row(kind, f"{file}.toml", name or row, table)
    sentence = str(caught.value)
    assert sentence.startswith(f"{file}.toml, row {name or row}, field ") and "allowed: " in sentence
    return sentence


@pytest.mark.parametrize(("kind", "item"), FIELDS)
def test_a_field_of_the_wrong_type_is_refused(kind: type[Row], item: dataclasses.Field) -> None:
    wrong: Any = {"not": "this"}
    sentence = refusal(kind, {file_key(item): wrong})
    assert (
        f"field {file_key(item)}: {wrong!r} is not allowed; allowed: {item.metadata['rule'].allowed}"
        in sentence
    )


@pytest.mark.parametrize(("kind", "item"), NUMBERS)
@pytest.mark.parametrize("value", [-1.0, 1e30, math.nan, math.inf, True, "3M3"])
def test_a_number_out_of_range_is_refused(kind: type[Row], item: dataclasses.Field, value: Any) -> None:
    sentence = refusal(kind, {file_key(item): value})
    assert f"field {file_key(item)}: {value!r}" in sentence and "allowed: a number from " in sentence


@pytest.mark.parametrize(("kind", "item"), [p for p in FIELDS if p.values[1].default is dataclasses.MISSING])
def test_a_missing_field_is_refused(kind: type[Row], item: dataclasses.Field) -> None:
    assert f"field {file_key(item)}: 'nothing'" in refusal(kind, {}, drop=(file_key(item),))


def test_all_that_a_row_lacks_is_named_at_once() -> None:
    sentence = refusal(TransistorType, {}, drop=("ciss", "pins_seen", "gos", "label"))
    assert "field label: 'nothing'" in sentence and sentence.endswith("; missing too: ciss, pins_seen")


@pytest.mark.parametrize("kind", KINDS)
def test_an_unknown_field_or_name_is_refused(kind: type[Row]) -> None:
    assert "field colour: 'red'" in refusal(kind, {"colour": "red"})
    assert "field name: 'Bad Name'" in refusal(kind, {}, name="Bad Name")
    with pytest.raises(CatalogueError, match="row x, field row|field name"):
        build_row(kind, "any.toml", "x", 3)


CONTRADICTIONS: list[tuple[type[Row], dict[str, Any], tuple[str, ...], str]] = [
    (
        TransistorType,
        {"idss_min": 0.05},
        (),
        "field idss_min: 0.05 is not allowed; allowed: at most idss_max, 0.02 A",
    ),
    (TransistorType, {"idss_typ": 1e-3}, (), "field idss_typ: 0.001"),
    (TransistorType, {"vgsoff_min": 9.0, "vgsoff_typ": 9.0}, (), "field vgsoff_min: 9.0"),
    (TransistorType, {"vgsoff_typ": 0.6}, (), "allowed: from vgsoff_min to vgsoff_max, 0.7 to 8 V"),
    (TransistorType, {"vgsoff_id": 5e-4, "idss_min": 5e-4}, (), "field vgsoff_id: 0.0005"),
    (TransistorType, {"crss": 3e-12}, (), "field crss: 3e-12"),
    (TransistorType, {"lambda": 0.01}, (), "exactly one of gos and lambda"),
    (TransistorType, {}, ("gos",), "exactly one of gos and lambda"),
    (TransistorType, {"lambda": 0.01}, ("gos",), "field estimates"),
    (TransistorType, {"estimates": ["colour"]}, (), "field estimates: 'colour'"),
    (TransistorType, {"from_memory": False}, (), "field from_memory: False"),
    (TransistorType, {"mounting": "glued"}, (), "one of leaded, surface-mount"),
    (BatteryKind, {"end_v": 9.5}, (), "field end_v: 9.5"),
    (BatteryKind, {"nominal_v": 5.0}, (), "field nominal_v: 5.0"),
    (BatteryKind, {"r_spent": 1.0}, (), "field r_spent: 1.0"),
    (BatteryKind, {"standing": 1e-3}, (), "field shelf_years: 5.0"),
    (BatteryKind, {"capacity": [[0.001, 0.5]]}, (), "field capacity"),
    (BatteryKind, {"capacity": [[0.001, 0.5], [0.001, 0.4]]}, (), "field capacity"),
    (BatteryKind, {"capacity": [[0.001, 0.5], [0.01, 0.6]]}, (), "field capacity"),
    (BatteryKind, {"capacity": [[0.0, 0.5], [0.01, 0.4]]}, (), "field capacity"),
    (BatteryKind, {"capacity": [[0.001, 0.5, 1.0], [0.01, 0.4, 1.0]]}, (), "field capacity"),
    (
        PickupKind,
        {},
        ("electrode_diameter",),
        "field electrode_diameter: None is not allowed; allowed: given",
    ),
    (PickupKind, {"shape": "strip"}, (), "left out for shape strip"),
    (PickupKind, {"electrode_width": 0.01}, (), "field electrode_width: 0.01"),
]


@pytest.mark.parametrize(("kind", "changes", "drop", "words"), CONTRADICTIONS)
def test_fields_that_contradict_each_other_are_refused(
    kind: type[Row], changes: dict[str, Any], drop: tuple[str, ...], words: str
) -> None:
    assert words in refusal(kind, changes, drop)


@given(value=st.floats(allow_nan=True, allow_infinity=True))
def test_a_number_is_kept_exactly_or_refused(value: float) -> None:
    table = {**raw_tables("inputs")["amplifier"], "r": value}
    try:
        row = build_row(InputKind, "inputs.toml", "amplifier", table)
    except CatalogueError:
        assert not 100 <= value <= 1e9
    else:
        assert row.r == value and 100 <= value <= 1e9


@pytest.mark.parametrize("mark", ["", 'default = true\n[b]\nlabel = "b"\ndefault = true\n'])
def test_a_file_has_exactly_one_default(tmp_path: Path, mark: str) -> None:
    body = (
        'label = "a"\nnote = "n"\nsource = "s"\nfrom_memory = false\nc_per_m = 1e-10\nscreened = true\n'
        'screen = "braid"\nuse = "both"\ntags = []\n'
    )
    path = tmp_path / "cables.toml"
    path.write_text("[a]\n" + body + mark + (body.split("\n", 1)[1] if mark else ""), encoding="utf-8")
    with pytest.raises(CatalogueError, match="field default: .* allowed: exactly one row"):
        load_file(path, CableKind)


def test_an_unreadable_file_is_named(tmp_path: Path) -> None:
    broken = tmp_path / "inputs.toml"
    broken.write_text("[amplifier\n", encoding="utf-8")
    for path in (broken, tmp_path / "missing.toml"):
        with pytest.raises(CatalogueError, match=f"{path.name}: cannot be read"):
            load_file(path, InputKind)


BELOW = {"a": {"x": 1, "y": 2, "note": "n", "source": "s", "default": True}}


def test_a_row_takes_over_what_it_does_not_state_but_note_source_and_default() -> None:
    full = spelled_out("any.toml", {**BELOW, "b": {"like": "a", "y": 3}, "c": {"corrects": "a", "note": "m"}})
    assert full["a"] == BELOW["a"]
    assert full["b"] == {"x": 1, "y": 3}
    assert full["c"] == {"x": 1, "y": 2, "corrects": "a", "note": "m"}


@pytest.mark.parametrize("other", ["b", "c", "nobody", 3, ["a"]])
@pytest.mark.parametrize("word", ["like", "corrects"])
def test_a_row_takes_over_from_a_row_above_it_alone(word: str, other: object) -> None:
    with pytest.raises(CatalogueError, match=f"any.toml, row b, field {word}: .* allowed: the name of a row above it"):
        spelled_out("any.toml", {**BELOW, "b": {word: other}, "c": {}})


def test_a_correction_is_not_corrected_again() -> None:
    with pytest.raises(CatalogueError, match="row c, field corrects: 'b' .* a row that corrects none; here a"):
        spelled_out("any.toml", {**BELOW, "b": {"corrects": "a"}, "c": {"corrects": "b"}})


def test_the_last_correction_is_offered_in_the_place_of_the_row() -> None:
    for load in (catalogue.transistors, catalogue.batteries):
        rows = load()
        now = catalogue.offered(rows)
        corrected = {row.corrects for row in rows.values() if row.corrects}
        assert corrected and corrected <= rows.keys() and not corrected & now.keys()
        assert now.keys() | corrected == rows.keys()
    assert catalogue.default_transistor() in catalogue.offered(catalogue.transistors())
    many = {**catalogue.transistors()}
    many["2N5457-3"] = dataclasses.replace(many["2N5457-2"], name="2N5457-3")
    assert {"2N5457", "2N5457-2", "2N5457-3"} & catalogue.offered(many).keys() == {"2N5457-3"}
    assert many["2N5457-3"].type_number == "2N5457" and many["J113"].type_number == "J113"
