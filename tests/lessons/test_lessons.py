"""Lessons: shipped ones hold, answers come from the figures, faulty ones are reported by line with the fix."""

import math
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

import piezolab.lessons
from piezolab.chain import SignalChain
from piezolab.chain.link import from_link
from piezolab.chapters import find_chapters
from piezolab.cli import main
from piezolab.lessons.file_fields import HEAD, STEP, guide_table
from piezolab.lessons.lesson import Goal, figure, met, right_number, right_option, stage_kind, unit_of
from piezolab.lessons.reader import LessonError
from piezolab.lessons.screens import pieces, screens
from piezolab.lessons.shelf import known_lessons, lesson_named, lessons, notes, read_lesson
from piezolab.lessons.template import TEMPLATE, new_lesson
from piezolab.location import notebooks_dir
from piezolab.studies.loading import loading

GOOD = """title = "One"
chapter = "where-does-the-bass-go"
minutes = 20
chain = "stage=direct"
controls = ["stage", "input", "cable_m"]
intro = "Words."

[[step]]
name = "a"
kind = "number"
question = "How much?"
hint = "Look."
chain = "stage=direct&input=line"
figure = "loading.corner_hz"

[[step]]
name = "b"
kind = "pick"
question = "Which?"
hint = "Try."
figure = "loading.plateau_db"
compare = "largest"
options = [["long", "stage=direct&cable_m=20"], ["short", "stage=direct&cable_m=1"]]

[[step]]
name = "c"
kind = "make"
question = "Make it so."
hint = "Think."
goal = [["loading.corner_hz", "at least", "500 Hz"]]
"""


def test_three_lessons_are_shipped_and_hold() -> None:
    found = lessons()
    assert set(found) == {"where-the-bass-goes", "will-this-transistor-do", "find-the-hum"}
    assert notes() == [], "each step fits on a phone"
    slugs = {chapter.slug for chapter in find_chapters(notebooks_dir())}
    for lesson in found.values():
        assert 20 <= lesson.minutes <= 30
        assert lesson.chapter in slugs
        assert len(lesson.tasks) >= 4
        assert sum(bool(step.guess) for step in lesson.tasks) >= 2
        for step in lesson.tasks:
            if step.kind == "make":
                assert not all(met(goal, step.start)[0] for goal in step.goals), "it has to be worked for"


#: What somebody sets to solve the steps that have something to reach.
SOLUTIONS = {
    "rescue": {"stage": "follower"},
    "spoil": {"gate_r": 22e3},
    "mend": {"source_r": 4.7e3},
    "your-part": {"source_r": 15e3},
    "bypass": {"divider_c": 1e-6},
    "quiet": {"shield_db": 30.0, "loop_v": 0.0},
}


def test_make_steps_can_be_solved_with_the_controls_that_show() -> None:
    tried = set()
    for lesson in lessons().values():
        for step in lesson.tasks:
            if step.kind == "make":
                tried.add(step.name)
                assert set(SOLUTIONS[step.name]) <= set(step.controls)
                solved = step.start.but(**SOLUTIONS[step.name])
                assert [goal for goal in step.goals if not met(goal, solved)[0]] == []
    assert tried == set(SOLUTIONS)


def test_every_guess_of_a_shipped_lesson_can_be_compared() -> None:
    for lesson in lessons().values():
        for step in lesson.tasks:
            assert not step.guess or isinstance(figure(step.start, step.guess_figure), float)


def test_the_texts_say_what_the_figures_say() -> None:
    found = {f"{lesson.name}/{step.name}": step for lesson in lessons().values() for step in lesson.steps}
    weak = found["will-this-transistor-do/tired-battery"]
    assert "On 9 V it had 4.2 V, and the follower 8 V" in weak.explain
    assert figure(weak.start, "bias.v_ds_v") == pytest.approx(4.2, abs=0.05)
    assert figure(SignalChain(), "bias.v_ds_v") == pytest.approx(8.0, abs=0.05)
    amplifier, line = (figure(SignalChain(input=(word,)), "chain.input_r") for word in ("amplifier", "line"))
    assert "a hundred times" in found["where-the-bass-goes/which-input"].explain
    assert amplifier == pytest.approx(100 * line, rel=0.2)
    lost = figure(from_link("stage=direct&input=line"), "loading.low_note_re_plateau_db")
    assert 10 ** (-lost / 20) == pytest.approx(7, abs=0.3), "a seventh is left"
    disc = from_link("stage=direct&pickup_c=5n&input_r=68k&input_c=0&lead_m=0&cable_m=0&pickup_r=100G")
    asked = right_number(found["where-the-bass-goes/small-disc"])
    assert asked == figure(disc, "loading.corner_hz") == pytest.approx(1 / (2 * math.pi * 68e3 * 5e-9), rel=0.01)


def test_answers_are_the_figures_of_the_studies() -> None:
    lesson = read_lesson(GOOD, "one.toml")
    number, pick, make = lesson.steps
    assert right_number(number) == loading(from_link("stage=direct&input=line")).corner_hz
    assert number.unit == "Hz"
    assert right_option(pick) == 1
    assert make.goals == (Goal("loading.corner_hz", "at least", 500.0),)
    assert met(make.goals[0], from_link("stage=direct&input=line"))[0]
    assert not met(make.goals[0], SignalChain())[0]


def test_units_come_from_the_figures_key() -> None:
    assert unit_of("loading.min_input_ohm_3db") == "ohm"
    assert unit_of("bias.i_d_a") == "A"
    assert unit_of("hum.relative_db") == "dB"
    assert unit_of("bias.region") == ""


def test_a_figure_that_is_not_there_is_none_and_an_unknown_one_an_error() -> None:
    assert figure(SignalChain(stage="direct"), "bias.v_s_v") is None
    assert math.isfinite(figure(SignalChain(), "bias.v_s_v"))
    for path in ("loading.nothing", "loading", "nonsense", "response.gain_db"):
        with pytest.raises(KeyError):
            figure(SignalChain(), path)


FAULTS = [
    ('title = "One"', "", 1, "title is missing"),
    ("minutes = 20", "minutes = 0", 3, "whole number from 1 to 240"),
    ('chain = "stage=direct"', 'chain = "gate_r=3m3"', 4, "did you mean 3M3"),
    ('controls = ["stage", "input", "cable_m"]', 'controls = ["stage", "volume"]', 5, "'volume' is no control"),
    ('controls = ["stage", "input", "cable_m"]', 'controls = ["cabel_m"]', 5, "did you mean 'cable_m'"),
    ('controls = ["stage", "input", "cable_m"]', 'controls = ["stage"]', 13, "no control that shows sets input"),
    ('controls = ["stage", "input", "cable_m"]', 'controls = ["input"]', 23, "add cable_m to controls"),
    ('chapter = "where-does-the-bass-go"', 'chapter = "where-does-the-bas-go"', 2, "did you mean 'where-does"),
    ('chapter = "where-does-the-bass-go"', 'chapter = "Where does the bass go?"', 2, "did you mean 'where-does"),
    ('controls = ["stage", "input", "cable_m"]', 'controls = ["transistor type"]', 5, "mean 'jfet', “transis"),
    ('["short", "stage=direct&cable_m=1"]', '["short", "stage=direct&cable_m=19.999"]', 23, "equally right: both are "),
    ('kind = "number"\n', "", 8, "kind is missing"),
    ('kind = "number"', 'kind = "guess"', 10, "allowed are read, number, pick, make"),
    ('figure = "loading.corner_hz"', 'figure = "loading.corner"', 14, "is no figure"),
    ('figure = "loading.corner_hz"', 'figure = "bias.region"', 14, "is no number"),
    ('compare = "largest"', 'compare = "best"', 22, "largest and smallest"),
    ('["short", "stage=direct&cable_m=1"]', '["short", "stage=direct&cable_m=20"]', 23, "equally right"),
    ('"at least", "500 Hz"', '"above", 500', 30, "is no goal"),
    ('"at least", "500 Hz"', '"at least", 1', 30, "meets the goal already"),
    ('"at least", "500 Hz"', '"at least", "5 V"', 30, "write a number"),
    ('"at least", "500 Hz"', '"is", 500', 30, "take at least or at most"),
    ('"loading.corner_hz", "at least", "500 Hz"', '"bias.region", "is", "saturated"', 30, "did you mean 'saturation'"),
    ('"loading.corner_hz", "at least", "500 Hz"', '"chain.jfet", "is", "2N3819"', 30, "add 'jfet' to controls"),
    ('"loading.corner_hz", "at least", "500 Hz"', '"chain.input", "is", "lines"', 30, "'lines' is not known"),
    ('name = "c"', 'name = "a"', 26, "is taken"),
    ('intro = "Words."', 'intro = "Words."\nmusic = "loud"', 7, "'music' is unknown"),
    ('name = "c"', 'name = "c"\ncontrols = ["stage", "input", "cable_m"]', 27, "the step has 3 controls"),
    ('name = "c"', 'name = "c"\ncontrols = "stage"', 27, "controls is no list"),
    ('name = "c"', 'name = "c"\ncontrols = ["stag"]', 27, "did you mean 'stage'"),
    ('name = "c"', 'name = "c"\nstart = "gate_r=3m3"', 27, "did you mean 3M3"),
    ('name = "c"', 'name = "c"\nshows = ["a", "b", "c"]', 27, "no list of figures"),
    ('name = "c"', 'name = "c"\nshows = ["loading.corner"]', 27, "'loading.corner' is no figure"),
    ('name = "c"', 'name = "c"\nguess = "More?"', 25, "guess_figure is missing"),
    ('name = "c"', 'name = "c"\nguess = "More?"\nguess_figure = "bias.region"', 28, "is no number"),
    ('name = "b"', 'name = "b"\nguess = "More?"\ncontrols = []', 18, "wants something to move"),
    ('name = "b"', 'name = "b"\nguess = "More?"\nguess_by = "line"', 19, "allowed are chips and dot"),
    ('name = "b"', 'name = "b"\nguess = "More?"\nguess_by = "dot"', 19, "no line of the plot shows"),
    ('"at least", "500 Hz"', '"at least", "500 Hz"], ["stage.kind", "is", "gian"', 30, "did you mean 'gain'"),
    ('"at least", "500 Hz"', '"at least", "500 Hz"], ["stage.kin", "is", "gain"', 30, "did you mean 'stage.kind'"),
]


@pytest.mark.parametrize(("old", "new", "line", "words"), FAULTS)
def test_a_faulty_lesson_is_reported_by_line_with_the_fix(old: str, new: str, line: int, words: str) -> None:
    assert old in GOOD
    with pytest.raises(LessonError) as caught:
        read_lesson(GOOD.replace(old, new), "one.toml")
    about = [fault for fault in caught.value.faults if words in fault]
    assert about, caught.value.faults
    assert f"one.toml, line {line}:" in about[0]
    assert "; " in about[0], "the fix comes after the fault"


SLIPS = [
    ('title = "One"', 'title = "One', 1, 'put the missing " at the end'),
    ('title = "One"', "title = “One”", 1, "instead of curly ones"),
    ('"Words."', '"Some "words"."', 6, "inside the words"),
    ("minutes = 20", "minutes 20", 3, "put = between"),
    ("minutes = 20", "minutes = 20 min", 3, "without its unit"),
    ("minutes = 20", "minutes = 2,5", 3, "with a point"),
    ('name = "b"', 'name = "b"\nname = "d"', 18, "'name' is there twice"),
    ("[[step]]", "[step]", 16, "two brackets"),
    ('["long", "stage=direct&cable_m=20"], [', '["long", "stage=direct&cable_m=20"] [', 23, "a comma between"),
]


@pytest.mark.parametrize(("old", "new", "line", "words"), SLIPS)
def test_a_slip_in_the_writing_is_reported_by_line_with_the_fix(old: str, new: str, line: int, words: str) -> None:
    assert old in GOOD
    with pytest.raises(LessonError) as caught:
        read_lesson(GOOD.replace(old, new, 1), "one.toml")
    [fault] = caught.value.faults
    assert fault.startswith(f"one.toml, line {line}: ") and words in fault, fault


def test_what_is_worked_out_on_paper_needs_no_controls() -> None:
    text = GOOD.replace("input=line", "input_r=68k")
    with pytest.raises(LessonError, match="by_hand = true"):
        read_lesson(text, "one.toml")
    assert read_lesson(text.replace('kind = "number"', 'kind = "number"\nby_hand = true'), "one.toml")


def test_words_after_the_last_task_belong_into_the_closing() -> None:
    with pytest.raises(LessonError, match="closing"):
        read_lesson(GOOD + '[[step]]\nname = "d"\nkind = "read"\ntext = "Bye."\n', "one.toml")


@given(st.text(max_size=200))
def test_no_text_makes_the_reader_fail_in_another_way(text: str) -> None:
    try:
        read_lesson(text, "any.toml")
    except LessonError as error:
        assert error.faults


def test_names_from_an_address_cannot_reach_other_files(tmp_path, monkeypatch) -> None:
    (tmp_path / "mine.toml").write_text(GOOD, encoding="utf-8")
    (tmp_path.parent / "secret.toml").write_text(GOOD, encoding="utf-8")
    monkeypatch.setenv("PIEZOLAB_LESSONS", str(tmp_path))
    assert lesson_named("mine").title == "One"
    for name in ("../secret", "mine.toml", "/etc/passwd", "", "a" * 100, "MINE", "x\n"):
        assert lesson_named(name) is None
    assert "One" in {lesson.title for lesson in known_lessons()}


def test_a_teachers_faulty_folder_lists_every_fault(tmp_path) -> None:
    (tmp_path / "a.toml").write_text(GOOD.replace("minutes = 20", "minutes = -1"), encoding="utf-8")
    (tmp_path / "b.toml").write_text(GOOD.replace('kind = "pick"', 'kind = "x"'), encoding="utf-8")
    with pytest.raises(LessonError) as caught:
        lessons(tmp_path)
    assert {fault.split(",")[0] for fault in caught.value.faults} == {"a.toml", "b.toml"}


def test_a_step_inherits_the_lessons_chain_and_its_answer_the_steps_start() -> None:
    text = GOOD.replace('chain = "stage=direct"', 'chain = "stage=direct&pickup_c=5n"')
    number, pick, make = read_lesson(text.replace("stage=direct&input=line", "input=line"), "one.toml").steps
    assert number.start == make.start == from_link("stage=direct&pickup_c=5n")
    assert number.chain == from_link("stage=direct&pickup_c=5n&input=line")
    assert {option.chain.pickup_c for option in pick.options} == {5e-9}
    own = text.replace('name = "a"', 'name = "a"\nstart = "pickup_c=7n"\ncontrols = ["input"]')
    assert read_lesson(own, "one.toml").steps[0].chain.pickup_c == 7e-9
    whole = text.replace("stage=direct&input=line", "?stage=direct&input=line")
    with pytest.raises(LessonError, match="no control that shows sets pickup_c"):
        read_lesson(whole, "one.toml")
    back = read_lesson(text.replace("stage=direct&input=line", "stage=follower"), "one.toml").steps[0]
    assert back.chain.stage == "follower", "a default that is written down counts"


def test_the_kind_of_a_stage_goes_by_what_it_does() -> None:
    kinds = {"direct": "none", "follower": "follower", "gain": "gain"}
    assert {word: stage_kind(SignalChain(stage=word)) for word in kinds} == kinds


def test_what_does_not_fit_on_a_phone_is_noted_and_still_read(tmp_path) -> None:
    long = GOOD.replace('name = "c"', 'name = "c"\ntext = "' + "Word after word. " * 20 + '"')
    (tmp_path / "long.toml").write_text(long, encoding="utf-8")
    lesson = lessons(tmp_path)["long"]
    assert any("line 27: the text has 60 words" in note for note in notes(tmp_path))
    assert any("shows the lesson's 3 controls" in note for note in notes(tmp_path))
    shown = screens(lesson)
    assert [screen.asks for screen in shown] == [False, True, True, False, True, False]
    assert shown[3].step is shown[4].step and not shown[4].words


@given(st.lists(st.text("ab ", min_size=1, max_size=30).filter(str.strip), min_size=1, max_size=12), st.integers(1, 40))
def test_a_text_is_cut_between_sentences_and_nothing_is_lost(parts: list[str], most: int) -> None:
    text = " ".join(f"A {' '.join(part.split())}." for part in parts)
    cut = pieces(text, most)
    assert " ".join(cut) == text
    assert all(len(piece.split()) <= most or piece.count(".") == 1 for piece in cut)


def test_a_name_that_no_page_opens_is_refused_as_a_file_too(tmp_path) -> None:
    for name in ("My lesson", "mine_2", "a--b", "a" * 61):
        assert lesson_named(name) is None
        (tmp_path / f"{name}.toml").write_text(GOOD, encoding="utf-8")
        with pytest.raises(LessonError, match="no page can open a lesson of that name; allowed are small letters"):
            lessons(tmp_path)
        lessons.cache_clear()
        (tmp_path / f"{name}.toml").unlink()
        with pytest.raises(LessonError, match="no page can open"):
            new_lesson(name, tmp_path)


def test_a_new_lesson_is_twenty_lines_that_hold(tmp_path) -> None:
    path = new_lesson("my-lesson", tmp_path)
    assert path.read_text("utf-8") == TEMPLATE and len(TEMPLATE.splitlines()) == 20
    lesson = lessons(tmp_path)["my-lesson"]
    assert right_option(lesson.steps[0]) == 1 and notes(tmp_path) == []
    with pytest.raises(LessonError, match="it is there already"):
        new_lesson("my-lesson", tmp_path)
    with pytest.raises(LessonError, match="cannot be written"):
        new_lesson("my-lesson", tmp_path / "nowhere")


def test_the_guide_has_the_template_and_every_field() -> None:
    guide = (Path(piezolab.lessons.__file__).parent / "how-to-write-a-lesson.md").read_text("utf-8")
    assert f"```toml\n{TEMPLATE}```" in guide
    assert guide_table(HEAD) in guide and guide_table(STEP) in guide


def test_every_example_of_the_guide_can_be_read() -> None:
    written = {one.name: one.example for one in STEP}
    for kind, left_out in (("number", "compare options goal"), ("pick", "chain within goal"), ("make", "figure chain")):
        given = {**written, "kind": f'"{kind}"', "start": '"pickup_c=5n"'}
        lines = [f"{key} = {value}" for key, value in given.items() if key not in left_out.split()]
        head = [f"{one.name} = {one.example}" for one in HEAD if one.name != "step"]
        text = "\n".join([*head, "[[step]]", *lines])
        assert read_lesson(text, "guide.toml").steps[0].kind == kind


def test_a_teacher_begins_from_the_command_and_is_told_what_is_wrong(tmp_path, monkeypatch) -> None:
    monkeypatch.setenv("PIEZOLAB_LESSONS", str(tmp_path))
    run = CliRunner().invoke
    assert run(main, ["lessons", "new", "my-lesson"]).output.strip().endswith("my-lesson.toml")
    assert run(main, ["lessons", str(tmp_path)]).output == "my-lesson: My lesson, 10 minutes, 1 task\n"
    refused = {("new", "my-lesson"): "it is there already", ("new", "My lesson"): "no page can open",
               ("nowhere",): "'nowhere' is no folder", (str(tmp_path), "more"): "a folder, or: new NAME"}  # fmt: skip
    for words, said in refused.items():
        found = run(main, ["lessons", *words])
        assert found.exit_code == 2 and said in found.output
    (tmp_path / "my-lesson.toml").write_text(TEMPLATE.replace("figure =", "figures ="), encoding="utf-8")
    lessons.cache_clear()
    assert "line 18: 'figures' is unknown (did you mean 'figure'?)" in run(main, ["lessons", str(tmp_path)]).output
