"""Chapter 6: the drawer is read, searched and put in; wishes and spread are said in words."""

import re

import pytest

from piezolab.chain import SignalChain
from piezolab.pages.kit.form import FieldError
from piezolab.pages.what_shall_i_build_from_my_drawer import chapter as page
from piezolab.pages.what_shall_i_build_from_my_drawer.drawer_panel import FIELDS, types_of, values_of, wish_of
from piezolab.studies.judging.wish import Wish


def test_the_default_drawer_gives_builds_and_one_click_puts_one_in() -> None:
    made = page.make("")
    assert made.drawer.form.submit({"headroom": "6"})
    assert "<table" in made.drawer.answer.content
    before = made.state.chain
    made.drawer.apply.press("build-0")
    after = made.state.chain
    assert after != before
    build = made.drawer.found.builds[0]
    assert not build.fails
    assert all(after[key] == value for key, value in build.changes.items() if key in ("source_r", "gate_r", "out_c"))
    assert "fits all your wishes" in made.verdict.content
    made.state.undo()
    assert made.state.chain == before


@pytest.mark.parametrize("query", ["", "stage=gain", "stage=direct", "discs=2px", "supply=adapter", "play_v=100"])
def test_words_for_every_chain(query: str) -> None:
    made = page.make(query)
    assert not made.state.trouble
    for text in (made.verdict.content, page.spread_words(made.state.chain)):
        assert text and not re.search(r"\b(nan|inf|None)\b", text), text


def test_an_empty_drawer_says_what_is_lacking() -> None:
    made = page.make("")
    assert made.drawer.form.submit({"resistors": "", "capacitors": "", "transistors": ""})
    assert "lacks" in made.drawer.answer.content and "a transistor" in made.drawer.answer.content


@pytest.mark.parametrize(
    ("field", "text", "words"),
    [
        ("resistors", "1k 3m3", "did you mean 3M3"),
        ("resistors", "0", "above 0"),
        ("resistors", " ".join(["1k"] * 41), "too many"),
        ("capacitors", "10k", "capacitors"),
        ("transistors", "J113 <b>", "not known"),
        ("low_note", "-3", "out of range"),
        ("gain", "loud", "gain"),
        ("current", "5", "out of range"),
        ("settle", "2h", "settled again"),
    ],
)
def test_a_bad_entry_is_refused_at_its_field(field: str, text: str, words: str) -> None:
    made = page.make("")
    before = made.state.chain
    assert not made.drawer.form.submit({field: text})
    assert words in made.drawer.form.wrong[field]
    assert made.state.chain == before


def test_lists_and_wishes_are_read_as_makers_write_them() -> None:
    assert values_of("4k7 1M; 4700", "resistors", "ohm") == (4.7e3, 1e6)
    assert [part.jfet for part in types_of("j113, 2n5457")] == ["J113", "2N5457-2"], "the row that is offered"
    texts = {"low_note": "2", "headroom": "", "gain": "-1", "step": "0.2", "settle": "", "dc": "10m", "snr": "",
             "current": "1m"}  # fmt: skip
    assert wish_of(texts) == Wish(2.0, None, -1.0, 0.2, None, 0.01, None, 1e-3)
    assert wish_of({field.name: field.value for field in FIELDS}) == Wish()
    with pytest.raises(FieldError, match="allowed is"):
        wish_of({**texts, "snr": "300"})


@pytest.mark.parametrize("between", [" ", ", ", ",", "; ", ";", "\n", " , "])
def test_spaces_commas_and_semicolons_stand_between_values(between) -> None:
    words = ["1k", "4k7", "100k", "2M2"]
    assert values_of(between.join(words), "resistors", "ohm") == (1e3, 4.7e3, 100e3, 2.2e6)
    assert [part.jfet for part in types_of(between.join(["J113", "J201"]))] == ["J113", "J201"]


@pytest.mark.parametrize("text", ["4,7k", "100,220", "1k 2,2k"])
def test_a_comma_within_digits_is_asked_about(text) -> None:
    with pytest.raises(FieldError, match="one value or two"):
        values_of(text, "resistors", "ohm")


def test_measured_transistors_of_the_bag_are_searched_too() -> None:
    made = page.make("")
    row = {"name": "7", "jfet": "2N3819", "idss": 5e-3, "vds": 9.0, "vgsoff": -2.0}
    made.keepsake._users["bag"]([row])
    made.drawer.form.submit({"transistors": ""})
    assert made.drawer.drawer.transistors[0].name == "7"
    assert "no. 7" in made.drawer.answer.content


def test_a_wish_moves_the_verdict_and_the_spread() -> None:
    made = page.make("")
    assert "fits all" in page.verdict_words(SignalChain(), Wish())
    made.drawer.form.submit({"headroom": "20"})
    assert "does not fit" in page.verdict_words(SignalChain(), page._HOPES.wish)


def test_tasks_are_checked_against_the_studies() -> None:
    made = page.make("")
    assert not made.tasks.check("drawer-fits", "")[0]
    made.drawer.form.submit({"headroom": "6"})
    made.drawer.apply.press("build-0")
    assert made.tasks.check("drawer-fits", "")[0]
    right = page._share()
    assert 5 < right < 95
    assert made.tasks.check("drawer-share", f"{right:.0f}")[0]
    assert made.tasks.check("drawer-matters", "0")[0]
