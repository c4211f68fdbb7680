"""Chapter 8: readings in, places and the next reading out; safety first."""

import re

import pytest

from piezolab.chain import SignalChain
from piezolab.pages import sentences_fault as say
from piezolab.pages import where_is_the_fault as page
from piezolab.pages.fault_finder import Finder, as_typed, read
from piezolab.pages.form import FieldError
from piezolab.studies.faults.making import fault_table
from piezolab.studies.faults.readings import Check, Reading


@pytest.fixture(scope="module")
def made() -> page.Page:
    return page.make("")


def fresh(made: page.Page) -> Finder:
    made.finder._forget()
    return made.finder


def test_it_starts_with_what_to_measure_and_how(made: page.Page) -> None:
    finder = fresh(made)
    assert "take the reading that is asked for" in made.verdict.content
    assert "Battery unclipped" in finder.next.content, "nothing is powered before a short is ruled out"
    assert finder.entry.values["check"] == finder.found.next.check.key


def test_readings_narrow_it_down_and_can_be_forgotten(made: page.Page) -> None:
    finder = fresh(made)
    assert finder.entry.submit({"check": "ohm:clip", "value": "OL"})
    assert finder.entry.submit({"check": "ohm:supply", "value": "OL"})
    assert finder.found.spots[0].spot in ("transistor:Q1", "part:R_S")
    assert "over range" in finder.taken.content
    before = made.plot.traces
    finder.drop.press("drop-0")
    assert len(finder.readings) == 1
    finder.drop.press("all")
    assert not finder.readings and made.plot.traces != before


def test_swapped_source_resistor_and_output_capacitor_take_three_readings(made: page.Page) -> None:
    """As built: R_S went where C_out belongs; the source hangs on a capacitor, the jack sits at direct voltage."""
    finder = fresh(made)
    for check, value in (("ohm:clip", "104k"), ("ohm:source", "104k"), ("dc:jack", "1.11 V")):
        assert finder.entry.submit({"check": check, "value": value}), finder.entry.wrong
    first = finder.found.spots[0]
    assert first.probability > 0.8 and first.faults[0].key == "swapped:R_S+C_out"
    assert "in the other's place" in made.table.content or "in the other&#x27;s place" in made.table.content


def test_hot_ends_all_powered_readings(made: page.Page) -> None:
    finder = fresh(made)
    finder.ear_buttons.press("hot")
    assert "Switch off, unclip" in made.verdict.content and "Switch off, unclip" in finder.stop.content
    assert finder.found.unpowered_only
    assert not finder.found.next.powered
    finder.ear_buttons.press("fine")
    assert finder.heard == ("fine",), "what is fine is not hot"
    finder.ear_buttons.press("weak")
    assert finder.heard == ("weak",)


@pytest.mark.parametrize(
    ("check", "value", "words"),
    [
        ("ohm:source", "-3", "0 ohm or more"),
        ("dc:source", "2 k", "out of range"),
        ("dc:source", "1 ohm", "what it says"),
        ("dc:source", "<b>", "what it says"),
        ("tone:input", "loud", "none, weak, normal, distorted"),
        ("dc:source", "", "what it says"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_and_nothing_changes(
    made: page.Page, check: str, value: str, words: str
) -> None:
    finder = fresh(made)
    before = finder.found
    assert not finder.entry.submit({"check": check, "value": value})
    assert words in finder.entry.wrong["value"]
    assert finder.readings == () and finder.found == before


def test_readings_are_read_with_their_last_digit() -> None:
    assert read(Check("dc", "source"), "1.23 V") == Reading("dc", "source", 1.23, pytest.approx(0.01))
    assert read(Check("ohm", "clip"), "o.l.").value == float("inf")
    assert read(Check("ohm", "clip"), "4k7").digit == pytest.approx(100.0)
    with pytest.raises(FieldError):
        read(Check("ohm", "clip"), "much")
    readings = (Reading("ohm", "clip", float("inf")), Reading("dc", "source", 1.25), Reading("tone", "input", "weak"))
    for reading in readings:
        again = read(reading.check, as_typed(reading))
        assert again.value == reading.value


def test_the_meter_can_be_another_and_without_ac(made: page.Page) -> None:
    finder = fresh(made)
    assert finder.meter_form.submit({"input_ohm": "1M", "counts": "2000", "ac": "no"})
    assert finder.meter.input_ohm == 1e6
    assert finder.found.next.check.kind not in ("low", "high")
    assert not finder.meter_form.submit({"input_ohm": "1R"})
    assert "allowed" in finder.meter_form.wrong["input_ohm"]
    assert finder.meter_form.submit({"input_ohm": "10M", "ac": "yes"})


@pytest.mark.parametrize("query", ["stage=gain", "stage=direct", "return=divider", "supply=adapter", "gate_stop=1k"])
def test_words_for_every_chain(query: str) -> None:
    made = page.make(query)
    chain = made.bench.chain
    assert not made.bench.trouble and made.verdict.content
    found = fault_table(chain)
    for fault in found.hypotheses:
        texts = [say.spot_words(fault.spot, chain), *say.fault_texts(fault, chain).values()]
        for text in texts:
            assert text and "{" not in text and "_" not in text.replace("V_", ""), text
    for check in found.checks:
        assert "{" not in say.check_words(check) + "".join(say.check_how(check))
    assert not re.search(r"\b(nan|None)\b", made.table.content + page.unseen_html(chain))


def test_what_the_browser_kept_comes_back(made: page.Page) -> None:
    finder = fresh(made)
    finder.entry.submit({"check": "ohm:source", "value": "3k9"})
    finder.ear_buttons.press("dead")
    kept = {"reading 00": "ohm:source=3900.0", "heard": "dead", "reading 01": "dc:nowhere=1"}
    other = page.make("")
    other.keepsake._users["fault"](kept)
    assert other.finder.heard == ("dead",)
    assert [r.check.key for r in other.finder.readings] == ["ohm:source"]


def test_tasks_and_chain_changes(made: page.Page) -> None:
    finder = fresh(made)
    assert made.tasks.check("fault-hot", "1")[0] and not made.tasks.check("fault-hot", "0")[0]
    assert made.tasks.check("fault-source", f"{page._sound('dc:source'):.3f}")[0]
    finder.entry.submit({"check": "dc:source", "value": "1.0"})
    made.bench.put(SignalChain(stage="direct"))
    assert all(r.check.place != "source" for r in finder.readings), "what cannot be read there any more is dropped"
    made.bench.put(SignalChain())
