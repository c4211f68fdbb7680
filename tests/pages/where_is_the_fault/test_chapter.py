"""Chapter 8: readings in, places and the next reading out; safety first."""

import asyncio
import inspect
import json
import re
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.pages.kit.form import FieldError
from piezolab.pages.where_is_the_fault import chapter as page
from piezolab.pages.where_is_the_fault import finder_blocks
from piezolab.pages.where_is_the_fault import sentences as say
from piezolab.pages.where_is_the_fault.entry import MOST_READINGS, Entry, read
from piezolab.pages.where_is_the_fault.feed_words import fed
from piezolab.pages.where_is_the_fault.finder import AFTER_A_KNOCK, EAR, PROBING, Finder
from piezolab.pages.where_is_the_fault.finder_blocks import DRAWING, unseen_html
from piezolab.pages.where_is_the_fault.heard_words import try_words
from piezolab.studies.faults.diagnosis import diagnose
from piezolab.studies.faults.drawn_board import table_of
from piezolab.studies.faults.knowledge import knowledge
from piezolab.studies.faults.making import fault_table
from piezolab.studies.faults.readings import SWEEP_CHECKS, SWEPT, Check, Reading
from piezolab.studies.knock import knock


@pytest.fixture(scope="module")
def made() -> page.Page:
    return page.make("")


def fresh(made: page.Page) -> Finder:
    made.finder._forget()
    return made.finder


def test_it_starts_with_what_to_measure_and_how(made: page.Page) -> None:
    finder = fresh(made)
    assert "First compare board and drawing" in made.verdict.content
    assert "Battery unclipped" in finder.next.content, "nothing is powered before a short is ruled out"
    assert finder.entry.values["check"] == made.state.diagnosis.found.next.check.key


def test_readings_narrow_it_down_and_can_be_forgotten(made: page.Page) -> None:
    finder = fresh(made)
    assert not made.finder.places.content, "no list of repairs before anything was said"
    assert finder.entry.submit({"check": "ohm:clip", "value": "OL"})
    assert finder.entry.submit({"check": "ohm:supply", "value": "OL"})
    assert made.state.diagnosis.found.spots[0].spot in ("transistor:Q1", "part:R_S")
    then = made.state.diagnosis.found.next.check
    assert say.check_words(then) in finder.entry.said, "what comes next is said at once"
    assert "over range" in finder.taken.content
    before = made.plot.traces
    finder.drop.press("drop-0")
    assert len(made.state.diagnosis.readings) == 1
    finder.drop.press("all")
    assert not made.state.diagnosis.readings and made.plot.traces != before


def test_swapped_source_resistor_and_output_capacitor_take_three_readings(made: page.Page) -> None:
    """As built: R_S went where C_out belongs; the source hangs on a capacitor, the jack sits at direct voltage.

    With C_out still in its own place beside R_S the meter would read the same: both are named at the one place.
    """
    finder = fresh(made)
    for check, value in (("ohm:clip", "115k"), ("ohm:source", "104k"), ("dc:jack", "1.11 V")):
        assert finder.entry.submit({"check": check, "value": value}), finder.entry.wrong
    first = made.state.diagnosis.found.spots[0]
    assert first.probability > 0.8 and first.spot == "part:R_S"
    assert {fault.key for fault in first.faults[:2]} == {"swapped:R_S+C_out", "misplaced:R_S"}
    assert "RS" in made.verdict.content and "put each in the other&#x27;s place" in finder.places.content
    assert "Measure" not in finder.taken.content and "1. ohms between" in finder.taken.content
    assert "mend it first" in finder.next.content


def test_volts_that_this_board_cannot_have_are_asked_about(made: page.Page) -> None:
    finder = fresh(made)
    assert finder.entry.submit({"check": "dc:clip", "value": "900"})
    for words in ("volts between the clip", "900 V?", "Plausible on this board is −12 V to 12 V", "read it again"):
        assert words.lower() in made.verdict.content.lower(), made.verdict.content
    assert "not weighed" in finder.taken.content
    found = made.state.diagnosis.found
    finder.drop.press("all")
    assert found.spots == made.state.diagnosis.found.spots
    assert finder.entry.submit({"check": "dc:clip", "value": "9.00"}) and "Plausible" not in made.verdict.content


def test_hot_ends_all_powered_readings(made: page.Page) -> None:
    finder = fresh(made)
    finder.ear_buttons.press("hot")
    assert "Switch off, unclip" in made.verdict.content and "Switch off, unclip" in finder.stop.content
    assert made.state.diagnosis.found.unpowered_only
    assert not made.state.diagnosis.found.next.powered
    finder.ear_buttons.press("fine")
    assert made.state.heard == ("fine",), "what is fine is not hot"
    finder.ear_buttons.press("weak")
    assert made.state.heard == ("weak",)


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
    before = made.state.diagnosis.found
    assert not finder.entry.submit({"check": check, "value": value})
    assert words in finder.entry.wrong["value"]
    assert made.state.diagnosis.readings == () and made.state.diagnosis.found is before


def test_readings_are_read_with_their_last_digit() -> None:
    assert read(Check("dc", "source"), "1.23 V") == Reading("dc", "source", 1.23, pytest.approx(0.01))
    assert read(Check("ohm", "clip"), "o.l.").value == float("inf")
    assert read(Check("ohm", "clip"), "4k7").digit == pytest.approx(100.0)
    with pytest.raises(FieldError):
        read(Check("ohm", "clip"), "much")
    assert read(Check("tone", "input"), "Weak").value == "weak"


def test_a_lone_one_is_never_guessed() -> None:
    """Some meters show it for over range; one ohm at the clip is a short."""
    for text in ("1", " 1. ", "1 ."):
        with pytest.raises(FieldError, match="over range or one ohm; write OL or 1R"):
            read(Check("ohm", "clip"), text)
    assert read(Check("ohm", "clip"), "1R").value == read(Check("ohm", "clip"), "1.0").value == 1.0
    assert read(Check("dc", "source"), "1").value == 1.0


def test_what_is_expected_is_no_finer_than_the_display(made: page.Page) -> None:
    """3 1/2 digits: 0.1 ohm, 0.1 mV, 1 mV AC in the last place of the lowest range."""
    fresh(made)
    meter = made.state.meter
    for kind, value, words in (
        ("ohm", 0.0557, "0.1 Ω"), ("ohm", 0.02, "0 Ω"), ("ohm", 3922.6, "3.92 kΩ"), ("dc", 2.4e-8, "0 V"),
        ("corner", 3.8e-9, "0 Hz"), ("corner", 783.0, "780 Hz"), ("level", -69.94, "−69.9 dB"),
        ("bend", 0.0123, "0.012"), ("dc", -0.4, "−400 mV"), ("dc", 9.0, "9.00 V"),
        ("high", 0.0031, "3 mV"), ("ohm", float("inf"), "over range"),
    ):  # fmt: skip
        assert say.on_display(kind, value, meter) == words
    assert say.reading_words(Reading("dc", "source", 1.2, 0.01)).endswith("1.20 V")
    assert say.reading_words(Reading("ohm", "clip", 0.3, 0.1)).endswith("0.3 Ω")


def test_the_same_reading_asked_for_again_says_so_and_why(made: page.Page) -> None:
    finder = fresh(made)
    finder.ear_buttons.press("dead")
    assert finder.entry.submit({"check": "ohm:clip", "value": "0.3"})
    assert made.state.diagnosis.found.stop and finder.stop.content
    step = made.state.diagnosis.found.next
    reasons = {say.why_words(replace(step, reason=reason)) for reason in ("spot", "short", "second", "again")}
    assert len(reasons) == 4 and say.why_words(step) in finder.next.content


def test_the_tone_is_at_hand_only_once_the_battery_may_go_in(made: page.Page) -> None:
    finder = fresh(made)
    assert made.state.diagnosis.found.unpowered_only and finder.tone.layout.display == "none"
    assert finder.tone.hertz == [41.0, 1000.0]
    finder.entry.submit({"check": "ohm:clip", "value": "14.0k"})
    finder.entry.submit({"check": "ohm:supply", "value": "4.0k"})
    assert not made.state.diagnosis.found.unpowered_only and finder.tone.layout.display is None
    how, caution = say.check_how(Check("high", "jack"))
    assert "300 mV" in how and "10 nF" in how and "down" in caution
    for place in ("clip", "source"):  # a meter left on amperes is a short across the battery
        how, caution = say.check_how(Check("dc", place))
        assert "its + to the red wire" in how and "V socket, never A" in caution and "Touch the battery" in caution


def test_the_meter_can_be_another_and_without_ac(made: page.Page) -> None:
    finder = fresh(made)
    assert finder.meter_form.submit({"meter_ohm": "1M", "counts": "2000", "ac": "no"})
    assert made.state.meter.input_ohm == 1e6
    assert made.state.diagnosis.found.next.check.kind not in ("low", "high")
    assert not finder.meter_form.submit({"meter_ohm": "1R"})
    assert "allowed" in finder.meter_form.wrong["meter_ohm"]
    assert not finder.meter_form.submit({"meter_ohm": "10M", "counts": "20.5"})
    assert not finder.meter_form.submit({"counts": "2000", "tone_v": "12"})
    assert "allowed is 10 mV to 3 V" in finder.meter_form.wrong["tone_v"]
    assert finder.meter_form.submit({"meter_ohm": "10M", "ac": "yes", "tone_v": "0.3"})


def test_where_a_sweep_can_be_recorded_it_is_asked_for_and_where_to_is_said() -> None:
    opened = page.make("pickup_c=14n")
    finder, kept = opened.finder, {}
    opened.keepsake.keep = lambda name, value: kept.update({name: value})
    finder.ear_buttons.press("thin")
    for value, check in (("14.0k", "ohm:clip"), ("4.0k", "ohm:supply")):
        finder.entry.submit({"check": check, "value": value})
    assert "sweep" not in finder.next.content + opened.table.content
    assert finder.meter_form.submit({"recorder": "interface"}) and kept["build"] == {"recorder": "interface"}
    assert opened.state.diagnosis.found.next.check.kind in SWEPT
    for words in ("a recorded sweep", "Battery in", "The disc is unplugged", "“Measure with a sweep”",
                  "loudspeakers off", 'href="did-it-do-what-was-predicted?pickup_c=14n"'):  # fmt: skip
        assert words in finder.next.content, words
    assert finder.next.content.count("stands for it") == 1
    assert "a recorded sweep" in opened.table.content
    finder.ear_buttons.press("hot")
    assert "sweep" not in finder.next.content + opened.table.content
    finder.ear_buttons.press("hot")
    key = opened.state.diagnosis.found.next.check.key
    assert not finder.entry.submit({"check": key, "value": "33±"})
    assert "half its interval" in finder.entry.wrong["value"]
    assert finder.entry.submit({"check": key, "value": "33±4"})
    assert "33 ± 4\xa0Hz" in finder.taken.content and "sweep" not in finder.next.content
    again = page.make("pickup_c=14n")
    again.keepsake._heard(again.keepsake, {"word": "kept", "sections": {n: json.dumps(v) for n, v in kept.items()}}, [])
    assert again.state.metering.build.records and again.state.entries == opened.state.entries
    assert again.state.diagnosis.found.spots == opened.state.diagnosis.found.spots


@pytest.mark.parametrize(
    ("kind", "value", "half", "words"),
    [("corner", 105.63, 0.18, "105.6 ± 0.2 Hz"), ("level", -1.215, 0.01, "−1.22 ± 0.01 dB"),
     ("corner", 2345.0, 120.0, "2345 ± 120 Hz"), ("bend", 0.02, 0.004, "0.020 ± 0.004"),
     ("corner", 83.0, 1e-6, "83.000 Hz"), ("corner", 83.0, None, "83.0 Hz")],
)  # fmt: skip
def test_a_sweeps_number_is_shown_as_well_as_it_is_known(
    kind: str, value: float, half: float | None, words: str
) -> None:
    assert say.value_words(kind, value, half) == words


def test_how_each_number_of_a_sweep_is_got() -> None:
    for check in SWEEP_CHECKS:
        how, caution = say.check_how(check)
        assert how.startswith("Battery in") and "disc is unplugged" in how and "switch off" in caution


def test_a_cheap_meter_that_stops_at_two_megohms_finds_no_fault_in_the_gate_resistor(made: page.Page) -> None:
    finder = fresh(made)
    finder.entry.submit({"check": "ohm:pickup", "value": "OL"})
    assert made.state.diagnosis.found.probability("part:R_G") > 0.2, "4.7 megohm is within this meter's range"
    assert finder.meter_form.submit({"ohm_max": "2M"})
    assert made.state.diagnosis.found.probability("part:R_G") < 0.1
    assert finder.meter_form.submit({"ohm_max": "20M"})


@pytest.mark.parametrize("query", ["stage=gain", "stage=direct", "return=divider", "supply=adapter", "gate_stop=1k"])
def test_words_for_every_chain(query: str) -> None:
    made = page.make(query)
    chain = made.state.chain
    assert not made.state.trouble and made.verdict.content
    found = fault_table(chain)
    for fault in found.hypotheses:
        said = say.fault_texts(fault, chain)
        for text in (say.spot_words(fault.spot, chain), *(said[key] for key in ("mend", "reads", "shows"))):
            assert text and "{" not in text and "_" not in text.replace("V_", ""), text
    for check in found.checks:
        assert "{" not in say.check_words(check) + "".join(say.check_how(check))
    assert not re.search(r"\b(nan|None)\b", made.table.content + unseen_html(found, chain))


_OF_A_BATTERY = re.compile(r"(?i)batter|(?<!:)(?<!you )\bclip\b|unclip|swollen one|burst")


def test_an_adapters_page_knows_no_battery() -> None:
    made = page.make("supply=adapter")
    chain, finder = made.state.chain, made.finder
    found = fault_table(chain, swept=True)
    words = [fed(text, chain) for text in (PROBING, page.MENDING, EAR, say.stop_words(), say.stop_words(True))]
    for fault in found.hypotheses:
        texts = (say.spot_words(fault.spot, chain), say.hidden_words(fault, chain, found.meter),
                 *say.fault_texts(fault, chain).values())  # fmt: skip
        words += [fed(text, chain) for text in texts]
    for check in found.checks:
        words += [fed(text, chain) for text in (say.check_words(check), *say.check_how(check))]
    shown = [unseen_html(found, chain)]
    for heard, readings in (((), ()), (("fine",), ()), (("hot",), ()), ((), (("dc:clip", "-9"),)),
                            (("dead",), (("ohm:clip", "8k"),))):  # fmt: skip
        finder._forget()
        for word in heard:
            finder.ear_buttons.press(word)
        for check, value in readings:
            assert finder.entry.submit({"check": check, "value": value})
            shown.append(finder.entry.said)
        shown += [made.verdict.content, made.table.content, *(
            block.content for block in (finder.stop, finder.ear, finder.care, finder.next, finder.taken, finder.places)
        )]  # fmt: skip
    shown += [str(finder.entry.fields), str(finder.ear_buttons.buttons)]
    for text in (*words, *shown):
        assert not _OF_A_BATTERY.search(text), _OF_A_BATTERY.search(text).string
    of_a_battery = ("its battery", "at the clip,", "the clip's wires", "unclip it", "a swollen one", "it can burst")
    assert all(_OF_A_BATTERY.search(text) for text in (*of_a_battery, fed(EAR, SignalChain())))
    assert not _OF_A_BATTERY.search(page.MENDING), "leads are clipped whatever feeds the board"
    made.state.put(SignalChain())
    assert "unclip the battery" in finder.ear.content and "battery side" in finder.care.content
    assert "other cable, battery: same" in str(finder.ear_buttons.buttons)
    feeds = ("adapter", "unpowered")
    told = "\n".join([*(str(table) for name, table in knowledge().texts.items() if name not in feeds), EAR, PROBING])
    told += inspect.getsource(say) + inspect.getsource(finder_blocks)
    for words_of_a_battery, _ in (pair for feed in feeds for pair in knowledge().texts[feed]["said"]):
        assert told.count(words_of_a_battery) > 0, f"no text says {words_of_a_battery!r}"


@pytest.mark.parametrize("supply", sorted(catalogue.batteries()))
def test_the_battery_brings_its_own_caution(supply: str) -> None:
    kind = catalogue.batteries()[supply]
    chain = SignalChain(supply=supply, supply_v=kind.nominal_v)
    assert kind.caution and kind.caution in say.battery_caution(chain)
    assert not say.battery_caution(SignalChain(supply="adapter"))


def test_newly_built_and_played_before_exclude_each_other(made: page.Page) -> None:
    finder = fresh(made)
    for word in ("fine", "new", "worked"):
        finder.ear_buttons.press(word)
    assert made.state.heard == ("fine", "worked")
    finder.ear_buttons.press("weak")
    assert made.state.heard == ("worked", "weak")


def test_after_a_knock_silence_is_no_fault_at_once(made: page.Page) -> None:
    finder = fresh(made)
    assert AFTER_A_KNOCK not in finder.next.content
    finder.ear_buttons.press("knocked")
    assert finder.next.content.startswith(f"<p>{AFTER_A_KNOCK}")
    for stage in ("follower", "gain"):
        assert 0.01 < knock(SignalChain(stage=stage)).silent_s.max() < 1.0, "a moment"


def test_what_needs_no_meter_is_asked_first(made: page.Page) -> None:
    finder = fresh(made)
    look = knowledge().texts["heard"]["looked"]["try"]
    assert look in made.verdict.content and look not in finder.next.content
    finder.ear_buttons.press("dead")
    assert finder.next.content.startswith(f"<p>{look}, ") and look not in made.verdict.content
    assert DRAWING in finder.next.content and "how-do-i-build-it-and-check-it" in finder.next.content
    finder.ear_buttons.press("looked")
    assert DRAWING not in finder.next.content
    assert look not in finder.next.content and "press “looks as drawn”" not in finder.next.content
    adapter = fed(try_words("exchanged", 0.2), SignalChain(supply="adapter"))
    assert "another adapter" in adapter and "battery" not in adapter and "20 %" in adapter
    assert "battery" not in fed(try_words("exchanged", 0.2), SignalChain(stage="direct"))


def test_a_bridge_is_looked_for_before_the_transistor_is_replaced(made: page.Page) -> None:
    finder = fresh(made)
    for word in ("knocked", "dead"):
        finder.ear_buttons.press(word)
    legs = finder.places.content.partition("legs or lanes")[2].partition("<h3>")[0]
    assert 0 < legs.index("Look for a solder bridge") < legs.index("Replace the transistor")
    for spot in made.state.diagnosis.found.spots:
        told = say.mends(spot.faults, made.state.chain)
        assert sum(share for *_, share in told) == pytest.approx(spot.probability, abs=1e-9)


def test_a_sweep_is_simulated_once_one_was_read(made: page.Page) -> None:
    finder = fresh(made)
    assert "corner:sweep" not in {check.key for check in made.state.table.checks}
    assert finder.entry.submit({"check": "corner:sweep", "value": "400"}), finder.entry.wrong
    weighed = made.state.diagnosis
    assert weighed.used == (0,) and "corner:sweep" in {check.key for check in weighed.table.checks}
    spots = weighed.found.spots
    assert spots[0].spot != "healthy" and any("C_out" in spot.spot for spot in spots[:2])
    finder.drop.press("all")
    assert "corner:sweep" not in {check.key for check in made.state.table.checks}


def test_what_the_browser_kept_comes_back(made: page.Page) -> None:
    finder = fresh(made)
    finder.entry.submit({"check": "ohm:source", "value": "3k9"})
    finder.ear_buttons.press("dead")
    finder.meter_form.submit({"ohm_max": "2M"})
    kept = json.loads(made.keepsake._values["fault"])
    assert kept == {"reading 00": "ohm:source=3k9", "heard": "dead"}
    other = page.make("")
    other.keepsake._users["build"](json.loads(made.keepsake._values["build"]))
    other.keepsake._users["fault"]({**kept, "reading 01": "dc:nowhere=1", "reading 02": "dc:source=5000",
                                    "reading 03": "tone:jack=weak", "reading 04": "watts:jack=1"})  # fmt: skip
    assert other.state.heard == ("dead",) and other.state.meter.ohm_max == 2e6
    assert other.state.diagnosis.readings == made.state.diagnosis.readings, "with the last place that was typed"
    assert other.state.diagnosis.found.spots == made.state.diagnosis.found.spots
    assert "no such lane" in other.finder.taken.content, "what this chain does not have is shown, and not weighed"
    assert finder.meter_form.submit({"ohm_max": "20M"})
    fresh(made)
    assert made.keepsake._values["fault"] is None and made.keepsake._values["build"] is None


def test_a_meter_kept_with_the_readings_by_an_older_page_goes_to_the_build() -> None:
    other = page.make("")
    sections = {
        "fault": json.dumps({"heard": "dead", "meter input_ohm": "1M", "meter ohm_max": "2M", "meter ac": "no"}),
        "build": json.dumps({"method": "tape", "meter_r": "5M", "schottky": "no"}),
    }
    other.keepsake._heard(other.keepsake, {"word": "kept", "sections": sections}, [])
    build = other.state.metering.build
    assert (build.method, build.diode, build.meter_ohm, build.ohm_max, build.ac) == ("tape", "none", 5e6, 2e6, "no")
    assert json.loads(other.keepsake._values["fault"]) == {"heard": "dead"}
    assert json.loads(other.keepsake._values["build"]) == build.texts, "the board's part is not lost here"


def test_as_many_readings_as_are_allowed_can_be_kept(made: page.Page) -> None:
    finder = fresh(made)
    finder.ear_buttons.press("dead")
    for n in range(MOST_READINGS):
        assert finder.entry.submit({"check": "ohm:source", "value": f"3.9{n:02d}k"}), finder.entry.wrong
    assert not finder.entry.submit({"check": "ohm:source", "value": "3.9k"})
    assert "20 are enough" in finder.entry.said
    assert len(json.loads(made.keepsake._values["fault"])) == MOST_READINGS + 1
    fresh(made)


def test_tasks_and_chain_changes(made: page.Page) -> None:
    finder = fresh(made)
    assert made.tasks.check("fault-hot", "1")[0] and not made.tasks.check("fault-hot", "0")[0]
    assert made.tasks.check("fault-source", f"{page._sound('dc:source'):.3f}")[0]
    finder.entry.submit({"check": "dc:source", "value": "1.0"})
    made.state.put(SignalChain(stage="direct"))
    assert not made.state.diagnosis.readings, "what cannot be read there is not weighed"
    assert "no such lane" in finder.taken.content
    made.state.undo()
    assert [r.check.key for r in made.state.diagnosis.readings] == ["dc:source"], "and not lost"


def test_the_list_of_readings_follows_the_chain(made: page.Page) -> None:
    finder = fresh(made)
    made.state.put(SignalChain(stage="gain"))
    assert finder.entry in finder.asks.children
    assert finder.entry.submit({"check": "dc:drain", "value": "5.1"}), finder.entry.wrong
    assert [r.check.key for r in made.state.diagnosis.readings] == ["dc:drain"]
    made.state.undo()
    assert not finder.entry.submit({"check": "dc:drain", "value": "5.1"})


def test_a_move_of_a_setting_is_worked_out_and_drawn_once(made: page.Page, monkeypatch: pytest.MonkeyPatch) -> None:
    fresh(made)
    drawn = []
    monkeypatch.setattr(made.plot, "set", lambda *a, **k: drawn.append(a))
    made.state.enter("source_r", "3k3")
    assert len(drawn) == 1 and made.state.table.chain == made.state.chain
    made.state.undo()


def test_a_reading_draws_the_figure_once_and_the_circuit_not_at_all(
    made: page.Page, monkeypatch: pytest.MonkeyPatch
) -> None:
    finder, drawn = fresh(made), []
    monkeypatch.setattr(made.plot, "set", lambda *a, **k: drawn.append("figure"))
    made.schematic.observe(lambda _: drawn.append("circuit"), "content")
    monkeypatch.setattr("piezolab.sheets.schematic.schematic_svg", lambda chain: drawn.append("circuit") or "")
    numbers = made.table.content
    assert finder.entry.submit({"check": "ohm:clip", "value": "104k"})
    assert drawn == ["figure"] and made.table.content != numbers
    made.schematic.unobserve_all("content")
    monkeypatch.undo()
    fresh(made)


def test_who_observes_the_diagnosis_first_does_not_matter() -> None:
    """Headline and numbers of a page whose observers are called in the opposite order."""
    contents = []
    for turned in (False, True):
        made = page.make("")
        if turned:
            for name in ("outlook", "diagnosis"):
                made.state._trait_notifiers[name]["change"].reverse()
        made.state.entries = (Entry(read(Check("ohm", "clip"), "104k"), "104k"),)
        made.state.weigh()
        contents.append((made.verdict.content, made.table.content, made.finder.next.content, made.plot.label))
    assert contents[0] == contents[1] and "So far most likely" in contents[0][0]


def test_in_a_kernel_the_outlook_follows_at_once_and_the_faults_are_simulated_when_the_hand_rests(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked = []

    def counted(*question):
        asked.append(question[0])
        return table_of(*question)

    monkeypatch.setattr("piezolab.pages.where_is_the_fault.fault_state.table_of", counted)

    monkeypatch.setattr("piezolab.pages.kit.at_rest._in_a_kernel", lambda: True)

    async def served() -> page.Page:
        made = page.make("")
        assert made.plot.traces and "First compare board and drawing" in made.verdict.content
        assert "being worked out" in made.finder.next.content and made.finder.entry.layout.display == "none"
        made.own._ready({})
        for ohm in ("2k2", "3k3", "4k7"):
            made.state.enter("source_r", ohm, live=True)
            made.state.enter("source_r", ohm)
            assert "pz-old" not in made.stick._dom_classes, "nothing was read: what is shown is this chain's"
            await asyncio.sleep(0)
        while made.state.at_rest.waiting:
            await asyncio.sleep(0.01)
        made.state.entries = (Entry(read(Check("ohm", "clip"), "104k"), "104k"),)
        made.state.weigh()
        made.state.enter("source_r", "5k6")
        assert "pz-old" in made.stick._dom_classes, "a reading is weighed with the new table only"
        made.state.undo()
        assert "pz-old" not in made.stick._dom_classes
        return made

    with ThreadPoolExecutor(1) as own:  # a browser of other tests may hold this thread's loop
        made = own.submit(asyncio.run, served()).result()
    assert asked == [made.state.chain]
    assert made.state.diagnosis.table.chain == made.state.chain
    assert made.finder.entry.layout.display is None and made.finder.next.content and made.table.content


def test_two_faults_are_told_with_what_to_read_again(made: page.Page) -> None:
    finder = fresh(made)
    for check, value in (("ohm:clip", "OL"), ("ohm:source", "OL"), ("ohm:supply", "OL"), ("ohm:jack", "1.01M")):
        finder.entry.submit({"check": check, "value": value})
    assert made.state.diagnosis.found.two_suspected
    assert "probably two things are wrong" in made.verdict.content and "bleed resistor" in made.verdict.content
    assert "Two faults at once" in finder.places.content
    finder.entry.submit({"check": "dc:supply", "value": "11.5"})
    assert 5 in made.state.diagnosis.doubted and "read it again" in finder.taken.content
    assert made.state.diagnosis.found.two_suspected and "no. 5 once more to be sure" in made.verdict.content


def test_nothing_is_wrong_is_said_only_where_it_is_likelier_than_not(made: page.Page) -> None:
    finder = fresh(made)
    finder.ear_buttons.press("weak")
    for check, value in (("ohm:clip", "9.5k"), ("ohm:supply", "3.95k"), ("dc:source", "1.02")):
        assert finder.entry.submit({"check": check, "value": value})
    first = made.state.diagnosis.found.spots[0]
    assert first.spot == "healthy" and first.probability < 0.5
    assert "no place stands out yet" in made.verdict.content and "may well be" not in made.verdict.content
    finder = fresh(made)
    finder.ear_buttons.press("fine")
    for check, value in (("ohm:clip", "9.5k"), ("ohm:supply", "3.95k"), ("dc:source", "1.02"), ("dc:supply", "8.8"),
                         ("ohm:pickup", "4.7M"), ("ohm:plug", "100k")):  # fmt: skip
        assert finder.entry.submit({"check": check, "value": value})
    first = made.state.diagnosis.found.spots[0]
    assert first.spot == "healthy" and first.probability > 0.5
    assert re.search("may well be|seems to be wrong", made.verdict.content)
    fresh(made)


def test_no_button_without_an_effect(made: page.Page) -> None:
    assert [button["word"] for button in made.bar.buttons] == ["undo", "redo", "over"], "there is no curve to keep here"


def test_parts_are_named_as_one_would_say_them(made: page.Page) -> None:
    chain, table = SignalChain(), fault_table(SignalChain())
    mends = {fault.key: say.fault_texts(fault, chain)["mend"] for fault in table.hypotheses}
    assert mends["missing_ground:jack.sleeve"] == "Connect the sleeve of the jack to the ground lane."
    assert mends["missing_ground:disc.cold"] == "Connect the ground wire of the disc to the ground lane."
    assert mends["joint:jack.contact"].startswith("Clean and resolder the leads of the jack;")


def test_what_still_belongs_to_the_chain_before_is_marked() -> None:
    made = page.make("")
    assert "pz-old" not in made.stick._dom_classes
    made.state.enter("source_r", "4k7", live=True)
    assert "pz-old" in made.stick._dom_classes
    made.state.enter("source_r", "4k7")
    assert "pz-old" not in made.stick._dom_classes
    made.state.enter("stage", "direct")
    assert "pz-old" not in made.stick._dom_classes
    made.state.enter("play_v", "2", live=True)
    made.state.undo()
    assert "pz-old" not in made.stick._dom_classes, "dragged, and taken back"


@pytest.mark.parametrize("stage", ["follower", "gain"])
def test_every_place_has_a_name_of_its_own_that_fits_beside_its_bar(stage: str) -> None:
    chain = SignalChain(stage=stage)
    found = diagnose(fault_table(chain), (), ())
    names = [page._two_lines(say.spot_words(spot.spot, chain)) for spot in found.spots]
    assert len(set(names)) == len(names)
    for name in names:
        lines = name.split("<br>")
        assert len(lines) <= 2 and max(map(len, lines)) <= 29 and "…" not in name, name


@pytest.mark.parametrize(("p", "words"), [(0.0, "under 1 %"), (0.004, "under 1 %"), (0.006, "1 %"), (0.97, "97 %")])
def test_no_place_that_is_shown_has_no_chance(p: float, words: str) -> None:
    assert page._percent(p) == words


@pytest.mark.parametrize("stage", ["follower", "gain"])
def test_what_no_reading_shows_names_each_place_once(stage: str) -> None:
    chain = SignalChain(stage=stage)
    places = re.findall(r'<th scope="row">(.*?)</th>', unseen_html(fault_table(chain), chain))
    assert len(places) > 1 and len(set(places)) == len(places)
