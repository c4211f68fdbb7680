"""The third chapter's page without a browser: verdict, figure, sections, tasks, for every stage."""

import math
import re
from html.parser import HTMLParser

import numpy as np
import pytest

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.link import from_link
from piezolab.pages.kit.sections import PlotSection, Section
from piezolab.pages.what_do_cable_and_input_change import chapter
from piezolab.pages.what_do_cable_and_input_change import sections as parts
from piezolab.pages.what_do_cable_and_input_change import sentences as say
from piezolab.studies.inputs import this_input
from piezolab.studies.output import impedances
from piezolab.studies.plugging import plugging

CHAINS = (
    "",
    "stage=gain&input=line&bleed_r=10M",
    "stage=direct&pickup_c=1n5&input=microphone",
    "stage=direct&discs=2px",
    "input=amplifier,interface-microphone&cable_m=20",
    "source_r=0",
    "stage=gain&drain_r=0&out_c=100n",
    "pad=10k,1k&cable_m=0&tuning=E1&input_r=100",
    "return=tap&gate_r=100M&jfet=2N3819&supply=adapter&pickup_c=50p",
)


def text(html: str) -> str:
    """What is read on the screen."""
    words = []
    parser = HTMLParser()
    parser.handle_data = words.append
    parser.feed(html)
    return re.sub(r"\s+", " ", " ".join(words))


def told(make, link: str) -> str:
    """A section of a link's chain as it is read."""
    return text(make(from_link(link)))


def section(page, title: str) -> Section:
    """A section of the page, opened."""
    found = next(w for w in page.widget.children if isinstance(w, Section) and title in w.title)
    if found.folded:
        found._heard(found, {"word": "fold", "open": True}, [])
    return found


def drawn(page) -> dict:
    return {trace["name"]: trace for trace in page.plot.traces if trace.get("showlegend", True)}


@pytest.mark.parametrize("link", CHAINS)
def test_every_part_of_the_page_is_there_for_every_chain(link):
    page = chapter.make(link)
    shown = [text(page.verdict.content), text(page.advice.content), text(page.table.content), page.plot.label]
    for part in page.widget.children:
        if isinstance(part, Section):
            shown.append(text(section(page, part.title).content))
        elif isinstance(part, PlotSection):
            assert part.head.content == "" and part.plot.traces
            shown.append(part.plot.label)
    assert len(shown) == 14 and page.problems.content == ""
    for words in shown:
        assert not re.search(r"\b(nan|inf|None)\b|went wrong|worked out for this chain", words), words
        assert "  " not in words.strip()
    assert all(shown[n] for n in (0, 2, 3))


def test_three_curves_and_the_impedances_below(page_link="input=line-47k&pickup_c=2n2"):
    page = chapter.make(page_link)
    page.bar.press("keep")
    page.own.enter("cable_m", "30")
    curves = drawn(page)
    assert list(curves) == [
        "unplugged", "plugged in", "kept",
        "output impedance", "its resistive part", "cable and input", "kept: output impedance",
    ]  # fmt: skip
    looks = [(trace["line"]["color"], trace["line"]["dash"]) for trace in curves.values()]
    assert len(set(looks[:3])) == 3 and len(set(looks[3:])) == 4
    ohm = curves["output impedance"]
    assert ohm["yaxis"] == "y2" and page.plot._layout["yaxis2"]["type"] == "log"
    z = impedances(page.state.chain, np.asarray(ohm["x"])).output
    assert np.allclose(ohm["y"], np.abs(z)) and np.allclose(curves["its resistive part"]["y"], z.real)
    # the cable in parallel with 47 kohm, on paper
    y = 1 / 47e3 + 2j * np.pi * np.asarray(ohm["x"]) * (200e-12 + 30 * 100e-12)
    assert np.allclose(curves["cable and input"]["y"], 1 / np.abs(y))


def test_the_lower_panel_has_its_own_name_and_button():
    page = chapter.make("")
    assert [b["label"] for b in page.bar.buttons if b["word"] == "phase"] == ["impedance"]
    assert page.plot._layout["yaxis2"]["title"]["text"] == "Ω"
    assert all(t["meta"] == {"wide_only": True} for t in page.plot.traces if t.get("yaxis") == "y2")
    page.bar.press("phase")
    assert all("meta" not in t for t in page.plot.traces)


def test_the_free_and_the_loaded_curve_against_a_divider():
    """A bare disc, loss tangent 0: C_p with its lead against cable and input."""
    page = chapter.make("stage=direct&pickup_c=2n2&pickup_loss=0&input=line-47k")
    free, loaded = (np.asarray(drawn(page)[name]["y"]) for name in ("unplugged", "plugged in"))
    w = 2j * np.pi * np.asarray(page.plot.traces[0]["x"])
    y = 1 / 1e9 + w * 0.3 * 100e-12
    h_free = w * 2.2e-9 / (w * 2.2e-9 + y)
    h = w * 2.2e-9 / (w * 2.2e-9 + y + 1 / 47e3 + w * (200e-12 + 300e-12))
    assert np.allclose(free, 20 * np.log10(np.abs(h_free)), atol=1e-9)
    assert np.allclose(loaded, 20 * np.log10(np.abs(h)), atol=1e-9)


@pytest.mark.parametrize(
    ("link", "words"),
    [
        ("", "no change to hear: with 3 m of cable and the instrument amplifier, your low D (147 Hz) loses nothing"),
        ("stage=direct&pickup_c=1n5&input=line", "comes 37 dB down: next to no bass"),
        ("stage=gain&input=line&play_v=0.1", "every note is quieter alike: your low D (147 Hz) comes 4.1 dB down"),
        ("stage=gain&drain_r=100k&source_r=22k&cable_m=100&play_v=10m", "sounds duller: at 5 kHz it comes"),
        ("input=recorder", "Hard playing is 12.4 dB too loud for this input: it rasps"),
        ("stage=gain", "clips in the stage by itself, and this input clips 7.1 dB sooner still"),
        ("input=line&play_v=1.05", "cannot drive it: hard playing clips, 1.2 dB too much; with nothing"),
        ("source_r=0", "nothing arrives at the input"),
        ("stage=direct&discs=2px", "cancel: cable and input make no difference"),
        ("jfet=2N3819&return=divider&supply_v=5", "does not work yet: the transistor"),
        ("input_r=22k&play_v=0.1", "your input"),
        ("input=pedal,interface&cable_m=0&play_v=0.1", "the effect pedal and the audio interface (instrument socket)"),
    ],
)
def test_the_verdict_says_what_is_heard(link, words):
    assert words in text(chapter.make(link).verdict.content)


def test_a_broken_line_lies_on_top_of_an_unbroken_one():
    order = {trace["line"]["dash"]: trace["zorder"] for trace in chapter.make("").plot.traces if "zorder" in trace}
    assert order["dash"] > order["solid"]


def test_opposed_discs_have_nothing_to_lose():
    from piezolab.pages.what_do_cable_and_input_change import sections

    chain = from_link("input=microphone&discs=2sx")
    assert "nan" not in sections.thump(chain) and "nothing arrives" in sections.thump(chain)
    assert "a bare pickup is itself" not in sections.corners(chain)


def test_the_bridging_ratio_of_the_sentence_and_of_the_table_are_told_apart():
    from piezolab.pages.what_do_cable_and_input_change import sections

    shown = text(sections.bridging(from_link("")))
    assert "2000 times the output's at 1 kHz here" in shown and "ratio with the cable" in shown
    assert "lies beside the input" in shown


def test_advice_on_stage_phantom_power_and_thump():
    shown = text(chapter.make("input=microphone").advice.content)
    assert "worth it here" in shown and "Phantom power can reach" in shown and "thump of 30 mV" in shown
    shown = text(chapter.make("stage=direct").advice.content)
    assert "makes no difference" in shown and "Phantom" not in shown and "thump" not in shown


def test_a_stage_that_spoils_the_bass_is_no_gain():
    page = chapter.make("pickup_c=440p&gate_r=1M&input=acoustic-amplifier&tuning=E2")
    shown = text(page.verdict.content) + " " + text(page.advice.content)
    assert "not worth it here" in shown and "8 dB quieter" in shown and "10M would do" in shown
    assert not re.search(r"essential|saves|no change\b(?! to hear)", shown)


def test_where_a_stage_is_worth_it_names_each_input_once_and_the_rule():
    shown = told(parts.stage_or_not, "")
    assert "Worth it into: " in shown and "No difference into: " in shown and "our own" in shown
    listed = [kind for group in re.findall(r" into: (.*?)\.", shown) for kind in group.split("; ")]
    assert sorted(listed) == sorted(row.label for row in catalogue.inputs().values())


def test_no_direct_voltage_is_said_once():
    shown = told(parts.thump, "out_c=470n")
    assert "Next to nothing leaks through" in shown and "no voltage" not in shown
    assert "no voltage" not in told(parts.thump, "source_r=0")


def test_every_kind_is_listed_worst_first_with_its_reason():
    html = parts.every_input(from_link("stage=direct&pickup_c=300p"))
    kinds = [row.label for row in catalogue.inputs().values()]
    rows = re.findall(r"<tr><th scope=\"row\">(.*?)</th>", html)
    assert len(rows) == len(kinds)
    names = [text(row.split("<br>")[0]).replace(" (yours)", "").strip() for row in rows]
    assert sorted(names) == sorted(kinds) and sum("(yours)" in row for row in rows) == 1
    assert "resistance too low" in rows[0] and "capacitance of cable and input" in rows[-1]


def test_the_tables_ratio_is_that_of_the_impedances():
    shown = told(parts.bridging, "stage=gain&input=line")
    row = this_input(from_link("stage=gain&input=line"))
    assert f"impedance is {say.ratio_words(row.bridging)} times the output's at 1 kHz" in shown
    assert "bridging" not in shown
    assert "takes a good part" in shown


def test_corners_by_hand():
    shown = told(parts.corners, "out_c=100n&input=line")
    behind, load = 415, 1 / (1 / 100e3 + 1 / 10e3)
    hz = float(re.search(r"3 dB at ([\d.]+) Hz", shown)[1])
    assert hz == pytest.approx(1 / (2 * math.pi * 100e-9 * (behind + load)), rel=4e-3)
    assert "9.09 kΩ" in shown
    assert "No output capacitor" in told(parts.corners, "stage=direct")
    dull = told(parts.corners, "stage=gain&drain_r=100k&source_r=22k&cable_m=100")
    assert "within hearing: it dulls" in dull


def test_lengths_start_at_nothing_and_the_bare_pickup_is_there_to_compare():
    traces, _, _, label = parts.lengths(from_link("pickup_c=1n"), from_link("stage=gain"))
    assert [t["name"] for t in traces] == [
        "lead, with source follower", "cable, with source follower", "cable, bare pickup", "kept: cable",
    ]  # fmt: skip
    assert all(t["y"][0] == 0.0 for t in traces)
    assert [t["x"][-1] for t in traces] == [10.0, 30.0, 30.0, 30.0]
    bare = traces[2]["y"][-1]
    assert bare == pytest.approx(-20 * math.log10((1.13e-9 + 3e-9) / 1.13e-9), abs=0.1)  # 1 n, lead, 100 pF of input
    assert "cable, bare pickup" in label and "11 dB down at 30 m" in label
    assert len(parts.lengths(from_link("stage=direct"), None)[0]) == 2


def test_near_or_far_by_the_divider():
    shown = told(parts.near_or_far, "pickup_c=1n&cable_m=10")
    assert re.search(r"lose 5\.\d dB more: 10 m of cable hangs on the bare pickup", shown)
    assert "makes no difference" in told(parts.near_or_far, "")


def test_a_second_input_that_is_chosen_is_compared_with_each_alone():
    shown = told(parts.two_inputs, "stage=direct&input=amplifier,line")
    assert "instrument amplifier and line input" in shown and "protective earth" in shown
    assert shown.index("and line input") < shown.index("line input resistance too low")


def test_thump_and_its_cures():
    shown = told(parts.thump, "stage=gain&bleed_r=10M")
    assert "mute before plugging in" in shown and "smaller capacitor: 680 nF, film" in shown
    assert "smaller bleed: 33 kΩ" in shown and "1.5 dB" in shown
    found = plugging(from_link("stage=gain&bleed_r=10M"))
    assert f"jumps by {say.volts(found.step_v)} and takes" in shown
    assert "quiet already" in told(parts.thump, "out_c=470n")
    assert "passes no direct voltage" in told(parts.thump, "stage=direct")


def test_phantom_power_names_what_breaks():
    shown = told(parts.phantom_power, "")
    assert "source is driven to 17.4 V" in shown and "within its rating" in shown
    assert "43.9 V the wrong way round. An electrolytic" in shown and "transformer box" in shown
    assert "film capacitor rated 63 V bears it" in told(parts.phantom_power, "out_c=470n")
    assert "may be destroyed" in told(parts.phantom_power, "source_r=1M&supply_v=3&jfet=2N3819")
    assert "transistor's drain" in told(parts.phantom_power, "stage=gain")


def test_polarity_beside_a_second_pickup():
    shown = told(parts.which_way_up, "stage=gain")
    assert "upside down" in shown and "cancelled" in shown and "swap the two wires" in shown
    assert "right way up" in told(parts.which_way_up, "")


def touching_the_mains(words: str) -> list[str]:
    """Sentences that speak of mains or protective earth, and do not forbid."""
    sentences = re.split(r"(?<=[.!?:])\s", words)
    spoken = [one for one in sentences if re.search(r"mains|protective earth", one) and "oscilloscope" not in one]
    return [one for one in spoken if not one.lower().startswith("never")]


def test_no_advice_touches_mains_wiring_or_protective_earth():
    assert touching_the_mains("Lift the protective earth. Never open mains gear.") == ["Lift the protective earth."]
    said = " ".join(told(make, "") for make in (parts.two_inputs, parts.phantom_power, parts.thump))
    assert "protective earth" in said
    assert touching_the_mains(said) == touching_the_mains(parts.PLUGGING) == []


# -- tasks --------------------------------------------------------------------------------------------------------
def test_the_corner_task_takes_the_textbook_answer():
    page = chapter.make("")
    assert page.tasks.check("output-corner", f"{1 / (2 * math.pi * 1e-6 * 10e3):.1f} Hz")[0]
    assert not page.tasks.check("output-corner", "100 Hz")[0]
    assert not page.tasks.check("output-corner", "0.16 Hz")[0]


def test_the_place_task_is_judged_by_the_figures():
    page = chapter.make("")
    assert [page.tasks.check("output-place", str(n))[0] for n in range(3)] == [True, False, False]


def test_the_quiet_task_step_by_step():
    page = chapter.make("stage=direct")

    def said() -> tuple[bool, str]:
        return page.tasks.check("output-quiet", "")

    assert "line input" in said()[1]
    page.own.enter("input", "line")
    assert "needs a stage" in said()[1]
    page.state.put_stage_in()
    assert "jumps by" in said()[1]
    page.own.enter("out_c", "10n")
    assert "too small now" in said()[1]
    page.own.enter("out_c", "680n")
    assert said()[0]


def test_without_a_stage_one_is_offered():
    page = chapter.make("stage=direct&input=line")
    assert page.player.touch["label"] == "put a follower in" and page.stage_in.buttons == []
    assert page.state.chain == SignalChain(stage="direct", input="line")
