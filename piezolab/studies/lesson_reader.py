"""Checks a lesson's text and reports what is wrong with it by line, with the fix."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from piezolab.chain import SignalChain
from piezolab.chain.link import read_link
from piezolab.chain.parameters import all_parameters
from piezolab.quantity import QuantityError, parse
from piezolab.studies.figures import GROUPS
from piezolab.studies.lesson import Goal, Lesson, Option, Step, figure, met, unit_of

COMPARE = ("at least", "at most", "is")
MOST_STEPS = 20
MOST_TEXT = 3000
NAME = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
_HEAD = {"title", "chapter", "minutes", "chain", "controls", "intro", "closing", "step"}
_STEP = {"name", "kind", "text", "question", "hint", "explain", "chain", "figure", "unit", "within", "options", "goal",
         "compare", "value"}  # fmt: skip
_KINDS = ("read", "number", "pick", "make")


class LessonError(ValueError):
    """What is wrong with a lesson; `faults` has one sentence for each fault, with file, line and fix."""

    def __init__(self, faults: list[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(faults))


class Reader:
    """Checks one lesson and collects what is wrong, by line."""

    def __init__(self, text: str, file: str, figures_too: bool = True) -> None:
        self.lines, self.file, self.faults, self.figures_too = text.splitlines(), file, [], figures_too

    def fault(self, where: int, what: str, fix: str) -> None:
        """Note a fault: the line, what is wrong, and how to mend it."""
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
        """A text of the head or of a step; "" with a fault noted where it is missing."""
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
        """A chain written as the part of a link after '?'; its problems are noted as faults."""
        words = table.get(key, "") if text is None else text
        if not isinstance(words, str):
            self.fault(self.line(key, step), f"{key} is no text", f'write {key} = "stage=direct&input=line"')
            return SignalChain()
        chain, problems = read_link(words)
        for problem in problems:
            self.fault(self.line(key, step), problem.sentence.rstrip("."), "write the chain as a link's part after '?'")
        return chain

    def figure(self, table: Mapping[str, Any], chain: SignalChain, step: int, key: str = "figure") -> str:
        """The dotted path of a figure that the chain has; "" with a fault noted where there is none."""
        path = self.text(table, key, step)
        if path and self.figures_too:
            try:
                figure(chain, path)
            except KeyError:
                groups = ", ".join(GROUPS)
                fix = f"write group.key with a group among {groups}, as `piezolab figures` prints them"
                self.fault(self.line(key, step), f"{path!r} is no figure", fix)
                return ""
        return path

    def lesson(self, table: Mapping[str, Any]) -> Lesson:
        """The whole lesson."""
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
        if chapter and not NAME.fullmatch(chapter):
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
        """The n-th step, from 0."""
        for key in sorted(set(table) - _STEP):
            self.fault(self.line(key, n), f"{key!r} is unknown", f"allowed are {', '.join(sorted(_STEP))}")
        kind = table.get("kind")
        if kind not in _KINDS:
            self.fault(self.line("kind", n), f"kind is {kind!r}", f"allowed are {', '.join(_KINDS)}")
            return Step("", "read")
        name = self.text(table, "name", n)
        if name and not NAME.fullmatch(name):
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
        """A step that is only read."""
        return Step(**base)

    def number(self, table: Mapping[str, Any], n: int, base: dict[str, Any]) -> Step:
        """A step with a number to type."""
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
        """A step with an answer to pick."""
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
        """A step with something to reach."""
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
