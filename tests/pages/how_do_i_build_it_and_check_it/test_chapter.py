"""The page on building and checking: what it says is what the studies say, and what it keeps comes back."""

import asyncio
import json
import re
from concurrent.futures import ThreadPoolExecutor
from itertools import count

import pytest

from piezolab.chain import SignalChain
from piezolab.pages.how_do_i_build_it_and_check_it import chapter
from piezolab.pages.how_do_i_build_it_and_check_it.long_search import LongSearch
from piezolab.pages.how_do_i_build_it_and_check_it.sentences import faults, power_on
from piezolab.pages.how_do_i_build_it_and_check_it.sheet_download import SheetDownload
from piezolab.pages.kit.checklist import Checklist
from piezolab.pages.kit.keepsake import MEASURED, SECTIONS
from piezolab.pages.kit.skeleton import Page
from piezolab.sheets import sheet_data
from piezolab.sheets.sheet_data import SheetData
from piezolab.studies.board import patience
from piezolab.studies.board_as_built import BoardAsBuilt
from piezolab.studies.in_hand.measure_pickup import KEYS
from piezolab.studies.metering.board_under_meter import under_meter
from piezolab.studies.metering.expected import meter_volts
from piezolab.studies.metering.first_power import first_power

CHAIN = SignalChain(pickup_c=1.5e-9)


@pytest.fixture
def page():
    return made_with("pickup_c=1n5")


@pytest.fixture
def plain():
    """A page with nothing to build, which is quick to make."""
    return made_with("stage=direct&pickup_c=1n5")


def made_with(link: str):
    made = chapter.make(link)
    made.keepsake.sent = []
    made.keepsake.send = lambda content, buffers=None: made.keepsake.sent.append(content)
    return made


def words(html: str) -> str:
    return re.sub(r"<[^>]+>", " ", html).replace("\u00a0", " ")


def sent(page, name: str):
    """The last thing that the browser was given to keep under a name."""
    kept = [message["keep"][name] for message in page.keepsake.sent if name in message.get("keep", {})]
    return None if not kept or kept[-1] is None else json.loads(kept[-1])


def section(page, title: str):
    """A list under its heading, which says beside it how much is done; opened, as its reader does."""
    found = next(part for part in page.lists if part.head.title.split(":")[0] == title.split(":")[0])
    found.head.opened = True
    return found


# -- what it says -------------------------------------------------------------------------------------------------
def test_verdict_names_parts_board_and_the_first_reading(page):
    power = first_power(CHAIN)
    sheet = SheetData(CHAIN)
    said = words(page.verdict.content)
    assert f"{len(sheet.items)} parts; stripboard. At first power" in said
    low, high = map(float, re.search(r"should show ([\d.]+) to ([\d.]+) V", said).groups())
    assert low == pytest.approx(power.healthy.low, abs=0.011) and high == pytest.approx(power.healthy.high, abs=0.011)


def test_the_figure_is_what_the_meter_should_show(page):
    rows = meter_volts(under_meter(CHAIN))
    bars, marks = page.plot._traces
    assert list(bars["y"]) == list(marks["y"]) and len(bars["y"]) == len(rows)
    assert list(marks["x"]) == [row.expected.typical for row in rows]
    assert list(bars["base"] + bars["x"]) == pytest.approx([row.expected.high for row in rows])
    assert "jack tip" in page.plot.label and page.state.trouble == ""
    page.state.keep()
    assert len(page.plot._traces) == 4


def test_the_page_asks_for_no_more_than_it_shows(monkeypatch):
    """What stands in folded sections is asked for when they are opened, and the download asks for nothing twice."""
    asked = []
    for name in ("meter_volts", "meter_ohms", "tone_volts", "first_power", "transistor_check", "jig_volts", "exchange",
                 "other_types", "shopping", "layout"):  # fmt: skip
        real = getattr(sheet_data, name)
        monkeypatch.setattr(
            sheet_data, name, lambda *a, real=real, name=name, **k: (asked.append(name), real(*a, **k))[1]
        )
    monkeypatch.setattr(patience, "layout", sheet_data.layout)
    page = made_with("pickup_c=1n5")
    assert page.widget is not None
    assert sorted(asked) == ["first_power", "layout", "meter_volts", "shopping"]
    section(page, "Power off: what the meter should show").head.opened = True
    assert asked[4:] == ["meter_ohms"]
    page.sheet._make()
    assert len(asked) == len(set(asked)) == 10


def test_first_power_begins_with_what_can_hurt(page):
    first = section(page, "First power")
    text = words(first.head.content)
    assert text.index("burst") < text.index("Nothing plugged in")
    assert "do not leave it out" in text
    assert any(re.search(r"draw [\d.]+ A and make \d+ W of heat", step["caution"]) for step in first.list.steps)
    assert any("1 kΩ" in step["words"] for step in first.list.steps)
    for name in ("Build it, step by step", "Into the box, once all is checked"):
        section(page, name).head.opened = True
    told = words(" ".join([text, *(one.head.content for one in page.lists)]))
    told += " ".join(step["caution"] for one in page.lists for step in one.list.steps) + page.chapter.certainty
    for wanted in ("burst", "swollen", "protective earth", "phantom", "window", "headphones off", "not a certificate"):
        assert wanted in told


def test_every_fault_that_first_power_cannot_tell_names_the_test_that_can():
    power = first_power(CHAIN)
    table = faults(SheetData(CHAIN))
    rows = re.findall(r"<tr>(.*?)</tr>", table)[1:]
    assert len(rows) == len(power.faults)
    for row, band in zip(rows, power.faults, strict=True):
        unsure = "cannot tell" in row
        assert unsure == (band.verdict == "cannot tell")
        assert not unsure or " can" in row.split("cannot tell")[1], row


def test_power_on_is_one_reading_a_step():
    sheet = SheetData(CHAIN)
    steps = power_on(sheet)
    assert len(steps) == len(sheet.volts) + sum(row.resolved for row in sheet.tone)
    assert any("source to ground" in step.words and "typically" in step.words for step in steps)
    assert any("headphones off" in step.caution for step in steps)


def test_with_no_stage_it_says_so_and_still_measures():
    page = chapter.make("stage=direct")
    assert "no stage to build" in words(page.verdict.content) and page.state.trouble == ""
    assert section(page, "First power").layout.display == "none"
    assert len(section(page, "Build it, step by step").list.steps) >= 4
    off = section(page, "Power off: what the meter should show")
    off.head.opened = True
    assert "nothing to power" in off.head.content and off.list.steps == []
    assert page.measure.forms["meter"].fields and page.table.content == ""
    page.stage_in.press("stage")
    assert "At first power" in words(page.verdict.content) and section(page, "First power").layout.display is None


def test_it_rests_while_a_slider_moves(page):
    before = page.plot.revision
    page.state.enter("source_r", "10k", live=True)
    assert page.plot.revision == before
    page.state.enter("source_r", "10k")
    assert page.plot.revision > before


def test_a_board_that_takes_long_to_find_says_so_and_can_be_taken_as_it_is():
    seconds = (0.3 * n for n in count())
    search = LongSearch(lambda: next(seconds))
    seen = []
    search.said.observe(lambda change: (seen.append(change["new"]), search.end.press("end")), "content")
    found = SheetData(CHAIN, search=search).layout
    assert len(seen) == 1 and "layouts tried so far: 4" in seen[0]
    assert found.choice.stopped and found.choice.tried == 4
    assert search.layout.display == "none" and search.end.buttons == []
    page = chapter.make("stage=gain")
    assert page.settings.search.layout.display == "none"
    assert not page.settings.sheet(page.state.chain).layout.choice.stopped


# -- settings -----------------------------------------------------------------------------------------------------
def test_board_and_meter_change_what_is_shown_and_are_kept(page):
    narrow = words(page.verdict.content)
    assert page.settings.widget.submit({"method": "tape", "meter_ohm": "1M", "currency": "GBP"})
    assert "copper tape" in words(page.verdict.content) != narrow
    assert sent(page, "build") == {"method": "tape", "meter_ohm": "1M", "currency": "GBP"}
    assert page.settings.build.meter.input_ohm == 1e6
    again = chapter.make("pickup_c=1n5")
    again.keepsake._heard(again.keepsake, {"word": "kept", "sections": {"build": json.dumps(sent(page, "build"))}}, [])
    assert again.verdict.content == page.verdict.content
    assert again.settings.widget.values["currency"] == "GBP"


def test_every_refused_field_says_why_at_once(page):
    assert not page.settings.widget.submit({"board": "40", "accuracy": "30", "meter_ohm": ""})
    assert set(page.settings.widget.wrong) == {"board", "accuracy", "meter_ohm"}
    assert page.settings.build == BoardAsBuilt() and sent(page, "build") is None


# -- ticks --------------------------------------------------------------------------------------------------------
def test_ticks_are_kept_come_back_and_go(page):
    built = section(page, "Build it, step by step")
    built.list._heard(built.list, {"word": "tick", "name": "build-2", "on": True}, [])
    section(page, "First power").list.tick("first-1", True)
    assert sent(page, "checks") == {"build-2": True, "first-1": True}
    again = chapter.make("")
    again.keepsake._heard(again.keepsake, {"word": "kept", "sections": {"checks": json.dumps(page.ticks.done)}}, [])
    assert again.ticks.done == page.ticks.done
    assert section(again, "First power").list.ticked == ["first-1"]
    page.ticks.clear()
    assert page.ticks.done == {} and sent(page, "checks") is None


@pytest.mark.parametrize(
    "content", [{"word": "tick"}, {"word": "tick", "name": 7, "on": True},
                {"word": "tick", "name": "build-99", "on": True},
                {"word": "tick", "name": "x" * 500, "on": True}, None, []],
)  # fmt: skip
def test_hostile_ticks_change_nothing(content):
    one = Checklist(word="build")
    one.steps = [{"name": "build-1", "words": "a", "caution": ""}]
    one._heard(one, content, [])
    assert one.ticked == []


@pytest.mark.parametrize(
    "value", [{"gate_r": [1, 1, 1]}, {"pickup_c": [1e-9]}, {"pickup_c": [None, 1, 1]}, {"pickup_c": ["1", 1, 1]},
              {"pickup_c": [5.0, 1, 1]}, {"pickup_c": [True, 1, 1]}, [1], {"play_v": [1.0, -1.0, 2.0]}],
)  # fmt: skip
def test_what_was_never_measured_is_not_taken_from_a_file(value):
    with pytest.raises(ValueError):
        SECTIONS["measured"].check(value)


def test_the_same_things_are_kept_as_are_measured():
    assert MEASURED == KEYS


# -- the sheet ----------------------------------------------------------------------------------------------------
def test_the_sheet_travels_as_a_message():
    page = chapter.make("stage=direct&pickup_c=1n5")
    got = []
    page.sheet.send = lambda content, buffers=None: got.append(content)
    page.sheet._heard(page.sheet, {"word": "sheet"}, [])
    [message] = got
    assert message["sheet"].startswith("<!doctype html>") and "pickup_c=1n5" in message["sheet"]
    assert not re.search(r"(?:src|href)\s*=", message["sheet"])  # it needs nothing else


def test_a_sheet_that_cannot_be_made_is_said():
    def fails() -> str:
        raise ValueError("inside")

    download, got = SheetDownload(fails), []
    download.send = lambda content, buffers=None: got.append(content)
    with pytest.raises(ValueError):
        download._asked({})
    assert "inside" not in got[0]["trouble"] and "undo" in got[0]["trouble"]


# -- measuring ----------------------------------------------------------------------------------------------------
def submit(page, way: str, **given: str) -> bool:
    form = page.measure.forms[way]
    return form.submit(dict(form.values) | given)


def test_a_measured_capacitance_goes_in_by_one_click_and_is_kept_with_its_range(plain):
    assert submit(plain, "meter", reading="14.73n", lead="disc")
    said = plain.measure.forms["meter"].said
    assert "14.7 nF" in said and "between" in said and "dB at the ends" in said
    assert plain.state.chain.pickup_c == 1.5e-9  # nothing goes in unasked
    plain.measure.takes["meter"].press("use")
    assert plain.state.chain.pickup_c == pytest.approx(14.73e-9)
    value, low, high = sent(plain, "measured")["pickup_c"]
    assert low == pytest.approx(value * 0.98 - 0.05e-9, rel=1e-3) and high > value
    assert "yes" in words(plain.measure.shown.content)
    plain.bar.press("undo")
    assert plain.state.chain.pickup_c == 1.5e-9 and "no, it has 1.50 nF" in words(plain.measure.shown.content)
    plain.measure.drop.press("drop")
    assert plain.measure.measured == {} and plain.measure.shown.content == ""


def test_the_other_three_ways(plain):
    assert submit(plain, "recordings", r1="100k", db1="-17.5", r2="1M", db2="-9.2", pitch="A3")
    assert "between" in plain.measure.forms["recordings"].said
    assert submit(plain, "take", peak="-8.5", full="3.46", pitch="440")
    plain.measure.takes["take"].press("use")
    assert plain.state.chain.play_v != 1.0
    assert submit(plain, "input", series="470k")
    plain.measure.takes["input"].press("use")
    assert plain.state.chain.input_r == pytest.approx(470e3, rel=1e-3)
    assert submit(plain, "take", peak="0", full="3.46")
    assert "may have clipped" in plain.measure.forms["take"].said


@pytest.mark.parametrize(
    ("way", "given", "name", "said"),
    [
        ("meter", {"reading": ""}, "reading", ""), ("meter", {"reading": "-1n"}, "reading", "more than 0"),
        ("meter", {"reading": "1n", "percent": "50"}, "percent", "0 to 20"),
        ("recordings", {"db1": "-3", "db2": "0", "r2": "100k"}, "r2", "another one"),
        ("recordings", {"db1": "-3", "db2": "0", "pitch": "H9"}, "pitch", "H9"),
        ("recordings", {"db1": "-30", "db2": "0"}, "", "levels: a difference"),
        ("take", {"peak": "3", "full": "2"}, "", "peak: 3 dBFS"),
        ("take", {"peak": "-3", "full": "0"}, "full", "more than 0"),
        ("input", {"series": "1M", "drop": "0.1"}, "", "drop: 0.1 dB"),
    ],
)  # fmt: skip
def test_readings_that_cannot_be_are_refused_with_a_sentence(plain, way, given, name, said):
    form = plain.measure.forms[way]
    assert not submit(plain, way, **given)
    sentence = form.wrong.get(name, "") if name else form.said
    assert sentence and said in sentence
    assert plain.measure.takes[way].buttons == []


def test_two_inputs_cannot_have_one_measured_resistance():
    page = chapter.make("stage=direct&input=pedal,interface")
    assert not submit(page, "input", series="1M")
    assert "input" in page.measure.forms["input"].said


# -- tasks --------------------------------------------------------------------------------------------------------
def test_tasks_are_checked_against_the_studies(page):
    assert page.tasks.check("build-loading", "3.26 V")[0] and not page.tasks.check("build-loading", "4.5 V")[0]
    assert page.tasks.check("build-first-power", "2")[0] and not page.tasks.check("build-first-power", "0")[0]
    assert not page.tasks.check("build-current", "")[0]
    page.own.enter("source_r", "1k8")
    good, said = page.tasks.check("build-current", "")
    assert good == (0.45 <= first_power(page.state.chain).healthy.typical <= 0.55), said
    assert good


def test_in_a_kernel_the_headline_is_marked_until_it_is_the_new_chains(monkeypatch) -> None:
    monkeypatch.setattr("piezolab.pages.kit.at_rest._in_a_kernel", lambda: True)

    async def served() -> Page:
        made = chapter.make("")
        assert made.plot.traces and "being worked out" in made.verdict.content and made.verdict.old
        made.own._ready({})
        while made.state.at_rest.waiting:
            await asyncio.sleep(0.01)
        assert not made.verdict.old and "At first power" in made.verdict.content
        before, figure = made.verdict.content, made.plot.label
        made.state.enter("source_r", "18k")
        assert made.verdict.old and made.verdict.content == before and made.plot.label != figure
        while made.state.at_rest.waiting:
            await asyncio.sleep(0.01)
        assert not made.verdict.old and made.verdict.content != before
        return made

    with ThreadPoolExecutor(1) as own:  # a browser of other tests may hold this thread's loop
        made = own.submit(asyncio.run, served()).result()
    monkeypatch.undo()
    plain = chapter.make("source_r=18k")
    assert made.verdict.content == plain.verdict.content and made.table.content == plain.table.content
    assert made.advice.content == plain.advice.content
    assert [one.list.steps for one in made.lists] == [one.list.steps for one in plain.lists]
