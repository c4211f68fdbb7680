"""A lesson on a chapter's page: its own controls and tasks in place of the chapter's, its prose above and between."""

from __future__ import annotations

from html import escape
from typing import Any

from piezolab.chain import SignalChain
from piezolab.chain.parameter import ParameterError
from piezolab.chain.parameters import all_parameters
from piezolab.lessons.lesson import Goal, Lesson, LessonStep, figure, met, right_number, right_option, unit_of
from piezolab.lessons.shelf import lesson_named
from piezolab.pages.kit.blocks import paragraphs
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.tasks import MakeTask, NumberTask, PickTask, Task
from piezolab.quantity import show

#: Figures that goals use often, in words; another one is shown under its own name.
FIGURES = {
    "hum.relative_db": "hum against hard playing",
    "noise.snr_db_a": "playing over hiss",
    "loading.low_note_re_plateau_db": "the bare pickup's lowest string against its full level",
    "loading.low_note_re_open_db": "the bare pickup's lowest string",
    "response.low_note_re_midband_db": "the lowest string against the middle",
    "response.midband_gain_db": "the level in the middle",
    "levels.input_headroom_db": "room before clipping",
    "bias.v_s_v": "the source voltage",
    "bias.i_d_a": "the current",
    "bias.region": "where the transistor works",
    "bias.gate": "the gate",
    "battery.life_h": "battery life",
}


def opened_lesson(state: PageState) -> Lesson | None:
    """The lesson in the page's address, if there is one; an address without a chain starts with the lesson's."""
    lesson = lesson_named(state.lesson_name) if state.lesson_name else None
    if state.lesson_name and lesson is None:
        said = f"lesson: {state.lesson_name[:40]!r} is not known here; this is the chapter itself."
        state.problems = (*state.problems, said)
    if lesson is not None:
        state.home = lesson.chain
        if state.bare and not state.can_undo:
            state.chain = lesson.chain
    return lesson


def lesson_html(lesson: Lesson, slug: str, state: PageState) -> str:
    """Title and first words; on another chapter's page the way to the right one."""
    said = f"<h2>Lesson: {escape(lesson.title)}</h2><p class='pz-hint'>about {lesson.minutes} minutes</p>"
    said += paragraphs(lesson.intro)
    if lesson.chapter != slug:
        where = f"{escape(lesson.chapter)}?lesson={escape(lesson.name)}"
        said += f"<p>This lesson is held on another page: <a href='{where}'>go there</a>.</p>"
    return said


def tasks(lesson: Lesson) -> list[Task]:
    """The lesson's steps as tasks; what is only read stands before the next one."""
    made: list[Task] = []
    prose: list[str] = []
    for step in lesson.steps:
        if step.text:
            prose.append(step.text)
        if step.kind != "read":
            made.append(_task(lesson, step, " ".join(prose)))
            prose = []
    return made


def _task(lesson: Lesson, step: LessonStep, before: str) -> Task:
    name = f"{lesson.name}/{step.name}"
    if step.kind == "number":
        return NumberTask(
            name, step.question, step.hint, before=before, unit=step.unit, right=lambda: right_number(step),
            within=step.within, explain=step.explain,
        )  # fmt: skip
    if step.kind == "pick":
        return PickTask(
            name, step.question, step.hint, before=before, options=tuple(option.text for option in step.options),
            right=lambda: right_option(step), told=tuple(told(step, n) for n in range(len(step.options))),
        )  # fmt: skip
    return MakeTask(name, step.question, step.hint, before=before, judge=lambda chain: judged(step, chain))


def told(step: LessonStep, picked: int) -> str:
    """What is said after a pick: the figures behind it are shown only for the right one."""
    return step.explain if picked == right_option_or_none(step) else "Try each with the controls and compare."


def right_option_or_none(step: LessonStep) -> int | None:
    """The right option; None where it cannot be worked out."""
    try:
        return right_option(step)
    except (KeyError, ValueError):
        return None


def judged(step: LessonStep, chain: SignalChain) -> tuple[bool, str]:
    """Whether the chain meets every goal, and the sentence: the first one it misses, with its figure."""
    for goal in step.goals:
        good, value = met(goal, chain)
        if not good:
            return False, f"Not yet: {goal_words(goal, value)}."
    return True, f"Right. {step.explain}".strip()


def goal_words(goal: Goal, value: Any) -> str:
    """What a goal asks for and what there is, a control by its own name and words."""
    setting = all_parameters().get(goal.figure.removeprefix("chain.")) if goal.figure.startswith("chain.") else None
    name = f"“{setting.label}”" if setting else FIGURES.get(goal.figure, goal.figure)

    def shown(which: Any) -> str:
        if setting is None:
            return _shown(goal.figure, which)
        try:
            return setting.show(setting.read(which) if isinstance(which, str) else which)
        except ParameterError:
            return str(which)

    want = f"should be {shown(goal.value)}" if goal.compare == "is" else f"should be {goal.compare} {shown(goal.value)}"
    return f"{name} is {shown(value)} and {want}"


def _shown(path: str, value: Any) -> str:
    if value is None:
        return "not there"
    if isinstance(value, bool) or not isinstance(value, int | float):
        return str(value)
    return show(float(value), unit_of(path))


__all__ = ["figure", "goal_words", "judged", "lesson_html", "opened_lesson", "tasks"]
