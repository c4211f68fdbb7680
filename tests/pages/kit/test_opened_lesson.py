"""A lesson on a chapter's page: its chain, controls, prose and tasks."""

import re

from piezolab.lessons.lesson import Goal
from piezolab.lessons.shelf import lessons
from piezolab.pages.kit.opened_lesson import goal_words
from piezolab.pages.where_does_the_bass_go import chapter as bass
from piezolab.pages.who_makes_the_hiss_and_the_hum import chapter as noise
from piezolab.sheets.handout import handout

LINK = "lesson=where-the-bass-goes"


def test_an_address_with_only_the_lesson_starts_with_its_chain() -> None:
    page = bass.make(LINK)
    assert page.state.query == "stage=direct&input=line"
    assert "Where the bass goes" in page.lesson_head.content
    page.state.put(page.state.chain.but(input=("pedal",)))
    page.state.start_over()
    assert page.state.query == "stage=direct&input=line"


def test_an_address_with_a_chain_carries_on_with_it() -> None:
    page = bass.make(LINK + "&stage=gain")
    assert page.state.chain.stage == "gain"
    assert page.state.page_words == LINK


def test_only_the_lessons_controls_and_tasks_show() -> None:
    lesson = lessons()["where-the-bass-goes"]
    page = bass.make(LINK)
    assert set(page.own.states()) == set(lesson.controls)
    assert page.folded.states() == {}
    assert [task["name"] for task in page.tasks.tasks] == [f"{lesson.name}/{step.name}" for step in lesson.tasks]
    assert page.tasks.lesson == lesson.name
    assert lesson.steps[0].text in page.tasks.tasks[0]["before"]


def test_solving_everything_shows_the_closing_words() -> None:
    page = bass.make(LINK)
    answers = {"how-much": "-17.27", "which-input": "1", "small-disc": "468 Hz", "two-discs": "1", "cable": "0",
               "least": "70.4k"}  # fmt: skip
    for name, answer in answers.items():
        assert page.tasks.check(f"where-the-bass-goes/{name}", answer)[0], name
    assert not page.tasks.check("where-the-bass-goes/rescue", "")[0]
    assert not page.closing.content
    page.state.put(page.state.chain.but(stage=None))
    assert page.tasks.check("where-the-bass-goes/rescue", "")[0]
    page.state.put(page.state.chain.but(gate_r=22e3))
    assert page.tasks.check("where-the-bass-goes/spoil", "")[0]
    assert "Next: will the transistor" in page.closing.content


def test_a_wrong_answer_gives_nothing_away() -> None:
    page = bass.make(LINK)
    for task in page.tasks.tasks:
        assert set(task) <= {"name", "question", "hint", "kind", "options", "before"}
    assert "amplifier" not in page.tasks.check("where-the-bass-goes/which-input", "0")[1]


def test_a_loss_typed_without_its_sign_is_told_so() -> None:
    page = bass.make(LINK)
    typed = ("17.3", "5", "-1", "-40")
    said = {answer: page.tasks.check("where-the-bass-goes/how-much", answer)[1] for answer in typed}
    assert said["17.3"].startswith("The size is right, but mind the sign")
    assert said["5"].startswith("Not yet, but mind the sign")
    assert said["-1"] == "Not yet: it is further below 0 than that."
    assert said["-40"] == "Not yet: it is nearer to 0 than that."


def test_on_another_chapters_page_it_points_to_its_own() -> None:
    page = noise.make(LINK)
    assert "where-does-the-bass-go?lesson=where-the-bass-goes" in page.lesson_head.content


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
