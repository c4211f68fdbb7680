"""Chapter 6: the drawer is read, searched and put in; wishes and spread are said in words."""

import re
from dataclasses import replace

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.pages.kit.form import FieldError
from piezolab.pages.what_shall_i_build_from_my_drawer import chapter as page
from piezolab.pages.what_shall_i_build_from_my_drawer.drawer_answer import build_words, measure_words, obstacle_words
from piezolab.pages.what_shall_i_build_from_my_drawer.typed_stock import FIELDS, drawer_of, stock_of, types_of, wish_of
from piezolab.studies.choosing.drawer import Drawer, DrawerTransistor
from piezolab.studies.choosing.one_build import Build, Taken
from piezolab.studies.choosing.to_buy import Obstacle
from piezolab.studies.choosing.worst_case import FittingShare
from piezolab.studies.judging.outlay import PiecePrices
from piezolab.studies.judging.wish import Wish

TEXTS = {field.name: field.value for field in FIELDS}
FEW = {"resistors": "2k2 6k8 22k 1M 4M7", "capacitors": "100n 10u", "transistors": "J113"}
MINE = {"name": "7", "jfet": "2N3819", "idss": 5e-3, "vds": 9.0, "vgsoff": -2.0}


def test_a_small_drawer_gives_builds_and_one_click_puts_one_in() -> None:
    made = page.make("pickup_c=500p")
    made.keepsake._users["bag"]([MINE])
    assert made.drawer.form.submit({**FEW, "transistors": ""})
    assert "<table" in made.drawer.answer.content and "no. 7" in made.drawer.answer.content
    assert made.drawer.drawer.transistors[0].name == "7"
    before = made.state.chain
    made.drawer.answer.press("build-0")
    after, build = made.state.chain, made.drawer.found.builds[0]
    assert after != before and build.kind != "direct" and not build.fails
    assert all(after[key] == value for key, value in build.changes.items() if key in ("source_r", "gate_r", "out_c"))
    assert "fits all your wishes" in made.verdict.content
    made.state.undo()
    assert made.state.chain == before
    assert not made.drawer.answer.old
    made.state.put(before.but(pickup_c=5e-9))
    assert made.drawer.answer.old, "it was found for another pickup"


def test_a_touch_of_the_front_chooses_a_build_to_hear_beside_yours_or_to_put_in() -> None:
    made = page.make("pickup_c=500p")
    made.keepsake._users["bag"]([MINE])
    made.drawer.form.submit({**FEW, "transistors": ""})
    front = made.drawer.front
    assert len(front.front) > 2 and front.layout.display is None
    levels = [build.figures["gain_db"] for build in front.front]
    assert levels == sorted(levels)
    front.plot._answer(front.plot, {"touch": 1}, [])
    assert front.chosen == 1 and build_words(front.front[1], made.drawer.drawer) in front.said.content
    for nonsense in ({"touch": -1}, {"touch": "1"}, {"touch": 10**6}, {"touch": 999}, {"touch": True}):
        front.plot._answer(front.plot, nonsense, [])
        assert front.chosen == 1
    chain = made.state.chain
    front.row.press("beside")
    assert made.state.chain == chain and made.state.kept["gate_r"] == front.front[1].changes["gate_r"]
    front.row.press("more")
    assert front.chosen == 2
    front.row.press("put")
    assert made.state.chain["stage"] == front.front[2].changes["stage"] != chain["stage"] or made.state.chain != chain


def test_when_nothing_fits_it_says_what_stands_in_the_way_and_what_to_buy() -> None:
    made = page.make("pickup_c=500p")
    made.drawer.form.submit({**FEW, "resistors": "2k2 6k8 22k 47k 100k 330k"})
    text = re.sub(r"<[^>]+>", " ", made.drawer.answer.content)
    assert "Nothing in this drawer fits" in text and re.search("stands? in the way", text)
    assert re.search(r"Buy one part and all wishes fit: a resistor of \d", text), text
    made.drawer.answer.press("nearest")
    assert made.state.chain["stage"] == made.drawer.found.nearest.changes["stage"]


@pytest.mark.parametrize("query", ["", "stage=gain", "stage=direct", "discs=2px", "supply=adapter", "play_v=100"])
def test_words_for_every_chain(query: str) -> None:
    made = page.make(query)
    assert not made.state.trouble
    made.spreads.head._turned({"open": True})
    for text in (made.verdict.content, made.spreads.head.content, *(f"{p.label}." for p in made.spreads.children[1:])):
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
        ("resistors", "0 x 4k7", "allowed is 1 to 9999"),
        ("resistors", "12345678 x 4k7", "allowed is 1 to 9999"),
        ("capacitors", "10k", "capacitors"),
        ("transistors", "J113 <b>", "not known"),
        ("low_note", "-3", "out of range"),
        ("gain", "loud", "gain"),
        ("current", "5", "out of range"),
        ("settle", "2h", "settled again"),
        ("life", "0", "out of range; allowed is 0.100 h to"),
        ("parts", "60", "allowed is 1 to 50."),
        ("cost", "much", "what they cost"),
        ("resistor_percent", "60", "allowed is 0 to 50 %"),
        ("capacitor_percent", "", "allowed is 0 to 50 %"),
    ],
)
def test_a_bad_entry_is_refused_at_its_field(field: str, text: str, words: str) -> None:
    made = page.make("")
    before = made.state.chain
    assert not made.drawer.form.submit({field: text})
    assert words in made.drawer.form.wrong[field]
    assert made.state.chain == before


def test_lists_and_wishes_are_read_as_makers_write_them() -> None:
    assert list(stock_of("4k7 1M; 4700", "resistors", "ohm")) == [4.7e3, 1e6]
    assert [part.jfet for part in types_of("j113, 2n5457")] == ["J113", "2N5457-2"], "the row that is offered"
    texts = {**TEXTS, "low_note": "2", "headroom": "", "gain": "-1", "step": "0.2", "settle": "", "dc": "10m",
             "snr": "", "current": "1m"}  # fmt: skip
    assert wish_of(texts) == Wish(2.0, None, -1.0, 0.2, None, 0.01, None, 1e-3)
    assert wish_of(TEXTS) == Wish()
    more = wish_of({**TEXTS, "life": "500", "parts": "5", "cost": "2", "prices": "0.1 0.4 0.3 1"})
    assert (more.life_h, more.parts, more.cost) == (500.0, 5.0, 2.0) and more.prices == PiecePrices(0.1, 0.4, 0.3, 1.0)
    with pytest.raises(FieldError, match="allowed is"):
        wish_of({**texts, "snr": "300"})


@pytest.mark.parametrize("text", ["3 x 4k7, 10k, 2x1M", "3×4k7;10k 2 X 1M", "2 x 4k7 10k 1x4700 2 × 1M"])
def test_counts_are_read_with_every_sign_for_times(text: str) -> None:
    assert stock_of(text, "resistors", "ohm") == {4.7e3: 3, 10e3: None, 1e6: 2}
    drawer = drawer_of({**TEXTS, "resistors": text, "transistors": "5 x J113 2N5457"})
    assert drawer.counts == {4.7e3: 3, 1e6: 2}
    assert [part.count for part in drawer.transistors] == [5, None]


def test_a_tick_adds_a_whole_series_and_as_many_as_needed() -> None:
    drawer = drawer_of({**TEXTS, "resistors": "3 x 4k7 240k", "series": "yes"})
    assert len(drawer.resistors) == 74 and min(drawer.resistors) == 10.0 and max(drawer.resistors) == 10e6
    assert drawer.counts == {}, "E12 has 4k7, too"


@pytest.mark.parametrize("between", [" ", ", ", ",", "; ", ";", "\n", " , "])
def test_spaces_commas_and_semicolons_stand_between_values(between) -> None:
    words = ["1k", "4k7", "100k", "2M2"]
    assert list(stock_of(between.join(words), "resistors", "ohm")) == [1e3, 4.7e3, 100e3, 2.2e6]
    assert [part.jfet for part in types_of(between.join(["J113", "J201"]))] == ["J113", "J201"]


@pytest.mark.parametrize("text", ["4,7k", "100,220", "1k 2,2k"])
def test_a_comma_within_digits_is_asked_about(text) -> None:
    with pytest.raises(FieldError, match="one value or two"):
        stock_of(text, "resistors", "ohm")


def test_two_for_one_are_named_and_a_count_tells_how_many_will_do() -> None:
    drawer = Drawer(transistors=(DrawerTransistor("J113", count=4),))
    takes = (Taken("gate_r", (1e6, 1.2e6), "series"), Taken("divider_r", (1e6, 1e6), ""))
    build = Build("follower at a divider", {}, takes, 0, {}, {}, (), {}, (), FittingShare(0.5, 0.4, 0.6, 1000, {}))
    assert "RG 1M and 1M2 in series" in build_words(build, drawer) and "divider 2 × 1M" in build_words(build, drawer)
    assert measure_words(build, drawer) == [
        "Measure your J113 first: in the nearest build about 2 of your 4 would fit, at least one with a chance of 94 %."
    ]


def test_a_wish_moves_the_verdict_and_the_spread() -> None:
    made = page.make("")
    assert "fits all" in page.verdict_words(SignalChain(), Wish())
    made.drawer.form.submit({**FEW, "headroom": "20"})
    assert "does not fit" in page.verdict_words(SignalChain(), page._HOPES.wish)


def test_tasks_are_checked_against_the_studies() -> None:
    made = page.make("")
    assert not made.tasks.check("drawer-fits", "")[0]
    made.drawer.form.submit({**FEW, "headroom": "3"})
    made.drawer.answer.press("build-0")
    assert made.tasks.check("drawer-fits", "")[0]
    right = page._share()
    assert 5 < right < 95
    assert made.tasks.check("drawer-share", f"{right:.0f}")[0]
    assert made.tasks.check("drawer-matters", "0")[0]


def test_the_bag_is_sorted_with_a_sentence_for_each_and_one_click_puts_one_in() -> None:
    made = page.make("pickup_c=500p")
    made.sorting.head._turned({"open": True})
    assert "No transistor here is measured" in made.sorting.head.content and not made.sorting.shown.content
    rows = [(5e-3, -2.0), (5.2e-3, -2.05), (12e-3, -2.0), (19e-3, -7.5)]
    bag = [{"name": str(n), "jfet": "2N3819", "idss": i, "vds": 9.0, "vgsoff": v} for n, (i, v) in enumerate(rows)]
    made.drawer.form.fill(FEW)
    made.keepsake._users["bag"](bag)
    text = re.sub(r"<[^>]+>", " ", made.sorting.shown.content)
    assert "no. 0 and 2N3819 no. 1" in text and "less than 0.1 dB" in text
    assert "no. 2: its I_DSS does not go with its V_GS(off)" in text
    assert "the best of the bag for it" in text or "the only one of the bag" in text
    assert not re.search(r"\b(nan|inf|None)\b", text)
    before, found = made.state.chain, made.sorting.found
    made.sorting.shown.press("sort-0")
    assert made.state.chain["jfet_idss"] == pytest.approx(rows[found.goes[0].place][0]) != before["jfet_idss"]
    assert made.sorting.found is found, "only the stage moved"
    made.state.put(made.state.chain.but(play_v=3.0))
    assert made.sorting.found is not found
    made.drawer.form.fill({"resistors": "3m3"})
    made.sorting.refresh()
    assert "did you mean 3M3" in made.sorting.head.content and not made.sorting.shown.content


def test_a_limit_of_parts_hours_or_money_is_judged_in_plain_words() -> None:
    made = page.make("pickup_c=500p")
    for limit, words in (
        ({"parts": "4"}, "takes too many parts"), ({"life": "5000"}, "empties the battery too soon"),
        ({"cost": "0.5"}, "costs too much"),
    ):  # fmt: skip
        assert words in page.verdict_words(SignalChain(), wish_of({**TEXTS, **limit}))
    assert not made.drawer.form.submit({**FEW, "cost": "5", "prices": "0.05 0.3"})
    assert "allowed are four numbers" in made.drawer.form.wrong["prices"]
    lack = Obstacle(("parts",), 20 * np.log10(5 / 4), False)
    assert "no more parts than wished. It is missed by 25 %;" in obstacle_words(lack)
    assert "missed by 20 %;" in obstacle_words(replace(lack, wishes=("life_h",)))
    assert "missed by 1.9 dB;" in obstacle_words(replace(lack, wishes=("gain_db",)))
