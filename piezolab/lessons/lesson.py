"""What a lesson is made of, and its answers, which are figures of a chain worked out when they are asked for."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from piezolab.chain import SignalChain

#: Units of the figures' last words, for answers that people type.
UNITS = {"hz": "Hz", "db": "dB", "ohm": "ohm", "v": "V", "a": "A", "s": "S", "f": "F", "h": "h", "dbu": "dB"}

#: A figure of lessons alone, a word: what kind of stage is in, whichever it is by name.
STAGE_KIND = "stage.kind"
KINDS_OF_STAGE = {"none": "no stage", "follower": "a follower", "gain": "a gain stage"}


@dataclass(frozen=True)
class Goal:
    """A figure of the visitor's own chain, how it must compare, and with what (a number, or a word)."""

    figure: str
    compare: str
    value: float | str


@dataclass(frozen=True)
class Option:
    """One answer to pick: its words, and the chain whose figure decides."""

    text: str
    chain: SignalChain


@dataclass(frozen=True)
class LessonStep:
    """One step.

    kind: `read` (prose only), `number` (type the figure of `chain`, within a relative tolerance), `pick` (the option
    whose figure is the `largest` or `smallest`, in compare), `make` (bring the own chain to all goals).
    start: what is on the screen when the step begins; controls: keys of those that show; shows: figures to be read off
    beside the verdict; guess: a question about `guess_figure` before the controls can be moved, answered by
    chips (up, same, down) or by a dot on the lowest string's line, guess_by.
    """

    name: str
    kind: str
    text: str = ""
    question: str = ""
    hint: str = ""
    explain: str = ""
    chain: SignalChain | None = None
    figure: str = ""
    unit: str = ""
    within: float = 0.05
    compare: str = ""
    options: tuple[Option, ...] = ()
    goals: tuple[Goal, ...] = ()
    start: SignalChain = field(default_factory=SignalChain)
    controls: tuple[str, ...] = ()
    shows: tuple[str, ...] = ()
    guess: str = ""
    guess_figure: str = ""
    guess_by: str = "chips"


@dataclass(frozen=True)
class Lesson:
    """A lesson as read: name (of its file), title, chapter it is held in, minutes, starting chain, shown controls."""

    name: str
    title: str
    chapter: str
    minutes: int
    chain: SignalChain
    controls: tuple[str, ...]
    intro: str
    closing: str
    steps: tuple[LessonStep, ...]

    @property
    def tasks(self) -> tuple[LessonStep, ...]:
        """The steps that have something to solve."""
        return tuple(step for step in self.steps if step.kind != "read")

    @property
    def every_control(self) -> tuple[str, ...]:
        """Keys of all controls that show in any step, each once."""
        return tuple(dict.fromkeys([*self.controls, *(key for step in self.steps for key in step.controls)]))


# -- answers ------------------------------------------------------------------------------------------------------
@lru_cache(maxsize=64)
def _figures(chain: SignalChain) -> Mapping[str, Any]:
    from piezolab.studies.figures import figures

    return figures(chain)


def figure(chain: SignalChain, path: str) -> Any:
    """The figure of a chain under a dotted path such as `loading.corner_hz`; None where it does not exist for it.

    Raises KeyError on a path that no figure has.
    """
    if path == STAGE_KIND:
        return stage_kind(chain)
    value: Any = _figures(chain)
    for word in path.split("."):
        if value is None:
            return None
        if not isinstance(value, Mapping) or word not in value:
            raise KeyError(path)
        value = value[word]
    if isinstance(value, list) and value and all(isinstance(word, str) for word in value):
        return ",".join(value)  # such as the kinds of input
    if isinstance(value, Mapping | list):
        raise KeyError(path)
    return value


def stage_kind(chain: SignalChain) -> str:
    """The kind of stage: one that turns the signal over makes gain, another one that is powered follows."""
    topology = chain.topology
    return "none" if not topology.powered else "gain" if topology.inverts else "follower"


def right_number(step: LessonStep) -> float:
    """The answer to a number step."""
    return float(figure(step.chain, step.figure))


def right_option(step: LessonStep) -> int:
    """Index of the right option of a pick step."""
    values = [figure(option.chain, step.figure) for option in step.options]
    known = [n for n, value in enumerate(values) if value is not None]
    best = max if step.compare == "largest" else min
    return best(known, key=lambda n: values[n])


def met(goal: Goal, chain: SignalChain) -> tuple[bool, Any]:
    """Whether a chain meets a goal, and what its figure is."""
    value = figure(chain, goal.figure)
    if value is None:
        return False, None
    if goal.compare == "is":
        both = isinstance(value, int | float) and isinstance(goal.value, int | float)
        return (math.isclose(value, goal.value, rel_tol=1e-9) if both else value == goal.value), value
    return (value >= goal.value if goal.compare == "at least" else value <= goal.value), value


def unit_of(path: str) -> str:
    """The unit in which a figure is typed and shown, from the words of its key; "" where it has none."""
    return next((UNITS[word] for word in reversed(path.rsplit(".", 1)[-1].split("_")) if word in UNITS), "")
