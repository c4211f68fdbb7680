"""Tasks with checked answers. What is right is computed from the same figures that the page shows, never written
down."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import traitlets

from piezolab.chain import SignalChain
from piezolab.fields import parse_field
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.piece import STATIC, Piece, text_in
from piezolab.quantity import QuantityError, show


@dataclass(frozen=True)
class Task:
    """Base: name (kept with the progress, so it never changes), question, a hint for who is stuck, and prose before the
    question."""

    name: str
    question: str
    hint: str
    before: str = field(default="", kw_only=True)

    kind = ""

    def about(self) -> dict[str, Any]:
        """What the browser needs to draw it; never the answer."""
        about = {"name": self.name, "question": self.question, "hint": self.hint, "kind": self.kind}
        return {**about, "before": self.before} if self.before else about

    def check(self, answer: str, chain: SignalChain) -> tuple[bool, str]:
        """Whether the answer is right, and the sentence that says so."""
        raise NotImplementedError


@dataclass(frozen=True)
class NumberTask(Task):
    """A number with a unit to be worked out.

    right: the answer in the base unit; within: relative tolerance; explain: the sentence after a right answer.
    """

    unit: str = ""
    right: Callable[[], float] = field(default=lambda: math.nan)
    within: float = 0.05
    explain: str = ""
    kind = "number"

    def check(self, answer: str, chain: SignalChain) -> tuple[bool, str]:
        try:
            value = parse_field(answer, self.unit, what="your answer")
        except QuantityError as error:
            return False, str(error)
        right = self.right()
        shown = show(right, self.unit)
        if abs(value - right) <= self.within * abs(right):
            return True, f"Right: {shown}. {self.explain}"
        if right * value < 0:
            size = "The size is right" if abs(value + right) <= self.within * abs(right) else "Not yet"
            why = "what is lost, or lies under something, is negative" if right < 0 else "it is positive"
            return False, f"{size}, but mind the sign: {why}."
        if right and value and self.unit != "dB":  # decibels have no prefixes
            ratio = value / right
            if math.isclose(ratio, 2 * math.pi, rel_tol=0.06) or math.isclose(ratio, 1 / (2 * math.pi), rel_tol=0.06):
                return False, "Not yet: you are out by a factor of 2π."
            if ratio >= 8 or ratio <= 1 / 8:
                return False, "Not yet: it is out by about ten times or more. Look at the prefixes."
        if right < 0:
            return False, f"Not yet: it is {'further below' if value > right else 'nearer to'} 0 than that."
        return False, f"Not yet: {'less' if value > right else 'more'} than that."


@dataclass(frozen=True)
class PickTask(Task):
    """One of several statements; right: which one, from 0; told: the sentence for each."""

    options: tuple[str, ...] = ()
    right: Callable[[], int] = field(default=lambda: 0)
    told: tuple[str, ...] = ()
    kind = "pick"

    def about(self) -> dict[str, Any]:
        return {**super().about(), "options": list(self.options)}

    def check(self, answer: str, chain: SignalChain) -> tuple[bool, str]:
        if answer not in {str(n) for n in range(len(self.options))}:
            return False, "Pick one of the answers first."
        picked = int(answer)
        good = picked == self.right()
        return good, ("Right. " if good else "Not so. ") + self.told[picked]


@dataclass(frozen=True)
class MakeTask(Task):
    """Something to reach with the page's own controls; judge: the chain's verdict and its sentence."""

    judge: Callable[[SignalChain], tuple[bool, str]] = field(default=lambda chain: (False, ""))
    kind = "make"

    def check(self, answer: str, chain: SignalChain) -> tuple[bool, str]:
        return self.judge(chain)


class Tasks(Piece):
    """The tasks of a page; `done` holds the names of those that were solved."""

    _esm = STATIC / "tasks.js"
    words = {"check": "_asked"}

    tasks = traitlets.List().tag(sync=True)
    #: Name -> [right, sentence], for the tasks that were tried.
    answers = traitlets.Dict().tag(sync=True)
    done = traitlets.List().tag(sync=True)
    #: Name of the lesson that the tasks belong to, "" for a chapter's own.
    lesson = traitlets.Unicode("").tag(sync=True)

    def __init__(self, state: PageState, tasks: Sequence[Task], lesson: str = "") -> None:
        super().__init__(tasks=[task.about() for task in tasks], lesson=lesson)
        self._state = state
        self._by_name = {task.name: task for task in tasks}

    def check(self, name: str, answer: str) -> tuple[bool, str]:
        """Check an answer; raises KeyError on an unknown task."""
        good, sentence = self._by_name[name].check(answer, self._state.chain)
        self.answers = {**self.answers, name: [good, sentence]}
        if good and name not in self.done:
            self.done = [*self.done, name]
        return good, sentence

    def _asked(self, content: dict[str, Any]) -> None:
        name, answer = text_in(content, "name", 80), text_in(content, "answer", 200)
        if name in self._by_name and answer is not None:
            self.check(name, answer)
