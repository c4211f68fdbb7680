"""Lessons: small text files with a starting chain, the controls that show, prose and tasks checked from the figures.

A lesson is a TOML file in data/lessons/ or anywhere else. What is wrong with one is reported by line, with the fix.
Answers are never written down: each is a figure (a dotted path into `figures`) of some chain, worked out on demand.
"""

from __future__ import annotations

import math
import os
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from piezolab.chain import SignalChain
from piezolab.chain.link import read_link
from piezolab.chain.parameters import all_parameters
from piezolab.location import data_dir
from piezolab.quantity import QuantityError, parse

COMPARE = ("at least", "at most", "is")
MOST_FILE = 64_000  # characters
MOST_STEPS = 20
MOST_TEXT = 3000
_NAME = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
_HEAD = {"title", "chapter", "minutes", "chain", "controls", "intro", "closing", "step"}
_STEP = {"name", "kind", "text", "question", "hint", "explain", "chain", "figure", "unit", "within", "options", "goal",
         "compare", "value"}  # fmt: skip
_KINDS = ("read", "number", "pick", "make")
#: Units of the figures' last words, for answers that people type.
UNITS = {"hz": "Hz", "db": "dB", "ohm": "ohm", "v": "V", "a": "A", "s": "S", "f": "F", "h": "h", "dbu": "dB"}


class LessonError(ValueError):
    """What is wrong with a lesson; `faults` has one sentence for each fault, with file, line and fix."""

    def __init__(self, faults: list[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(faults))


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
class Step:
    """One step.

    kind: `read` (prose only), `number` (type the figure of `chain`, within a relative tolerance), `pick` (the option
    whose figure is the `largest` or `smallest`, in compare), `make` (bring the own chain to all goals).
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
    steps: tuple[Step, ...]

    @property
    def tasks(self) -> tuple[Step, ...]:
        """The steps that have something to solve."""
        return tuple(step for step in self.steps if step.kind != "read")


# -- answers ------------------------------------------------------------------------------------------------------
@lru_cache(maxsize=64)
def _figures(chain: SignalChain) -> Mapping[str, Any]:
    from piezolab.studies.figures import figures

    return figures(chain)


def figure(chain: SignalChain, path: str) -> Any:
    """The figure of a chain under a dotted path such as `loading.corner_hz`; None where it does not exist for it.

    Raises KeyError on a path that no figure has.
    """
    value: Any = _figures(chain)
    for word in path.split("."):
        if value is None:
            return None
        if not isinstance(value, Mapping) or word not in value:
            raise KeyError(path)
        value = value[word]
    if isinstance(value, Mapping | list):
        raise KeyError(path)
    return value


def right_number(step: Step) -> float:
    """The answer to a number step."""
    return float(figure(step.chain, step.figure))


def right_option(step: Step) -> int:
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


# -- reading ------------------------------------------------------------------------------------------------------
def unit_of(path: str) -> str:
    """The unit in which a figure is typed and shown, from the words of its key; "" where it has none."""
    return next((UNITS[word] for word in reversed(path.rsplit(".", 1)[-1].split("_")) if word in UNITS), "")


def folders() -> tuple[Path, ...]:
    """Where lessons are looked for: a teacher's own folder (PIEZOLAB_LESSONS), then the shipped one."""
    own = os.environ.get("PIEZOLAB_LESSONS", "")
    return (*([Path(own)] if own else []), data_dir() / "lessons")


def lesson_named(name: str) -> Lesson | None:
    """The lesson of that name, read without working out its figures again; None where there is none or it is faulty."""
    if not _NAME.fullmatch(name) or len(name) > 60:
        return None
    for folder in folders():
        path = folder / f"{name}.toml"
        if path.is_file():
            try:
                return read_lesson(path.read_text(encoding="utf-8"), path.name, figures_too=False)
            except (LessonError, OSError, UnicodeDecodeError):
                return None
    return None


def known_lessons() -> tuple[Lesson, ...]:
    """Every lesson that can be held here, by title; faulty ones are left out (see `lessons` for what is wrong)."""
    names = {path.stem for folder in folders() if folder.is_dir() for path in folder.glob("*.toml")}
    found = (lesson_named(name) for name in names)
    return tuple(sorted((lesson for lesson in found if lesson is not None), key=lambda lesson: lesson.title))


@cache
def lessons(folder: Path | None = None) -> Mapping[str, Lesson]:
    """All lessons of a folder (default: the shipped ones) by name. Raises LessonError with all faults of all files."""
    folder = data_dir() / "lessons" if folder is None else folder
    found, faults = {}, []
    for path in sorted(folder.glob("*.toml")):
        try:
            found[path.stem] = read_lesson(path.read_text(encoding="utf-8"), path.name)
        except LessonError as error:
            faults += error.faults
        except (OSError, UnicodeDecodeError) as error:
            faults.append(f"{path.name}: cannot be read: {error}")
    if faults:
        raise LessonError(faults)
    return MappingProxyType(found)


def read_lesson(text: str, file: str, *, figures_too: bool = True) -> Lesson:
    """A lesson from its text; `file` names it; figures_too: work out every figure that it names, to see that it exists.

    Raises LessonError with all faults, each by line and with its fix.
    """
    if len(text) > MOST_FILE:
        raise LessonError([f"{file}: it has {len(text)} characters; allowed are up to {MOST_FILE}."])
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise LessonError([f'{file}: {error}; mend the line so that it reads like: title = "..."']) from None
    reader = _Reader(text, file, figures_too)
    lesson = reader.lesson(table)
    if reader.faults:
        raise LessonError(reader.faults)
    return lesson


class _Reader:
    """Checks one lesson and collects what is wrong, by line."""

    def __init__(self, text: str, file: str, figures_too: bool = True) -> None:
        self.lines, self.file, self.faults, self.figures_too = text.splitlines(), file, [], figures_too

    def fault(self, where: int, what: str, fix: str) -> None:
        self.faults.append(f"{self.file}, line {where}: {what}; {fix}.")

    def line(self, key: str, step: int | None = None) -> int:
        """Line of a key, in the head or in the n-th step (from 0); of the step's own line where the key is missing."""
        starts = [n for n, line in enumerate(self.lines) if line.strip() == "[[step]]"]
        first, last = (0, starts[0] if starts else len(self.lines))
        if step is not None and step < len(starts):
            first, last = starts[step], starts[step + 1] if step + 1 < len(starts) else len(self.lines)
        for n in range(first, last):
            if re.match(rf"\s*{re.escape(key)}\s*=", self.lines[n]):
                return n + 1
        return first + 1

    def text(self, table: Mapping[str, Any], key: str, step: int | None = None, *, needed: bool = True) -> str:
        value = table.get(key)
        if value is None and not needed:
            return ""
        if not isinstance(value, str) or (needed and not value.strip()):
            self.fault(self.line(key, step), f"{key} is missing or no text", f'write {key} = "some words"')
            return ""
        if len(value) > MOST_TEXT:
            self.fault(self.line(key, step), f"{key} has {len(value)} characters", f"allowed are up to {MOST_TEXT}")
            return ""
        return value.strip()

    def chain(
        self, table: Mapping[str, Any], key: str, step: int | None = None, *, text: str | None = None
    ) -> SignalChain:
        words = table.get(key, "") if text is None else text
        if not isinstance(words, str):
            self.fault(self.line(key, step), f"{key} is no text", f'write {key} = "stage=direct&input=line"')
            return SignalChain()
        chain, problems = read_link(words)
        for problem in problems:
            self.fault(self.line(key, step), problem.sentence.rstrip("."), "write the chain as a link's part after '?'")
        return chain

    def figure(self, table: Mapping[str, Any], chain: SignalChain, step: int, key: str = "figure") -> str:
        path = self.text(table, key, step)
        if path and self.figures_too:
            try:
                figure(chain, path)
            except KeyError:
                groups = ", ".join(sorted(_figures(chain)))
                fix = f"write group.key with a group among {groups}, as `piezolab figures` prints them"
                self.fault(self.line(key, step), f"{path!r} is no figure", fix)
                return ""
        return path

    def lesson(self, table: Mapping[str, Any]) -> Lesson:
        for key in sorted(set(table) - _HEAD):
            self.fault(self.line(key), f"{key!r} is unknown", f"allowed are {', '.join(sorted(_HEAD))}")
        minutes = table.get("minutes")
        if isinstance(minutes, bool) or not isinstance(minutes, int) or not 1 <= minutes <= 240:
            self.fault(
                self.line("minutes"), "minutes is missing or no whole number from 1 to 240", "write minutes = 25"
            )
            minutes = 0
        controls = table.get("controls", [])
        known = all_parameters()
        if not isinstance(controls, list) or not controls:
            self.fault(self.line("controls"), "controls is missing or empty", 'write controls = ["gate_r", "input"]')
            controls = []
        for key in controls:
            if key not in known or key == "v":
                self.fault(
                    self.line("controls"), f"{key!r} is no control", "take keys of the share link, such as gate_r"
                )
        chapter = self.text(table, "chapter")
        if chapter and not _NAME.fullmatch(chapter):
            self.fault(
                self.line("chapter"), f"{chapter!r} is no address word", 'write chapter = "where-does-the-bass-go"'
            )
        raw = table.get("step", [])
        if not isinstance(raw, list) or not 1 <= len(raw) <= MOST_STEPS or not all(isinstance(s, dict) for s in raw):
            self.fault(len(self.lines), "there are no steps, or too many", f"write 1 to {MOST_STEPS} tables [[step]]")
            raw = []
        steps = tuple(self.step(step, n) for n, step in enumerate(raw))
        names = [step.name for step in steps]
        for n, name in enumerate(names):
            if name and name in names[:n]:
                self.fault(self.line("name", n), f"the name {name!r} is taken", "give each step a name of its own")
        return Lesson(
            self.file.removesuffix(".toml"), self.text(table, "title"), chapter, minutes, self.chain(table, "chain"),
            tuple(key for key in controls if key in known), self.text(table, "intro"),
            self.text(table, "closing", needed=False), steps,
        )  # fmt: skip

    def step(self, table: Mapping[str, Any], n: int) -> Step:
        for key in sorted(set(table) - _STEP):
            self.fault(self.line(key, n), f"{key!r} is unknown", f"allowed are {', '.join(sorted(_STEP))}")
        kind = table.get("kind")
        if kind not in _KINDS:
            self.fault(self.line("kind", n), f"kind is {kind!r}", f"allowed are {', '.join(_KINDS)}")
            return Step("", "read")
        name = self.text(table, "name", n)
        if name and not _NAME.fullmatch(name):
            self.fault(
                self.line("name", n), f"the name {name!r} has other signs", "take small letters, digits, hyphens"
            )
        base = {
            "name": name, "kind": kind, "text": self.text(table, "text", n, needed=kind == "read"),
            "question": self.text(table, "question", n, needed=kind != "read"),
            "hint": self.text(table, "hint", n, needed=kind != "read"),
            "explain": self.text(table, "explain", n, needed=False),
        }  # fmt: skip
        return {"read": self.read, "number": self.number, "pick": self.pick, "make": self.make}[kind](table, n, base)

    def read(self, table: Mapping[str, Any], n: int, base: dict[str, Any]) -> Step:
        return Step(**base)

    def number(self, table: Mapping[str, Any], n: int, base: dict[str, Any]) -> Step:
        chain = self.chain(table, "chain", n)
        path = self.figure(table, chain, n)
        within = table.get("within", 0.05)
        if isinstance(within, bool) or not isinstance(within, int | float) or not 0 < within <= 0.5:
            self.fault(
                self.line("within", n), f"within is {within!r}", "allowed is a part from above 0 to 0.5, such as 0.05"
            )
            within = 0.05
        if path and self.figures_too and not isinstance(figure(chain, path), int | float):
            self.fault(self.line("figure", n), f"{path} is no number for this chain", "take another figure or chain")
        return Step(**base, chain=chain, figure=path, unit=unit_of(path), within=float(within))

    def pick(self, table: Mapping[str, Any], n: int, base: dict[str, Any]) -> Step:
        compare = table.get("compare")
        if compare not in ("largest", "smallest"):
            self.fault(self.line("compare", n), f"compare is {compare!r}", "allowed are largest and smallest")
        raw = table.get("options")
        if not isinstance(raw, list) or not 2 <= len(raw) <= 6:
            self.fault(self.line("options", n), "options is missing", 'write 2 to 6 as [["words", "chain"], ...]')
            return Step(**base)
        options = []
        for option in raw:
            if not (isinstance(option, list) and len(option) == 2 and all(isinstance(part, str) for part in option)):
                self.fault(self.line("options", n), f"{option!r} is no option", 'write ["words", "chain as in a link"]')
                continue
            options.append(Option(option[0], self.chain(table, "options", n, text=option[1])))
        path = self.figure(table, options[0].chain, n) if options else ""
        step = Step(**base, figure=path, compare=str(compare), options=tuple(options))
        if path and self.figures_too and compare in ("largest", "smallest"):
            values = [figure(option.chain, path) for option in options]
            if not all(isinstance(value, int | float) for value in values):
                self.fault(self.line("options", n), "an option has no such figure", "give each a chain that has it")
            elif sorted(values, reverse=compare == "largest")[0] == sorted(values, reverse=compare == "largest")[1]:
                self.fault(self.line("options", n), "two options are equally right", "make their chains differ")
        return step

    def make(self, table: Mapping[str, Any], n: int, base: dict[str, Any]) -> Step:
        raw = table.get("goal")
        if not isinstance(raw, list) or not raw:
            fix = 'write goal = [["levels.input_headroom_db", "at least", 6]]'
            self.fault(self.line("goal", n), "goal is missing", fix)
            return Step(**base)
        goals = []
        for goal in raw:
            if not (isinstance(goal, list) and len(goal) == 3 and goal[1] in COMPARE):
                self.fault(
                    self.line("goal", n), f"{goal!r} is no goal", f"write [figure, one of {', '.join(COMPARE)}, value]"
                )
                continue
            path, compare, value = goal
            path = self.figure({"goal": path}, SignalChain(), n, "goal")
            if compare != "is" and isinstance(value, str):
                try:
                    value = parse(value, unit_of(path), what="goal")
                except QuantityError as error:
                    self.fault(self.line("goal", n), str(error).rstrip("."), "write a number")
                    continue
            if compare != "is" and (isinstance(value, bool) or not isinstance(value, int | float)):
                self.fault(self.line("goal", n), f"{value!r} is no number", "write a number after at least or at most")
                continue
            goals.append(Goal(path, compare, value))
        step = Step(**base, goals=tuple(goals))
        if self.figures_too and not self.faults and goals and all(met(goal, SignalChain())[0] for goal in goals):
            fix = "set a goal that has to be worked for, or start from another chain"
            self.fault(self.line("goal", n), "the default chain meets the goal already", fix)
        return step
