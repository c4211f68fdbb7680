"""The lesson that a page was opened with: found, followed while it is written, and its steps as tasks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from html import escape
from pathlib import Path

from piezolab.chain import SignalChain
from piezolab.lessons.figure_words import figure_words, goal_words, moved, name_of
from piezolab.lessons.lesson import Lesson, LessonStep, figure, met, right_number, right_option
from piezolab.lessons.reader import LessonError
from piezolab.lessons.shelf import opened, read_lesson
from piezolab.pages.kit.blocks import bullets, paragraphs
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.tasks import MakeTask, NumberTask, PickTask, Task

MOST_FAULTS = 6  # said on the page; `piezolab lessons` says all


@dataclass(frozen=True)
class OpenedLesson:
    """The lesson in a page's address: None where there is none; its file, where a teacher may be at work on it; as HTML
    what is wrong with that file, "" for nothing."""

    lesson: Lesson | None = None
    written: Path | None = None
    told: str = ""


def opened_lesson(state: PageState) -> OpenedLesson:
    """The lesson in the page's address; an address without a chain starts with the lesson's."""
    if not state.lesson_name:
        return OpenedLesson()
    try:
        lesson, written = opened(state.lesson_name)
    except LessonError as error:
        return OpenedLesson(told=_faults_html(error))
    if lesson is None:
        said = f"lesson: {state.lesson_name[:40]!r} is not known here; this is the chapter itself."
        state.problems = (*state.problems, said)
        return OpenedLesson()
    state.home = lesson.chain
    if state.bare and not state.can_undo:
        state.chain = lesson.chain
    return OpenedLesson(lesson, written)


def _faults_html(error: LessonError) -> str:
    return "<h2>The lesson cannot be read:</h2>" + bullets(error.faults[:MOST_FAULTS])


def lesson_html(lesson: Lesson, slug: str) -> str:
    """On another chapter's page the way to the right one."""
    if lesson.chapter == slug:
        return ""
    where = f"{escape(lesson.chapter)}?lesson={escape(lesson.name)}"
    return f"<p>This lesson is held on another page: <a href='{where}'>go there</a>.</p>"


def watch(path: Path, told: Callable[[str], None]) -> Callable[[], bool]:
    """Whether a lesson's file has changed since it was last asked, and can be read; told: gets as HTML what is wrong
    with it, "" for nothing."""
    seen = [_stamp(path)]

    def changed() -> bool:
        now = _stamp(path)
        if now == seen[0]:
            return False
        seen[0] = now
        try:
            read_lesson(path.read_text(encoding="utf-8"), path.name)
        except LessonError as error:
            told(_faults_html(error))
        except (OSError, UnicodeDecodeError):
            told(paragraphs(f"{path.name}: it cannot be read just now."))
        else:
            return True
        return False

    return changed


def _stamp(path: Path) -> tuple[int, int]:
    try:
        about = path.stat()
    except OSError:
        return 0, 0
    return about.st_mtime_ns, about.st_size


def tasks(lesson: Lesson) -> list[Task]:
    """The lesson's steps as tasks."""
    return [_task(lesson, step) for step in lesson.tasks]


def _task(lesson: Lesson, step: LessonStep) -> Task:
    name = f"{lesson.name}/{step.name}"
    if step.kind == "number":
        return NumberTask(
            name, step.question, step.hint, unit=step.unit, right=lambda: right_number(step), within=step.within,
            explain=step.explain, elsewhere=lambda chain: _elsewhere(step, chain),
        )  # fmt: skip
    if step.kind == "pick":
        return PickTask(
            name, step.question, step.hint, options=tuple(option.text for option in step.options),
            right=lambda: right_option(step), told=lambda picked: told(step, picked),
        )  # fmt: skip
    return MakeTask(name, step.question, step.hint, judge=lambda chain: judged(step, chain))


def _elsewhere(step: LessonStep, chain: SignalChain) -> list[tuple[Callable[[], float | None], str]]:
    """Figures that somebody reads off before everything is set: what is on the screen, and what was there at first."""
    found = []
    if keys := moved(chain, step.chain):
        paths = [f"chain.{key}" for key in keys]
        wants = " and ".join(f"{name_of(path)} {figure_words(path, figure(step.chain, path))}" for path in paths)
        said = f"That is the figure of what is on the screen; the question has {wants}."
        found.append((lambda: figure(chain, step.figure), said))
    if step.start not in (step.chain, chain):
        found.append((lambda: figure(step.start, step.figure), "That is what it was before anything was changed."))
    return found


def told(step: LessonStep, picked: int) -> str:
    """What is said after a pick: the figure of the option that was picked, and of no other."""
    option = step.options[picked]
    value = figure_words(step.figure, figure(option.chain, step.figure))
    there = f"“{option.text}”: {name_of(step.figure)} is {value}."
    if picked == right_option(step):
        return f"{there} {step.explain}".strip()
    return f"{there} Another one has {'more' if step.compare == 'largest' else 'less'}."


def judged(step: LessonStep, chain: SignalChain) -> tuple[bool, str]:
    """Whether the chain meets every goal, and the sentence: the first one it misses, with its figure."""
    for goal in step.goals:
        good, value = met(goal, chain)
        if not good:
            return False, f"Not yet: {goal_words(goal, value)}."
    return True, f"Right. {step.explain}".strip()
