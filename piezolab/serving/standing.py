"""Where a room's visitors stand in their lessons, and which wrong answers several of them gave: all of it their own
claims, counted without names."""

import math
from collections import Counter, OrderedDict
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from ..quantity import show
from .solved import Solved, SolvedError

if TYPE_CHECKING:
    from ..lessons.lesson import Lesson, LessonStep
    from ..lessons.screens import Screen

#: So many have to have given a wrong answer before it is told: a single one's is nobody's business.
SHARED_BY = 3
#: Visitors that are remembered; of each one number for each task of the lesson that they were in last.
MOST_VISITORS = 5000
#: Characters of a screen's words that are told.
SHOWN = 70


@dataclass
class _Record:
    lesson: str
    at: int = 0
    wrong: dict[str, float] = field(default_factory=dict)


class Standing:
    """The record of it. It is a visitor's latest word that counts: one screen, and one wrong answer for each task.

    Parameters
    ----------
    solved : Solved
        Knows the lessons, and what stands for a visitor.
    """

    def __init__(self, solved: Solved) -> None:
        self._solved = solved
        self._of: OrderedDict[bytes, _Record] = OrderedDict()

    def note(self, who: str, lesson: object, at: object, wrong: object) -> None:
        """Take a visitor's word. at: the screen, from 0; wrong: task -> the option picked, from 0, or the number typed
        in the base unit. Raises SolvedError, and takes nothing, where one of them is not the lesson's."""
        found = self._solved.lesson(lesson)
        count = len(_screens(found))
        if isinstance(at, bool) or not isinstance(at, int) or not 0 <= at < count:
            raise SolvedError(f"at: allowed is a screen of the lesson {found.name!r}, 0 to {count - 1}")
        steps = {step.name: step for step in found.tasks}
        if not isinstance(wrong, dict) or not set(wrong) <= set(steps):
            raise SolvedError(f"wrong: allowed are tasks of the lesson {found.name!r}, each with an answer")
        told = {name: _answer(steps[name], value) for name, value in wrong.items()}
        mark = self._solved.mark(who)
        record = self._of.get(mark)
        if record is None or record.lesson != found.name:
            record = self._of[mark] = _Record(found.name)
        self._of.move_to_end(mark)
        if len(self._of) > MOST_VISITORS:
            self._of.popitem(last=False)
        record.at = at
        record.wrong.update(told)

    def place(self, who: str) -> str:
        """Where one visitor is, in words: "Where the bass goes, 3 of 9"; "" for who is in no lesson."""
        record = self._of.get(self._solved.mark(who))
        if record is None:
            return ""
        lesson = self._solved.lesson(record.lesson)
        return f"{lesson.title}, {record.at + 1} of {len(_screens(lesson))}"

    def lessons(self, present: Iterable[str]) -> list[dict[str, Any]]:
        """Each lesson that somebody is or was in: how many of those present are on which screen, and the wrong answers
        that several gave, present or not."""
        here = [self._of[mark] for who in present if (mark := self._solved.mark(who)) in self._of]
        names = dict.fromkeys(record.lesson for record in (*here, *self._of.values()))
        found = (self._lesson(self._solved.lesson(name), here) for name in sorted(names))
        return [one for one in found if one["screens"] or one["wrong"]]

    def _lesson(self, lesson: "Lesson", here: list[_Record]) -> dict[str, Any]:
        screens = _screens(lesson)
        at = Counter(record.at for record in here if record.lesson == lesson.name)
        places = [{"place": n + 1, "words": _words(screens[n]), "here": many} for n, many in sorted(at.items())]
        wrong = [told for step in lesson.tasks if (told := self._common(lesson.name, step))["answers"]]
        return {"title": lesson.title, "of": len(screens), "screens": places, "wrong": wrong}

    def _common(self, lesson: str, step: "LessonStep") -> dict[str, Any]:
        records = (record for record in self._of.values() if record.lesson == lesson)
        count = Counter(record.wrong[step.name] for record in records if step.name in record.wrong)
        answers = [
            {"answer": _answer_words(step, value), "gave": many}
            for value, many in count.most_common()
            if many >= SHARED_BY
        ]
        return {"question": step.question, "answers": answers}


def _screens(lesson: "Lesson") -> "tuple[Screen, ...]":
    # Here, not above: a server without a room does without the numerical libraries.
    from ..lessons.screens import screens

    return screens(lesson)


def _words(screen: "Screen") -> str:
    said = screen.step.question if screen.asks else screen.words
    return said if len(said) <= SHOWN else said[: SHOWN - 1].rstrip() + "…"


def _answer(step: "LessonStep", value: object) -> float:
    """A wrong answer as it is kept: an option's index, or a number of two significant digits. Raises SolvedError."""
    if isinstance(value, bool) or not isinstance(value, int | float) or step.kind not in ("pick", "number"):
        raise SolvedError(f"wrong: the answer to {step.name!r} is none that can be picked or typed")
    if step.kind == "pick":
        if value not in range(len(step.options)):
            raise SolvedError(f"wrong: {step.name!r} has the answers 0 to {len(step.options) - 1}")
        return int(value)
    number = float(value)
    if not math.isfinite(number):
        raise SolvedError(f"wrong: the answer to {step.name!r} is no number")
    return float(f"{number:.2g}")


def _answer_words(step: "LessonStep", value: float) -> str:
    return step.options[int(value)].text if step.kind == "pick" else show(value, step.unit)
