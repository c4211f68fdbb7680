"""A lesson on a chapter's page: one step at a time, with its chain, controls, guess and task."""

import re
from pathlib import Path

import pytest

from piezolab.lessons.figure_words import goal_words
from piezolab.lessons.lesson import STAGE_KIND, Goal, figure
from piezolab.lessons.shelf import lessons
from piezolab.pages.kit.skeleton import Page
from piezolab.pages.where_does_the_bass_go import chapter as bass
from piezolab.pages.who_makes_the_hiss_and_the_hum import chapter as noise
from piezolab.pages.will_this_transistor_do import chapter as transistor
from piezolab.sheets.handout import handout

NAME = "where-the-bass-goes"
LINK = f"lesson={NAME}"


def at(page: Page, step: str) -> None:
    """Open the screen with the task of that name."""
    page.steps.go(next(n for n, one in enumerate(page.steps.screens) if one.asks and one.step.name == step))


def shown(page: Page) -> list[str]:
    """Keys of the controls that show."""
    return [key for key, state in page.own.states().items() if state["applies"]]


def test_an_address_with_only_the_lesson_starts_with_its_chain_and_first_words() -> None:
    page = bass.make(LINK)
    assert page.state.query == "stage=direct&input=line"
    assert page.steps.head.title == "Where the bass goes"
    assert page.steps.head.said == lessons()[NAME].intro and page.tasks.current == "" and shown(page) == []
    page.state.put(page.state.chain.but(input=("pedal",)))
    page.state.start_over()
    assert page.state.query == "stage=direct&input=line"


def test_an_address_with_a_chain_carries_on_with_it() -> None:
    page = bass.make(LINK + "&stage=gain")
    assert page.state.chain.stage == "gain"
    assert page.state.page_words == LINK


def test_a_step_shows_its_own_controls_and_task_and_no_other_can_be_set() -> None:
    page = bass.make(LINK)
    assert page.folded.states() == {}
    assert page.tasks.lesson == NAME
    at(page, "cable")
    assert page.tasks.current == f"{NAME}/cable"
    assert page.state.chain.cable_m == 3 and page.state.chain.pickup_c == 1.5e-9, "it is set up as the step begins"
    assert page.own.enter("stage", "gain") and page.state.chain.stage == "direct"


def test_a_guess_comes_before_the_controls_and_is_shown_beside_the_result() -> None:
    page = bass.make(LINK)
    at(page, "cable")
    assert shown(page) == [] and page.own.enter("cable_m", "15")
    assert page.tasks.guess["guessed"] == ""
    page.tasks._guessed({"guess": "sideways"})
    assert shown(page) == []
    page.tasks._guessed({"guess": "up"})
    assert shown(page) == ["cable_m"] and page.tasks.guess["guessed"] == "up" and page.tasks.guess["went"] == ""
    assert not page.own.enter("cable_m", "15")
    page.steps._rest()
    assert page.tasks.guess == {**page.tasks.guess, "guessed": "up", "went": "down"}
    page.tasks._asked({"name": f"{NAME}/cable", "answer": "2"})
    assert page.tasks.answers[f"{NAME}/cable"][0] is False
    assert page.tasks.guess["went"] == "down", "an answer moves nothing"
    page.steps.guess("down")
    assert page.tasks.guess["guessed"] == "up", "a guess stands"
    assert page.tasks.done == [], "and is never graded"


def test_a_dot_begins_on_the_curve_and_is_compared_with_it() -> None:
    """Two equal sources side by side are one of twice the capacitance: with the same load the corner halves, and far
    below it the level doubles (6 dB), nearly so at the low D."""
    page = bass.make(LINK)
    at(page, "two-discs")
    begins = page.tasks.guess["db"]
    assert begins == figure(page.state.chain, "loading.low_note_re_open_db")
    assert page.tasks.guess["hz"] == pytest.approx(146.83, abs=0.01)  # D3, A4 = 440 Hz in equal temperament
    for word in ("up", "nan", "-60.1", "40.1", "", "inf", {}):
        page.tasks._guessed({"guess": word})
        assert page.tasks.guess["guessed"] == "" and shown(page) == []
    page.tasks._guessed({"guess": "-11.25"})
    assert page.tasks.guess["guessed"] == "-11.2" and shown(page) == ["discs"] and page.tasks.guess["went"] == ""
    assert not page.own.enter("discs", "2p")
    page.steps._rest()
    there = figure(page.state.chain, "loading.low_note_re_open_db")
    assert there == pytest.approx(begins + 6, abs=0.7)
    assert page.tasks.guess["went"] == f"it is −{abs(there):.1f} dB"
    assert page.tasks.done == []


def test_a_reading_never_stands_beside_another_step(monkeypatch: pytest.MonkeyPatch) -> None:
    page = transistor.make("lesson=will-this-transistor-do")
    at(page, "weak-part")
    assert page.steps.readings.content == "<p>The current: 99.5 µA</p>"
    monkeypatch.setattr(page.state.at_rest, "put", lambda owner, work: None)  # it takes its time
    at(page, "gain-stage")
    assert page.steps.readings.content == ""


def test_back_and_forth_is_free_and_finds_what_was_left() -> None:
    page = bass.make(LINK)
    at(page, "rescue")
    page.own.enter("stage", "gain")
    page.steps.go(page.steps.at - 1)
    assert page.state.chain.stage == "direct"
    page.steps.go(page.steps.at + 1)
    assert page.state.chain.stage == "gain"
    for nowhere in (-1, 99, page.steps.at):
        page.steps.go(nowhere)
    assert page.steps.step.name == "rescue"


def test_where_the_chain_is_not_the_steps_it_says_so_with_one_tap_to_put_it_back() -> None:
    page = bass.make(LINK)
    at(page, "rescue")
    assert page.tasks.moved == ""
    page.own.enter("stage", "follower")
    assert page.tasks.moved == "", "that is what the step is for"
    page.state.put(page.state.chain.but(cable_m=12.0))
    assert page.tasks.moved == "You have moved output cable length."
    page.tasks._put_back({})
    assert page.tasks.moved == "" and page.state.chain == page.steps.step.start


def test_progress_that_the_browser_kept_opens_the_first_step_that_is_not_solved() -> None:
    page = bass.make(LINK)
    page._given_tasks({f"{NAME}/how-much": True, "bass-corner": True})
    assert page.tasks.done == [f"{NAME}/how-much"]
    assert page.steps.step.name == "which-input"
    page._given_tasks(dict.fromkeys([f"{NAME}/which-input"], True))
    assert page.steps.step.name == "which-input", "whoever is at work already stays there"
    fresh = bass.make(LINK)
    fresh._given_tasks({"bass-corner": True})
    assert fresh.steps.at == 0


def test_solving_everything_is_said_with_the_closing_words() -> None:
    page = bass.make(LINK)
    last = len(page.steps.screens) - 1
    page.steps.go(last)
    assert page.steps.head.said.startswith("Not solved yet: 3, 4, 6,")
    answers = {"how-much": "17 dB down", "which-input": "1", "small-disc": "468 Hz", "two-discs": "1", "cable": "0",
               "least": "70 000"}  # fmt: skip
    for name, answer in answers.items():
        assert page.tasks.check(f"{NAME}/{name}", answer)[0], name
    at(page, "rescue")
    page.state.put(page.state.chain.but(stage="gain"))
    good, said = page.tasks.check(f"{NAME}/rescue", "")
    assert not good and said == "Not yet: the kind of stage is a gain stage and should be a follower."
    page.state.put(page.state.chain.but(stage=None))
    assert page.tasks.check(f"{NAME}/rescue", "")[0]
    page.state.put(page.state.chain.but(gate_r=22e3))
    assert page.tasks.check(f"{NAME}/spoil", "")[0]
    page.steps.go(last)
    assert page.steps.head.said == lessons()[NAME].closing


def test_a_wrong_answer_gives_nothing_away() -> None:
    page = bass.make(LINK)
    for task in page.tasks.tasks:
        assert set(task) <= {"name", "question", "hint", "kind", "options"}
    said = page.tasks.check(f"{NAME}/which-input", "0")[1]
    name = "the bare pickup's lowest string against its full level"
    assert said == f"Not so. “line input”: {name} is −17.0 dB. Another one has more."


def test_each_check_counts_so_that_the_same_answer_is_seen_to_be_answered_again() -> None:
    page = bass.make(LINK)
    first = (page.tasks.check(f"{NAME}/how-much", "1"), page.tasks.answers[f"{NAME}/how-much"])[1]
    second = (page.tasks.check(f"{NAME}/how-much", "1"), page.tasks.answers[f"{NAME}/how-much"])[1]
    assert first[:2] == second[:2] and second[2] == first[2] + 1


def test_a_figure_read_too_early_is_told_where_it_belongs() -> None:
    page = transistor.make("lesson=will-this-transistor-do")
    at(page, "tired-battery")
    task = "will-this-transistor-do/tired-battery"
    assert page.tasks.check(task, "4.2 V")[1] == (
        "That is the figure of what is on the screen; the question has “supply voltage” 6.00 V."
    )
    page.state.put(page.state.chain.but(supply_v=7.0))
    assert page.tasks.check(task, "4.2 V")[1] == "That is what it was before anything was changed."
    assert page.tasks.check(task, "1.24 V")[0]


def test_a_wrong_number_of_a_chain_that_was_moved_says_what_was_moved() -> None:
    page = transistor.make("lesson=will-this-transistor-do")
    at(page, "rest")
    page.state.put(page.state.chain.but(source_r=10e3))
    page.tasks.check("will-this-transistor-do/rest", "9 V")
    assert page.tasks.moved == "You have moved source resistor."


def test_on_another_chapters_page_it_points_to_its_own() -> None:
    page = noise.make(LINK)
    assert "where-does-the-bass-go?lesson=where-the-bass-goes" in page.lesson_head.content


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A lesson in a folder of a teacher's own."""
    monkeypatch.setenv("PIEZOLAB_LESSONS", str(tmp_path))
    file = tmp_path / "mine.toml"
    file.write_text(Path("data/lessons/where-the-bass-goes.toml").read_text("utf-8"), "utf-8")
    return file


def test_a_page_of_a_lesson_that_is_being_written_follows_its_file(own: Path) -> None:
    page = bass.make("lesson=mine")
    head, sent = page.steps.head, []
    head.send = lambda message, buffers=None: sent.append(message)
    assert head.watched
    head._look({})
    assert sent == []
    text = own.read_text("utf-8")
    own.write_text(text.replace("minutes = 25", "minutes = 0"), "utf-8")
    head._look({})
    assert sent == [] and "mine.toml, line 4: minutes is missing" in page.lesson_head.content
    own.write_text(text.replace("minutes = 25", "minutes = 250 # too long"), "utf-8")
    head._look({})
    assert sent == []
    own.write_text(text + "# changed\n", "utf-8")
    head._look({})
    assert sent == [{"word": "reload"}]
    assert not bass.make(LINK).steps.head.watched, "what is shipped does not change"


def test_what_is_wrong_with_a_lesson_that_is_opened_is_told_by_line(own: Path) -> None:
    own.write_text(own.read_text("utf-8").replace("minutes = 25", "minutes = <b>"), "utf-8")
    page = bass.make("lesson=mine")
    assert page.lesson is None and page.steps is None
    assert "mine.toml, line 4" in page.lesson_head.content and "<b>" not in page.lesson_head.content


def test_an_unknown_lesson_is_said_and_the_chapter_opens() -> None:
    page = bass.make("lesson=<script>&stage=gain")
    assert "not known" in page.problems.content and "<script>" not in page.problems.content
    assert page.lesson is None and page.state.chain.stage == "gain"


def test_goals_are_said_in_words_with_units() -> None:
    assert goal_words(Goal("hum.relative_db", "at most", -55), -27.2) == (
        "hum against hard playing is −27.2 dB and should be at most −55.0 dB"
    )
    assert goal_words(Goal("bias.region", "is", "saturation"), "triode") == (
        "where the transistor works is triode and should be saturation"
    )
    assert goal_words(Goal(STAGE_KIND, "is", "follower"), "none") == (
        "the kind of stage is no stage and should be a follower"
    )
    assert goal_words(Goal("chain.supply", "is", "adapter"), "alkaline-9v") == (
        "“supply” is 9 V alkaline and should be a mains adapter"
    )
    assert goal_words(Goal("chain.input", "is", "line"), "amplifier,pedal") == (
        "“input” is instrument amplifier and effect pedal and should be line input"
    )


def test_the_handout_prints_every_task_and_the_way_in() -> None:
    for lesson in lessons().values():
        page = handout(lesson, "http://room.example:8350/")
        assert f"http://room.example:8350/{lesson.chapter}?lesson={lesson.name}" in page
        assert "<svg" in page
        for step in lesson.tasks:
            assert step.question.replace("'", "&#x27;") in page
        assert "<svg" not in handout(lesson)
        # The tasks have the numbers that they have on the page and on the wall.
        assert re.findall(r"<ol start='(\d+)'>", page) == [str(n + 1) for n in range(len(lesson.tasks))]
