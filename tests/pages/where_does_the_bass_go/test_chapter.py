"""The first chapter's page without a browser: what it shows and what moves with a control."""

import re
from html.parser import HTMLParser

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.chain.link import DEFAULT_QUERY, from_link
from piezolab.pages.kit import two_curves
from piezolab.pages.where_does_the_bass_go import chapter
from piezolab.pages.where_does_the_bass_go.swing_figure import pressed
from piezolab.studies.loading import loading
from piezolab.studies.response import response

LINK = "pickup_c=1n5&input=pedal-vintage"


@pytest.fixture
def page():
    return chapter.make(LINK)


def text(html: str) -> str:
    """What is read on the screen."""
    words = []
    parser = HTMLParser()
    parser.handle_data = words.append
    parser.feed(html)
    return " ".join(words).replace("\u00a0", " ")


def curves(page) -> dict[str, np.ndarray]:
    return {trace["name"]: trace["y"] for trace in page.plot.traces if trace.get("showlegend", True)}


def test_two_curves_are_always_drawn(page):
    assert list(curves(page)) == ["bare pickup", "with source follower"]
    assert len(curves(chapter.make("stage=direct"))) == 2


def test_the_bare_curve_is_the_closed_form(page):
    """The drawn curve against H = jwRC_p/(1 + jwR(C_p + C)), written out here again, with the loss tangent at 0."""
    page = chapter.make("pickup_c=1n5&pickup_loss=0&input=pedal-vintage")
    trace = page.plot.traces[0]
    w = 2 * np.pi * trace["x"]
    c_p, c, r = 1.5e-9, 0.3 * 100e-12 + 3 * 100e-12 + 100e-12, 1 / (1 / 1e9 + 1 / 80e3)
    h = 1j * w * r * c_p / (1 + 1j * w * r * (c_p + c))
    assert np.allclose(trace["y"], 20 * np.log10(np.abs(h)), atol=1e-6)


def test_a_control_moves_curve_verdict_label_and_query(page):
    before, said, label = curves(page)["bare pickup"], page.verdict.content, page.plot.label
    assert page.own.enter("pickup_c", "4n7") == ""
    assert not np.array_equal(curves(page)["bare pickup"], before)
    assert page.verdict.content != said and page.plot.label != label
    assert page.address.query == "pickup_c=4n7&input=pedal-vintage"
    assert page.share.text == page.address.query


def test_while_dragging_only_verdict_and_plot_follow(page):
    table, text_before, revision = page.table.content, page.share.text, page.plot.revision
    page.own._heard(page.own, {"word": "enter", "key": "gate_r", "text": "100k", "live": True, "number": 1}, [])
    assert page.plot.revision == revision + 1
    assert page.table.content == table and page.share.text == text_before
    page.own._heard(page.own, {"word": "enter", "key": "gate_r", "text": "100k", "live": False, "number": 2}, [])
    assert page.table.content != table and "gate_r=100k" in page.share.text


def test_a_refused_entry_changes_nothing_on_the_page(page):
    before = (page.plot.revision, page.verdict.content, page.address.query)
    page.own._heard(page.own, {"word": "enter", "key": "gate_r", "text": "1e99", "live": True, "number": 1}, [])
    assert (page.plot.revision, page.verdict.content, page.address.query) == before


def test_strings_are_marked_on_both_curves(page):
    marks = [trace for trace in page.plot.traces if trace["mode"] == "markers"]
    assert len(marks) == 2 and all(len(trace["x"]) == 3 for trace in marks)
    line = page.plot.traces[0]
    for x, y in zip(marks[0]["x"], marks[0]["y"], strict=True):
        assert y == line["y"][list(line["x"]).index(x)]


def test_the_table_has_units_and_both_columns(page):
    shown = text(page.table.content)
    numbers = ("1.03 kHz", "−2.2 dB", "−17.0 dB", "1.10 MΩ", "563 kΩ", "4.70 MΩ beside", "D3 (146.8 Hz)")
    for words in ("full level", *numbers):
        assert words in shown
    assert "plateau" not in shown
    assert "typical J113, not yours" in shown


def test_the_table_where_nothing_arrives_and_where_no_input_helps():
    shown = text(chapter.make("discs=2px&stage=direct&pickup_r=10k&pickup_c=1n").table.content)
    assert "nothing arrives" in shown and "leakage forbids it" in shown
    assert "nan" not in shown and "inf" not in shown


def test_keep_compare_drop(page):
    page.bar.press("keep")
    page.own.enter("pickup_c", "15n")
    assert list(curves(page))[-1] == "kept"
    sent = []
    page.keepsake.send = lambda content, buffers=None: sent.append(content)
    page.bar.press("drop")
    assert "kept" not in curves(page) and sent == [{"keep": {"curve": None}}]


def test_curves_differ_in_line_and_colour(page):
    page.bar.press("keep")
    looks = [(t["line"]["color"], t["line"]["dash"]) for t in page.plot.traces if t.get("showlegend", True)]
    assert len({colour for colour, _ in looks}) == len({dash for _, dash in looks}) == 3


def test_undo_redo_and_start_over_from_the_bar(page):
    page.own.enter("pickup_c", "4n7")
    page.bar.press("undo")
    assert page.state.chain == from_link(LINK)
    page.bar.press("undo")  # it is off now
    page.bar.press("redo")
    assert page.state.chain.pickup_c == 4.7e-9
    page.bar.press("over")
    assert page.state.chain == SignalChain() and page.share.text == DEFAULT_QUERY


def test_a_chain_without_a_stage_is_offered_one():
    page = chapter.make("stage=direct&pickup_c=680p")
    assert page.player.touch == {"label": "put a follower in", "back": False} and page.stage_in.buttons == []
    page.player._heard(page.player, {"word": "touch"}, [])
    assert page.state.query == "pickup_c=680p"
    assert chapter.make("stage=direct").player.touch == {}, "nothing is lost there"


def test_mistakes_of_the_link_are_listed_as_text():
    page = chapter.make("pickup_c=1n5&%3Cscript%3E=1&gate_r=3m3")
    assert "<script>" not in page.problems.content
    assert "did you mean 3M3?" in text(page.problems.content) and "<script>" in text(page.problems.content)


def test_the_circuit_is_drawn_and_follows(page):
    assert "<svg" in page.schematic.content and "4M7" in page.schematic.content
    page.own.enter("gate_r", "10M")
    assert "10M" in page.schematic.content


def test_a_chain_that_cannot_be_worked_out_says_so_and_recovers(page, monkeypatch):
    from piezolab.circuit.errors import OperatingPointError

    def fails(chain):
        raise OperatingPointError("Q1: no operating point was found")

    monkeypatch.setattr(two_curves, "found", fails)
    page.own.enter("gate_r", "10M")
    assert "Q1: no operating point" in text(page.problems.content)
    monkeypatch.undo()
    page.bar.press("undo")
    assert page.problems.content == ""


def test_the_chapters_range_of_levels_stands_still(page):
    view = chapter.view(from_link(LINK), None, False)
    low, high = view.layout["yaxis"]["range"]
    assert low % 10 == 0 and high % 10 == 0 and high - low <= 70
    near = chapter.view(from_link(LINK.replace("1n5", "1n6")), None, False)
    assert near.layout["yaxis"]["range"] == [low, high] or near.layout["yaxis"]["range"] == (low, high)


# -- tasks -------------------------------------------------------------------------------------------------------
def test_the_corner_task_against_the_formula(page):
    hz = 1 / (2 * np.pi * 100e3 * 10e-9)
    assert page.tasks.check("bass-corner", f"{hz:.0f} Hz")[0]
    assert page.tasks.done == ["bass-corner"]
    wrong = page.tasks.check("bass-corner", f"{2 * np.pi * hz:.0f}")
    assert not wrong[0] and "2π" in wrong[1]
    assert not page.tasks.check("bass-corner", "159 kHz")[0]
    assert "cannot be read" in page.tasks.check("bass-corner", "many")[1]
    assert not page.tasks.check("bass-corner", "-159")[0]


def test_the_cable_task_is_judged_by_the_figures(page):
    short, long = loading(from_link("pickup_c=1n5")), loading(from_link("pickup_c=1n5&cable_m=6"))
    assert long.full_level < short.full_level and long.corner_hz < short.corner_hz
    assert page.tasks.check("bass-cable", "0")[0]
    for other in ("1", "2", "3", "4", "-1", "", "0x0"):
        assert not page.tasks.check("bass-cable", other)[0]


def test_the_rescue_task_looks_at_the_chain_on_the_bench(page):
    assert page.tasks.check("bass-rescue", "")[0]
    page.state.put(SignalChain())
    assert not page.tasks.check("bass-rescue", "")[0]
    page.state.put(from_link(LINK + "&stage=direct"))
    assert "put a stage in" in page.tasks.check("bass-rescue", "")[1]
    page.state.put(from_link(LINK + "&gate_r=47k"))
    assert "larger gate resistor" in page.tasks.check("bass-rescue", "")[1]


def test_answers_never_travel_to_the_browser(page):
    assert all(set(task) <= {"name", "question", "hint", "kind", "options"} for task in page.tasks.tasks)


@pytest.mark.parametrize(
    "content",
    [{"word": "check"}, {"word": "check", "name": "nothing", "answer": "1"}, {"word": "check", "name": ["x"]},
     {"word": "check", "name": "bass-corner", "answer": 159},
     {"word": "check", "name": "bass-cable", "answer": "0" * 999}],
)  # fmt: skip
def test_hostile_answers_are_dropped(page, content):
    page.tasks._heard(page.tasks, content, [])
    assert page.tasks.answers == {} and page.tasks.done == []


def test_the_maths_names_its_source():
    assert "Source:" in chapter.MATHS and re.search(r"\$\$.*frac", chapter.MATHS)


def test_a_stage_that_keeps_less_than_a_decibel_is_not_a_rescue():
    """Bare it loses enough; the follower's gate resistor alone then takes three decibels."""
    page = chapter.make("pickup_c=1n&input=line&gate_r=1M")
    left = -float(response(page.state.chain).low_note_re_midband_db)
    assert 1 < left < 10
    good, words = page.tasks.check("bass-rescue", "")
    assert not good and f"it still loses {left:.1f} dB" in words


def test_hold_it_pressed_marks_37_percent_at_r_times_c():
    """15 nF beside 2 x 300 pF of lead and cable and 200 pF, drained by 10 kOhm: written out here again."""
    traces, _, _, label = pressed(from_link("input=line"), None)
    values = from_link("input=line").values
    c = 15e-9 + values.lead_m * values.lead_c + values.cable_m * values.cable_c + values.input_c
    curve, mark = traces
    assert mark["x"][0] == pytest.approx(c / (1 / 10e3 + 1 / values.pickup_r)) and 0.1e-3 < mark["x"][0] < 0.2e-3
    at = np.interp(np.log(mark["x"][0]), np.log(curve["x"]), curve["y"])
    assert mark["y"][0] == pytest.approx(at, rel=1e-3) and "R × C = 10 kΩ × 16 nF = 160 µs" in label
    assert pressed(from_link("discs=2px"), None)[0] == []


def test_hold_it_pressed_is_folded_until_it_is_asked_for():
    parts = [part for part in chapter.make("").widget.children if hasattr(part, "head")]
    fold = next(part for part in parts if "Hold" in part.head.title)
    assert fold.head.folded and not fold.head.opened and fold.plot.traces == []
    fold.head._heard(fold.head, {"word": "fold", "open": True}, [])
    assert len(fold.plot.traces) == 2 and "37 %" in fold.plot.label
