"""The second chapter's page without a browser: verdict, measuring, bag, solving backwards, tasks."""

import json
import re

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.pages.kit.form import FieldError
from piezolab.pages.kit.keepsake import MOST_TRANSISTORS, SECTIONS
from piezolab.pages.will_this_transistor_do import chapter
from piezolab.pages.will_this_transistor_do.backwards import FIELDS, wished
from piezolab.pages.will_this_transistor_do.measuring import JIG, last_digit, read
from piezolab.pages.will_this_transistor_do.sentences import IN, NOT_YET
from piezolab.studies.bias import bias
from piezolab.studies.choosing.best_resistor import best_resistor
from piezolab.studies.fading_battery import battery
from piezolab.studies.population import population

READINGS = {"r1": "330R", "v1": "0.61", "r2": "4k7", "v2": "1.05", "supply_v": "9.12"}


def words(html: str) -> str:
    return " ".join(re.sub("<[^>]+>", " ", html).split())


@pytest.fixture
def page():
    return chapter.make("")


def press(piece, word: str) -> None:
    piece._heard(piece, {"word": "press", "button": word}, [])


def submit(form, **texts: str) -> None:
    form._heard(form, {"word": "submit", "values": texts}, [])


# -- verdict and figure -----------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("link", "said"),
    [
        ("", ["A typical J113 works", "until the battery is spent", "The stage alone does not clip", "J113"]),
        ("", ["up to strokes of 1.2 V; your hardest makes 1.0 V"]),
        ("stage=gain&jfet=2N3819", ["does not work in this gain stage", "weak and squashed", "of 100 would work"]),
        ("stage=gain", ["works", "But strokes over 170 mV clip in the stage", "clips sooner, from 76 mV on (typical"]),
        ("jfet_idss=5m&jfet_vgsoff=2", ["Your J113 works"]),
        ("return=divider&jfet=2N5459", ["does not work", "Hardly any 2N5459 would work"]),
        ("return=divider&jfet_idss=8m&jfet_vgsoff=4", ["only while the battery is fresh"]),
        ("source_r=10M&pickup_r=10k&return=tap&gate_r=1k", []),
        ("supply=adapter", ["A typical J113 works in this source follower."]),
        ("discs=2px", ["works"]),
    ],
)
def test_the_verdict_says_whether_it_works(link, said):
    page = chapter.make(link)
    verdict = words(page.verdict.content)
    for part in said:
        assert part in verdict
    assert page.plot.label.startswith("Drain current against gate voltage")
    for text in (verdict, words(page.table.content), words(page.backwards.answer.content)):
        assert "nan" not in text and "inf" not in text and "∞" not in text


def test_measured_parts_are_not_compared_with_the_type():
    verdict = words(chapter.make("jfet_idss=5m&jfet_vgsoff=2").verdict.content)
    assert "would work" not in verdict
    assert "typical" in words(chapter.make("jfet_idss=5m").verdict.content)


def test_curve_line_and_point_meet(page):
    traces = {trace["name"]: trace for trace in page.plot.traces}
    point = traces["at rest"]
    rest = bias(page.state.chain)
    assert point["x"][0] == pytest.approx(float(rest.v_gs)) and point["y"][0] == pytest.approx(1e3 * float(rest.i_d))
    curve = traces["typical J113"]
    assert np.interp(point["x"][0], curve["x"], curve["y"]) == pytest.approx(point["y"][0], rel=0.05)
    line = traces["the stage"]
    at = np.interp(-point["x"][0], -np.asarray(line["x"]), line["y"])
    assert at == pytest.approx(point["y"][0], rel=1e-3)


def test_the_three_marks_lie_on_the_stages_line(page):
    marks = next(trace for trace in page.plot.traces if trace["name"] == "1st, 50th, 99th of 100")
    assert marks["y"] == pytest.approx(-np.asarray(marks["x"]) / 3.9, rel=0.01)  # mA through 3k9


def test_keeping_draws_a_second_transistor(page):
    page.bar.press("keep")
    page.own.enter("source_r", "1k")
    kept = [trace for trace in page.plot.traces if trace["name"] == "kept"]
    assert len(kept) == 2
    lines = [trace["line"] for trace in page.plot.traces if "dash" in trace.get("line", ())]
    looks = [(line["color"], line["dash"]) for line in lines]
    assert len(set(looks)) == len(looks) == 3


def test_the_table_holds_the_studies_numbers(page):
    shown = words(page.table.content)
    assert "source, to ground: what your meter shows 1.00 V 995 mV 450 mV to 2.2 V" in shown
    hours = battery(page.state.chain).life_h
    assert f"about {float(f'{hours:.2g}'):,.0f} hours".replace(",", " ") in shown.replace("\u202f", " ")
    assert "region saturation saturation" in shown


def test_without_a_stage_one_is_offered():
    page = chapter.make("stage=direct&pickup_c=2n2")
    assert "this chain has none" in words(page.verdict.content)
    assert [button["label"] for button in page.stage_in.buttons] == ["put a follower in"]
    press(page.stage_in, "stage")
    assert "works" in words(page.verdict.content) and page.backwards.found is not None


def test_sections_follow_and_say_why_they_are_empty():
    page = chapter.make("supply=adapter")
    pieces = [piece for piece in page.widget.children if hasattr(piece, "head") and hasattr(piece, "plot")]
    sections = {piece.head.title: piece for piece in pieces}
    fading = sections["While the battery fades"]
    assert "does not fade" in words(fading.head.content) and fading.plot.layout.display == "none"
    page.folded.enter("supply", "alkaline-9v")
    assert fading.head.content == "" and fading.plot.layout.display is None
    assert len(fading.plot.traces) == 3
    parts = sections["Which parts of the type would work here"].plot
    works = sum(len(trace["x"]) for trace in parts.traces[:2])
    assert works == 400


def test_where_the_battery_takes_it_out_of_saturation_is_shaded_and_named():
    layout = chapter._fading(SignalChain({"return": "divider", "jfet_idss": 8e-3, "jfet_vgsoff": 4.0}), None)[1]
    (shade,), (name,) = layout["shapes"], layout["annotations"]
    assert 7.5 < shade["x0"] < 8.3 and shade["x1"] == 6.0 and name["text"] == "not in saturation"
    assert chapter._fading(SignalChain(), None)[1]["shapes"] == []


# -- measuring --------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("text", "digit"), [("1.23", 0.01), ("612m", 1e-3), ("0.6120", 1e-4), ("9", 1.0), ("1V99", 0.01), ("12.0 V", 0.1)]
)
def test_the_last_digit_of_a_reading(text, digit):
    assert last_digit(text, "V") == pytest.approx(digit)


def test_two_readings_are_worked_out_and_used(page):
    submit(page.measuring.jig, **READINGS)
    said = page.measuring.jig.said
    assert re.search(r"I_DSS is [\d.]+ mA at 9 V \(between [\d.]+ mA and [\d.]+ mA\), V_GS\(off\) is −1\.\d\d V", said)
    assert [button["word"] for button in page.measuring.take.buttons] == ["use", "bag"]
    press(page.measuring.take, "use")
    chain = page.state.chain
    assert chain.transistor_measured and chain.jfet_vds == 9.0
    assert words(page.verdict.content).startswith("Your J113")
    # with the jig's own resistor in the stage, the stage rests where the meter stood
    rest = bias(chain.but(source_r=1 / (1 / 4700 + 1 / 10e6), gate_r=1e3, pickup_r=100e9, jfet_ig=0.0, supply_v=9.12))
    assert float(rest.v_s) == pytest.approx(1.05, abs=2e-3)
    press(page.bar, "undo")
    assert not page.state.chain.transistor_measured


@pytest.mark.parametrize(
    ("changes", "field", "said"),
    [
        ({"v1": ""}, "v1", "is empty"),
        ({"v1": "0.61 mA"}, "v1", "volts"),
        ({"v2": "0.5"}, "v2", "the larger resistor always shows the higher voltage"),
        ({"v2": "9.5"}, "v2", "not below the supply"),
        ({"r2": "330R"}, "r2", "as large as the first"),
        ({"resistor_percent": "50"}, "resistor_percent", "50 % is out of range; allowed is 0 to 20 %"),
        ({"supply_v": "90"}, "supply_v", "allowed is 1 V to 30 V"),
    ],
)
def test_readings_that_cannot_be_are_refused_at_their_field(page, changes, field, said):
    submit(page.measuring.jig, **{**READINGS, **changes})
    assert list(page.measuring.jig.wrong) == [field] and said in page.measuring.jig.wrong[field]
    assert page.measuring.jig.said == "" and page.measuring.take.buttons == []
    assert page.state.chain == SignalChain()


def test_a_result_that_is_no_small_transistor_is_said_below(page):
    submit(page.measuring.jig, **{**READINGS, "v2": "4.2"})
    assert "V_GS(off)" in page.measuring.jig.said and "check resistors" in page.measuring.jig.said
    assert page.measuring.take.buttons == []


def test_readings_too_close_to_tell_offer_nothing(page):
    submit(page.measuring.jig, **{**READINGS, "r1": "1M", "v1": "1.99", "r2": "3M3", "v2": "2.00"})
    assert "cannot tell" in page.measuring.jig.said and page.measuring.take.buttons == []


def test_readings_of_another_type_are_remarked_upon(page):
    page.own.enter("jfet", "J201")
    submit(page.measuring.jig, **READINGS)
    assert "outside what the sheet of the J201 allows" in page.measuring.jig.said


def test_digits_typed_are_the_digits_believed():
    texts = {field.name: field.value for field in JIG} | READINGS
    assert read(texts)[1].digit_v == pytest.approx(0.01)
    assert read({**texts, "v1": "0.612", "v2": "1.052"})[1].digit_v == pytest.approx(1e-3)
    assert read({**texts, "supply_v": "9"})[1].supply_digit_v == pytest.approx(1.0)
    assert read({**texts, "r2": "none"})[0].r2 == np.inf


def test_direct_entry(page):
    submit(page.measuring.entry, idss="5.2m", vgsoff="1.8")
    assert "I_DSS 5.20 mA at 9.00 V and V_GS(off) −1.80 V" in page.measuring.entry.said
    press(page.measuring.take, "use")
    assert page.state.query == "jfet_idss=5m2&jfet_vgsoff=-1.8"
    submit(page.measuring.entry, idss="5.2", vgsoff="1.8")
    assert "allowed is 10 µA to 200 mA" in page.measuring.entry.wrong["idss"]


def test_a_result_says_whether_it_is_in_the_chain(page):
    for form, texts in ((page.measuring.jig, READINGS), (page.measuring.entry, {"idss": "5m", "vgsoff": "1.8"})):
        submit(form, **texts)
        assert form.said.endswith(NOT_YET)
        assert page.measuring.takes[form].buttons and page.measuring.take is page.measuring.takes[form]
        press(page.measuring.take, "use")
        assert form.said.endswith(IN) and page.measuring.take.buttons[0]["off"]
        page.bar.press("undo")
        assert form.said.endswith(NOT_YET) and not page.measuring.take.buttons[0]["off"]
        press(page.measuring.take, "bag")
        assert "of the bag" in form.said and page.measuring.take.buttons == []
    assert len(page.measuring.bag) == 2


# -- the bag ----------------------------------------------------------------------------------------------------
def fill(page, *parts: tuple[str, str]) -> None:
    for idss, vgsoff in parts:
        submit(page.measuring.entry, idss=idss, vgsoff=vgsoff)
        press(page.measuring.take, "bag")


def test_the_bag_says_which_one_to_solder_and_with_what(page):
    page.own.enter("jfet", "2N3819")
    fill(page, ("3m", "1.6"), ("7m", "3.0"), ("14m", "7.0"))
    shown = words(page.measuring.shown.content)
    own = page.state.chain.but(jfet_idss=7e-3, jfet_vgsoff=3.0)
    best = best_resistor(own, page.backwards.wish, page.backwards.choice)
    assert best.feasible
    assert "Solder no. 2, with source resistor" in shown and "no. 3 (2N3819)" in shown and "none works" in shown
    rows = [re.findall(r'data-press="([^"]+)"', row) for row in page.measuring.shown.content.split("<tr>")[2:]]
    assert rows == [["use-1", "drop-1"], ["use-0", "drop-0"], ["drop-2"]]
    press(page.measuring.shown, "use-1")
    assert page.state.chain == own.but(best.changes)
    press(page.measuring.shown, "drop-0")
    assert [part.name for part in page.measuring.bag] == ["2", "3"]
    fill(page, ("4m", "2"))
    assert [part.name for part in page.measuring.bag] == ["2", "3", "4"]


def test_the_bag_is_kept_and_found_again(page):
    sent = []
    page.keepsake.send = lambda content, buffers=None: sent.append(content["keep"])
    fill(page, ("3m", "1.6"))
    submit(page.measuring.jig, **READINGS)
    stored = {name: text for keep in sent for name, text in keep.items()}
    other = chapter.make("")
    other.keepsake._heard(other.keepsake, {"word": "kept", "sections": stored}, [])
    assert other.measuring.bag == page.measuring.bag
    assert "Solder no. 1" in words(other.measuring.shown.content)
    assert other.measuring.jig.values["v2"] == "1.05"
    press(page.measuring.shown, "drop-0")
    assert sent[-1] == {"bag": None} and page.measuring.shown.content == ""


@pytest.mark.parametrize(
    "value",
    [
        {}, [7], [{"name": "1"}], "bag",
        [{"name": "1", "jfet": "J113", "idss": 5.0, "vds": 9.0, "vgsoff": -1.0}],
        [{"name": "1", "jfet": "<b>", "idss": 5e-3, "vds": 9.0, "vgsoff": -1.0}],
        [{"name": "x" * 21, "jfet": "J113", "idss": 5e-3, "vds": 9.0, "vgsoff": -1.0}],
        [{"name": "1", "jfet": "J113", "idss": "5m", "vds": 9.0, "vgsoff": -1.0}],
        [{"name": "1", "jfet": "J113", "idss": 5e-3, "vds": 9.0, "vgsoff": -1.0}] * (MOST_TRANSISTORS + 1),
    ],
)  # fmt: skip
def test_a_hostile_bag_is_left_out(page, value):
    with pytest.raises(ValueError):
        SECTIONS["bag"].check(value)
    page.keepsake._heard(page.keepsake, {"word": "kept", "sections": {"bag": json.dumps(value)}}, [])
    assert page.measuring.bag == ()


def test_a_name_from_a_file_is_shown_as_text(page):
    bag = [{"name": "<i>7</i>", "jfet": "J113", "idss": 5e-3, "vds": 9.0, "vgsoff": -1.0}]
    page.keepsake._heard(page.keepsake, {"word": "kept", "sections": {"bag": json.dumps(bag)}}, [])
    assert "<i>" not in page.measuring.shown.content and "&lt;i&gt;7" in page.measuring.shown.content


def test_a_full_bag_takes_no_more(page):
    row = {"name": "1", "jfet": "J113", "idss": 5e-3, "vds": 9.0, "vgsoff": -1.0}
    page.measuring.kept_in(page.keepsake)
    rows = [{**row, "name": str(k)} for k in range(MOST_TRANSISTORS)]
    page.keepsake._heard(page.keepsake, {"word": "kept", "sections": {"bag": json.dumps(rows)}}, [])
    submit(page.measuring.entry, idss="5m", vgsoff="1.8")
    assert [button.get("off", False) for button in page.measuring.take.buttons] == [False, True]
    press(page.measuring.take, "bag")
    assert len(page.measuring.bag) == MOST_TRANSISTORS


# -- solving backwards ------------------------------------------------------------------------------------------
def test_one_click_puts_the_answer_in():
    page = chapter.make("source_r=22k")
    best = best_resistor(page.state.chain, page.backwards.wish, page.backwards.choice)
    told = words(page.backwards.answer.content)
    assert "For a typical J113: source resistor" in told and "Against your source resistor 22k: a useful" in told
    press(page.backwards.apply, "use")
    assert page.state.chain.source_r == best.changes["source_r"]
    assert page.backwards.apply.buttons[0]["label"] == "it is in the chain" and page.backwards.apply.buttons[0]["off"]
    press(page.bar, "undo")
    assert page.state.chain == SignalChain(source_r=22e3)


def test_nothing_is_offered_that_brings_nothing(page):
    """The default chain works, has room, and no other resistor makes it more even."""
    assert "Keep your source resistor 3k9" in words(page.backwards.answer.content)
    assert page.backwards.apply.buttons == []
    press(page.backwards.apply, "use")
    assert page.state.chain == SignalChain()


def test_before_and_after_stand_side_by_side():
    told = words(chapter.make("stage=gain&play_v=50m").backwards.answer.content)
    assert "hard playing has more room, and clipping becomes more even" in told and told.count("→") == 3


def test_a_wanted_source_voltage_and_series(page):
    submit(page.backwards.form, goal="source", source_v="0.9", series="E96")
    assert page.backwards.choice.source_v == 0.9 and page.backwards.choice.series == "E96"
    press(page.backwards.apply, "use")
    assert float(bias(page.state.chain).v_s) == pytest.approx(0.9, rel=0.02)


def test_for_every_part_of_the_type():
    page = chapter.make("source_r=22k")
    submit(page.backwards.form, whom="type")
    assert "For the J113 at large" in words(page.backwards.answer.content)
    press(page.backwards.apply, "use")
    parts = population("J113")
    for k in (int(np.argmin(parts.vgsoff)), int(np.argmax(parts.vgsoff))):
        part = page.state.chain.but(
            jfet_idss=float(parts.idss[k]), jfet_vds=parts.vds, jfet_vgsoff=float(parts.vgsoff[k])
        )
        assert bias(part).region == "saturation"


def test_gain_is_asked_of_a_gain_stage_only(page):
    assert page.backwards.wish.gain_db == -3.0
    page.folded.enter("stage", "gain")
    assert page.backwards.wish.gain_db == 10.0
    assert set(page.backwards.found.changes) == {"source_r", "drain_r"}


def test_nothing_works_is_said_with_the_reason():
    page = chapter.make("return=divider&jfet=2N5459")
    answer = words(page.backwards.answer.content)
    assert "nothing works: of the E12 values none keeps it in saturation" in answer
    assert page.backwards.apply.buttons == []
    together = words(chapter.make("stage=gain&jfet=BF245C").backwards.answer.content)
    assert "no E12 value has all at once: a useful current and that much gain" in together


@pytest.mark.parametrize(
    ("changes", "field"),
    [({"source_v": "100"}, "source_v"), ({"gain_db": "200"}, "gain_db"), ({"source_v": "1 kohm"}, "source_v")],
)
def test_wishes_out_of_range_are_refused(changes, field):
    with pytest.raises(FieldError) as caught:
        wished({field.name: field.value for field in FIELDS} | changes)
    assert caught.value.name == field


@pytest.mark.parametrize(
    "content",
    [
        {"word": "submit"}, {"word": "submit", "values": 7}, {"word": "submit", "values": {"goal": "worse"}},
        {"word": "submit", "values": {"series": ["E12"]}}, {"word": "submit", "values": {"source_v": "9" * 500}},
        {"word": "submit", "values": {"other": "1"}}, {"word": "asked"}, [], None,
    ],
)  # fmt: skip
def test_hostile_messages_change_nothing(page, content):
    before = page.backwards.wish
    page.backwards.form._heard(page.backwards.form, content, [])
    assert page.backwards.wish == before and page.state.chain == SignalChain()


# -- tasks ------------------------------------------------------------------------------------------------------
def test_tasks_are_checked_against_the_studies(page):
    assert page.tasks.check("bias-source", "2 V") == (True, pytest.approx(page.tasks.answers["bias-source"][1]))
    assert not page.tasks.check("bias-source", "1 V")[0]
    assert page.tasks.check("bias-half", "3")[0] and not page.tasks.check("bias-half", "0")[0]


def test_the_gain_task_can_be_solved_with_the_pages_own_means(page):
    assert page.tasks.check("bias-gain", "")[1] == "Not yet: choose a 2N3819."
    page.own.enter("jfet", "2N3819")
    assert "put a gain stage in first" in page.tasks.check("bias-gain", "")[1]
    page.folded.enter("stage", "gain")
    assert "drain to source" in page.tasks.check("bias-gain", "")[1]
    press(page.backwards.apply, "use")
    assert page.tasks.check("bias-gain", "")[0]
    page.own.enter("drain_r", "1k")
    assert "gives only" in page.tasks.check("bias-gain", "")[1]


def test_regions_mark_the_one_the_chain_is_in():
    here = words(chapter.regions(SignalChain()))
    assert "saturation (this chain at rest)" in here
    assert "triode region (this chain at rest)" in words(chapter.regions(SignalChain(stage="gain", jfet="2N3819")))
    assert chapter.regions(SignalChain(stage="direct")) == ""


def test_the_curve_over_frequency_takes_the_plots_place_and_gives_it_back():
    page = chapter.make("jfet=2N3819")
    before = page.plot.shown
    page.bar.press("other")
    traces, layout, _ = page.plot.shown
    assert "pz-old" not in page.stick._dom_classes
    assert layout["xaxis"]["title"]["text"] == "frequency, Hz" and traces[1]["name"] == "98 of 100 builds"
    curve = next(trace for trace in traces if trace["name"].startswith("with "))
    level = np.interp(np.log(traces[0]["x"]), np.log(curve["x"]), curve["y"])
    assert np.mean((traces[0]["y"] <= level + 0.05) & (level <= traces[1]["y"] + 0.05)) > 0.95
    page.bar.press("other")
    assert page.plot.shown[0][0]["name"] == before[0][0]["name"]
