"""Chapter 5: words and figures follow the chain, for every kind of chain."""

import re

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.pages.how_loud_before_it_clips import chapter as page
from piezolab.pages.how_loud_before_it_clips.cure_words import before_after, cure_words
from piezolab.pages.how_loud_before_it_clips.knock_words import knock_words
from piezolab.pages.how_loud_before_it_clips.level_path_figure import path_figure
from piezolab.pages.how_loud_before_it_clips.room_section import room_words
from piezolab.sheets.what_and_why import CHANGES
from piezolab.studies.level_cures import FITTED, level_cures
from piezolab.studies.levels import levels

QUERIES = [
    "",
    "stage=gain",
    "stage=direct",
    "discs=2px",
    "source_r=0",
    "input=microphone",
    "supply=adapter",
    "supply_v=3",
    "return=divider&jfet=J201&source_r=1k",
    "stage=gain&drain_r=1M",
    "play_v=100",
    "play_v=1m",
    "pad=10k,1k",
]


@pytest.mark.parametrize("query", QUERIES)
def test_every_part_has_words_for_every_chain(query: str) -> None:
    made = page.make(query)
    chain = made.state.chain
    assert not made.state.trouble
    texts = [made.verdict.content, made.table.content, room_words(chain), page.battery_words(chain)]
    for text in texts:
        assert text
        assert not re.search(r"\b(nan|inf|None)\b", text), text
    for figure in (page.fading_figure, path_figure):
        traces, layout, narrow, label = figure(chain, None)
        assert label and isinstance(layout, dict) and isinstance(narrow, dict)
        assert not re.search(r"\b(nan|inf|None)\b", label), label
        for trace in traces:
            assert len(trace["x"]) == len(trace["y"])


def test_the_verdict_says_whether_hard_playing_clips() -> None:
    assert "does not clip" in page.verdict_words(SignalChain())
    assert "clips: it is" in page.verdict_words(SignalChain(play_v=3.0))
    assert "takes no more" in page.verdict_words(SignalChain(stage="gain"))
    assert "does not work at rest" in page.verdict_words(SignalChain(stage="gain", drain_r=1e6))


def test_edges_are_marked_where_the_study_finds_them() -> None:
    chain = SignalChain()
    view = page.view(chain, None, False)
    marks = next(trace for trace in view.traces if trace["name"] == "clipping begins")
    of = levels(chain)
    assert sorted(marks["x"]) == pytest.approx(sorted([float(of.up), -float(of.down)]))
    assert len(page.view(chain, SignalChain(stage="gain"), False).traces) == len(view.traces) + 1


def test_every_change_has_its_words() -> None:
    for chain in (SignalChain(), SignalChain(stage="gain"), SignalChain(stage="direct")):
        for change in level_cures(chain):
            assert cure_words(chain, change)
            if change.name in CHANGES:
                assert cure_words(chain, change) == CHANGES[change.name]


def test_words_for_added_harmonics_cover_all() -> None:
    words = [page.added_words(part) for part in (0.0, 0.005, 0.03, 0.1, 3.0)]
    assert words == [entry[1] for entry in page.ADDED]


def test_tasks_are_checked_against_the_studies() -> None:
    made = page.make("")
    assert made.tasks.check("clip-dbu", "-0.79")[0] or made.tasks.check("clip-dbu", "-0.8 dB")[0]
    assert not made.tasks.check("clip-dbu", "1")[0]
    assert made.tasks.check("clip-first", "2")[0]
    assert not made.tasks.check("clip-room", "")[0]
    made.state.put(SignalChain(play_v=1.0, jfet="2N3819", input="interface"))
    good, words = made.tasks.check("clip-room", "")
    assert good == (float(levels(made.state.chain).input_headroom_db) >= 6), words


@pytest.mark.parametrize(("room", "good"), [(6.1, True), (5.9, False), (3.5, False)])
def test_six_decibels_of_room_are_enough_and_less_is_not(room: float, good: bool) -> None:
    chain = SignalChain(jfet="2N3819", input="interface")
    edge = float(levels(chain).clip_input_v_peak)  # of the stage: it does not move with the playing
    loud = SignalChain(jfet="2N3819", input="interface", play_v=edge / 10 ** (room / 20))
    assert float(levels(loud).input_headroom_db) == pytest.approx(room, abs=0.05)
    assert float(loud.play_v) >= 1.0, "or the task would refuse it for that"
    made = page.make("")
    made.state.put(loud)
    assert made.tasks.check("clip-room", "")[0] == good


def test_battery_words_follow_the_current() -> None:
    short = page.battery_words(SignalChain(other_current=20e-3, play_v=0.1))
    long = page.battery_words(SignalChain(play_v=0.1))
    hours = [float(re.search(r"about ([\d\u202f]+) hours", text)[1].replace("\u202f", "")) for text in (short, long)]
    assert hours[0] < hours[1] / 5
    assert np.isfinite(hours).all()
    # a stage that clips all the same still has a battery that lasts
    assert re.search(r"would last about [\d\u202f]+ hours .* clip even with a fresh one",
                     page.battery_words(SignalChain(stage="gain")))


def test_the_verdict_tells_the_edge_from_what_hard_playing_sounds_like() -> None:
    said = page.verdict_words(SignalChain())
    assert "Hard playing itself sounds" in said and "Up to there" not in said
    assert "typical of its kind" not in said  # the stage clips first
    assert "typical of its kind, not measured on yours" in page.verdict_words(SignalChain(stage="gain"))
    assert "typical" not in page.verdict_words(SignalChain(stage="gain", input_max=1.5))


def test_the_batterys_own_resistance_is_told_with_its_figure_and_not_of_an_adapter() -> None:
    """By hand: a spent alkaline block, 10 ohm (common practice, no source), at about 0.4 mA takes 4 mV."""
    told = page.battery_words(SignalChain()).replace("\u00a0", " ")
    found = re.search(r"Not counted: near its end its own resistance, 10 Ω, takes ([\d.]+) mV\.", told)
    assert found and 2 < float(found[1]) < 6
    for none in (SignalChain(supply="adapter"), SignalChain(stage="direct"), SignalChain(supply_v=25.0)):
        assert "resistance" not in page.battery_words(none)


def test_a_battery_keeps_no_longer_than_its_shelf_life() -> None:
    """Three AA cells keep seven years, whatever a stage that clips would leave in them."""
    told = page.battery_words(SignalChain(source_r=10e6, supply="aa-6", play_v=100.0))
    assert "would last 7 years, until it has aged on its own" in told and "clip even with a fresh one" in told


def test_batteries_come_whole() -> None:
    assert "set of 2 batteries in series" in page.battery_words(SignalChain(supply_v=18.0))
    refused = page.battery_words(SignalChain(supply_v=25.0)).replace("\u00a0", " ")
    assert "25 V is no whole number of 9.0 V batteries" in refused and "3 of them give 27 V" in refused
    assert "lasts" not in refused


def test_a_chain_without_a_stage_or_a_battery_is_told_nothing_of_them() -> None:
    bare, adapter = SignalChain(stage="direct", play_v=3.0), SignalChain(supply="adapter")
    assert "battery" not in page.battery_words(adapter) and "battery" not in page.battery_words(bare)


def test_the_fading_battery_runs_the_way_its_axis_says() -> None:
    _, layout, _, _ = page.fading_figure(SignalChain(), None)
    fresh, spent = layout["xaxis"]["range"]
    assert fresh > spent and layout["xaxis"]["title"]["text"].endswith("fresh to spent")


def test_room_is_told_before_and_after() -> None:
    told = " ".join(map(before_after, level_cures(SignalChain())))
    pairs = [(float(had), float(has)) for had, has in re.findall(r"room (-?[\d.]+) → ([\d.]+) dB", told)]
    assert pairs and all(has - had >= 0.45 for had, has in pairs)
    assert "enough" in room_words(SignalChain(play_v=0.1))
    assert "press" in room_words(SignalChain(input="microphone"))
    told = {cure.name: before_after(cure) for cure in level_cures(SignalChain(input="microphone"))}
    assert "level −" in told[FITTED]


def test_a_knock_is_told_by_what_is_heard_first() -> None:
    """Words of a default stage, of a gain stage that does not play, of a quick one, and of a bare disc."""
    told = {query: knock_words(page.make(query).state.chain) for query in ("", "stage=gain&drain_r=1M", "stage=direct")}
    for text in told.values():
        assert not re.search(r"\b(nan|inf|None)\b", text), text
    default = told[""]
    assert re.search(r"silence this stage for 0\.\d+ s", default) and "made for no more than 35 V" in default
    assert default.index("silence") < default.index("under its source") < default.index("<table")
    assert default.count("<tr") == 1 + 6 and "our guess" in default
    assert "does not play at rest" in told["stage=gain&drain_r=1M"]
    assert "no gate" in told["stage=direct"] and "<table" not in told["stage=direct"]


def test_the_level_picture_stands_from_disc_to_input_and_says_when_nothing_arrives():
    for changes, places in (({}, 4), ({"stage": "gain"}, 4), ({"stage": "direct"}, 2)):
        traces, layout, _, told = path_figure(SignalChain().but(changes), None)
        hard = next(trace for trace in traces if trace.get("name") == "hard playing")
        assert len(hard["y"]) == places == told.count(" peak") and len(layout["xaxis"]["ticktext"]) == places
        assert np.all(np.isfinite(hard["y"])) and hard["y"][0] == SignalChain().play_v
        # the two scales are the same scale: 1 V peak is 0.707 V rms, -0.79 dBu
        low, high = layout["yaxis"]["range"]
        at_one_volt = np.interp(0.0, [low, high], layout["yaxis2"]["range"])
        assert at_one_volt == pytest.approx(20 * np.log10(np.sqrt(0.5) / np.sqrt(0.6)))
    traces, _, _, told = path_figure(SignalChain().but(discs="2px"), None)
    assert not traces and told == "No signal reaches the input."
