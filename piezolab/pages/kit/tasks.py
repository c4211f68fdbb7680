"""Tasks with checked answers. What is right is computed from the same figures that the page shows, never written
down."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import traitlets

from piezolab.chain import SignalChain
from piezolab.lessons.typed_answers import Asked, judged, read_answer
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.piece import Piece, script, text_in
from piezolab.quantity import QuantityError


@dataclass(frozen=True)
class Task:
    """Base: name (kept with the progress, so it never changes), question, and a hint for who is stuck."""

    name: str
    question: str
    hint: str

    kind = ""

    def about(self) -> dict[str, Any]:
        """What the browser needs to draw it; never the answer."""
        return {"name": self.name, "question": self.question, "hint": self.hint, "kind": self.kind}

    def check(self, answer: str, chain: SignalChain) -> tuple[bool, str]:
        """Whether the answer is right, and the sentence that says so."""
        raise NotImplementedError

    def given(self, answer: str) -> float | None:
        """An answer as a number that can be counted; None where it is none."""
        return None


@dataclass(frozen=True)
class NumberTask(Task):
    """A number with a unit to be worked out.

    right: the answer in the base unit; within: relative tolerance; explain: the sentence after a right answer;
    elsewhere: figures that somebody may have read instead, as `Asked` takes them.
    """

    unit: str = ""
    right: Callable[[], float] = field(default=lambda: math.nan)
    within: float = 0.05
    explain: str = ""
    elsewhere: Callable[[SignalChain], Sequence[tuple[Callable[[], float | None], str]]] = field(
        default=lambda chain: ()
    )
    kind = "number"

    def check(self, answer: str, chain: SignalChain) -> tuple[bool, str]:
        # of what is asked for here, only frequencies have a 2π in their formula
        asked = Asked(self.right(), self.unit, self.within, self.unit == "Hz", self.elsewhere(chain))
        good, sentence = judged(answer, asked)
        return good, f"{sentence} {self.explain}".strip() if good else sentence

    def given(self, answer: str) -> float | None:
        """The number that was typed, in the base unit, with two significant digits."""
        try:
            return float(f"{read_answer(answer, self.unit):.2g}")
        except QuantityError:
            return None


@dataclass(frozen=True)
class PickTask(Task):
    """One of several statements; right: which one, from 0; told: the sentence for each, or what makes it."""

    options: tuple[str, ...] = ()
    right: Callable[[], int] = field(default=lambda: 0)
    told: tuple[str, ...] | Callable[[int], str] = ()
    kind = "pick"

    def about(self) -> dict[str, Any]:
        return {**super().about(), "options": list(self.options)}

    def check(self, answer: str, chain: SignalChain) -> tuple[bool, str]:
        if answer not in {str(n) for n in range(len(self.options))}:
            return False, "Pick one of the answers first."
        picked = int(answer)
        good = picked == self.right()
        told = self.told(picked) if callable(self.told) else self.told[picked]
        return good, ("Right. " if good else "Not so. ") + told

    def given(self, answer: str) -> float | None:
        """Which option was picked, from 0."""
        return int(answer) if answer in {str(n) for n in range(len(self.options))} else None


@dataclass(frozen=True)
class MakeTask(Task):
    """Something to reach with the page's own controls; judge: the chain's verdict and its sentence."""

    judge: Callable[[SignalChain], tuple[bool, str]] = field(default=lambda chain: (False, ""))
    kind = "make"

    def check(self, answer: str, chain: SignalChain) -> tuple[bool, str]:
        return self.judge(chain)


class Tasks(Piece):
    """The tasks of a page; `done` holds the names of those that were solved."""

    _esm = script("tasks.js")
    words = {"check": "_asked"}

    tasks = traitlets.List().tag(sync=True)
    #: Name -> [right, sentence, how many answers had been checked], for the tasks that were tried.
    answers = traitlets.Dict().tag(sync=True)
    done = traitlets.List().tag(sync=True)
    #: Name of the lesson that the tasks belong to, "" for a chapter's own.
    lesson = traitlets.Unicode("").tag(sync=True)

    def __init__(self, state: PageState, tasks: Sequence[Task], lesson: str = "") -> None:
        super().__init__(tasks=[task.about() for task in tasks], lesson=lesson)
        self._state, self._checked = state, 0
        self._by_name = {task.name: task for task in tasks}

    def check(self, name: str, answer: str) -> tuple[bool, str]:
        """Check an answer; raises KeyError on an unknown task."""
        good, sentence = self._by_name[name].check(answer, self._state.chain)
        self._checked += 1
        self.answers = {**self.answers, name: [good, sentence, self._checked]}
        if good and name not in self.done:
            self.done = [*self.done, name]
        return good, sentence

    def _asked(self, content: dict[str, Any]) -> None:
        name, answer = text_in(content, "name", 80), text_in(content, "answer", 200)
        if name in self._by_name and answer is not None:
            self.check(name, answer)
