"""Checks the steps of a lesson: what is read, typed, picked or made."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from piezolab.chain import SignalChain
from piezolab.lessons.entries import NAME, Entries
from piezolab.lessons.lesson import Goal, LessonStep, Option, figure, met, unit_of
from piezolab.lessons.syntax import nearest
from piezolab.quantity import QuantityError, parse

COMPARE = ("at least", "at most", "is")
_STEP = {"name", "kind", "text", "question", "hint", "explain", "chain", "figure", "unit", "within", "options", "goal",
         "compare", "by_hand"}  # fmt: skip
#: Figures that are words, and the words they can be.
_WORDS = {"bias.region": ("saturation", "triode", "cut-off"), "bias.gate": ("ok", "conducting")}
_KINDS = ("read", "number", "pick", "make")


class StepReader(Entries):
    """Reads steps on top of the lesson's own chain and controls."""

    def step(self, table: Mapping[str, Any], n: int) -> LessonStep:
        """The n-th step, from 0."""
        for key in sorted(set(table) - _STEP):
            what = f"{key!r} is unknown{nearest(key, _STEP)}"
            self.fault(self.line(key, n), what, f"allowed are {', '.join(sorted(_STEP))}")
        kind = table.get("kind")
        if kind not in _KINDS:
            what = f"kind is {kind!r}" if "kind" in table else "kind is missing"
            self.fault(self.line("kind", n), what, f"allowed are {', '.join(_KINDS)}")
            return LessonStep("", "read")
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

    def read(self, table: Mapping[str, Any], n: int, base: dict[str, Any]) -> LessonStep:
        """A step that is only read."""
        return LessonStep(**base)

    def number(self, table: Mapping[str, Any], n: int, base: dict[str, Any]) -> LessonStep:
        """A step with a number to type."""
        chain = self.chain(table, "chain", n)
        path = self.figure(table, chain, n)
        by_hand = table.get("by_hand", False)
        if not isinstance(by_hand, bool):
            self.fault(self.line("by_hand", n), f"by_hand is {by_hand!r}", "write by_hand = true, or leave it out")
        elif not by_hand:
            self.reachable([chain], n, "chain", "or by_hand = true for what is worked out on paper")
        within = table.get("within", 0.05)
        if isinstance(within, bool) or not isinstance(within, int | float) or not 0 < within <= 0.5:
            self.fault(
                self.line("within", n), f"within is {within!r}", "allowed is a part from above 0 to 0.5, such as 0.05"
            )
            within = 0.05
        if path and self.figures_too and not isinstance(figure(chain, path), int | float):
            self.fault(self.line("figure", n), f"{path} is no number for this chain", "take another figure or chain")
        return LessonStep(**base, chain=chain, figure=path, unit=unit_of(path), within=float(within))

    def pick(self, table: Mapping[str, Any], n: int, base: dict[str, Any]) -> LessonStep:
        """A step with an answer to pick."""
        compare = table.get("compare")
        if compare not in ("largest", "smallest"):
            self.fault(self.line("compare", n), f"compare is {compare!r}", "allowed are largest and smallest")
        raw = table.get("options")
        if not isinstance(raw, list) or not 2 <= len(raw) <= 6:
            self.fault(self.line("options", n), "options is missing", 'write 2 to 6 as [["words", "chain"], ...]')
            return LessonStep(**base)
        options = []
        for option in raw:
            if not (isinstance(option, list) and len(option) == 2 and all(isinstance(part, str) for part in option)):
                self.fault(self.line("options", n), f"{option!r} is no option", 'write ["words", "chain as in a link"]')
                continue
            options.append(Option(option[0], self.chain(table, "options", n, text=option[1])))
        self.reachable([option.chain for option in options], n, "options")
        path = self.figure(table, options[0].chain, n) if options else ""
        step = LessonStep(**base, figure=path, compare=str(compare), options=tuple(options))
        if path and self.figures_too and compare in ("largest", "smallest"):
            values = [figure(option.chain, path) for option in options]
            if not all(isinstance(value, int | float) for value in values):
                self.fault(self.line("options", n), "an option has no such figure", "give each a chain that has it")
            elif sorted(values, reverse=compare == "largest")[0] == sorted(values, reverse=compare == "largest")[1]:
                self.fault(self.line("options", n), "two options are equally right", "make their chains differ")
        return step

    def make(self, table: Mapping[str, Any], n: int, base: dict[str, Any]) -> LessonStep:
        """A step with something to reach."""
        raw = table.get("goal")
        if not isinstance(raw, list) or not raw:
            fix = 'write goal = [["levels.input_headroom_db", "at least", 6]]'
            self.fault(self.line("goal", n), "goal is missing", fix)
            return LessonStep(**base)
        goals = []
        for goal in raw:
            if not (isinstance(goal, list) and len(goal) == 3 and goal[1] in COMPARE):
                self.fault(
                    self.line("goal", n), f"{goal!r} is no goal", f"write [figure, one of {', '.join(COMPARE)}, value]"
                )
                continue
            path, compare, value = goal
            path = self.figure({"goal": path}, self.start, n, "goal")
            if compare == "is":
                self.word(path, value, n)
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
        step = LessonStep(**base, goals=tuple(goals))
        if self.figures_too and not self.faults and goals and all(met(goal, self.start)[0] for goal in goals):
            fix = "set a goal that has to be worked for, or start from another chain"
            self.fault(self.line("goal", n), "the lesson's chain meets the goal already", fix)
        return step

    def word(self, path: str, value: Any, n: int) -> None:
        """Note a goal after `is` that no chain could ever meet, or no control that shows."""
        group, _, key = path.partition(".")
        if group == "chain":
            self.chain({}, "goal", n, text=f"{key}={value}")
            if key not in self.controls and self.figures_too and not met(Goal(path, "is", value), self.start)[0]:
                self.fault(self.line("goal", n), f"no control that shows sets {key}", f"add {key!r} to controls")
        elif path in _WORDS and value not in _WORDS[path]:
            fix = f"allowed are {', '.join(_WORDS[path])}"
            self.fault(self.line("goal", n), f"{path} is never {value!r}{nearest(value, _WORDS[path])}", fix)
        elif path and path not in _WORDS:
            self.fault(self.line("goal", n), f"{path} is hardly ever exactly {value!r}", "take at least or at most")

    def reachable(self, chains: list[SignalChain], n: int, key: str, other: str = "") -> None:
        """Note what a visitor would have to set for a step's chains, and for which no control shows."""
        if self.faulty_controls:
            return
        keys = {name: None for chain in (self.start, *chains) for name in chain.entered}
        missing = [
            name for name in keys
            if name not in self.controls and any(getattr(c, name) != getattr(self.start, name) for c in chains)
        ]  # fmt: skip
        if missing:
            names = ", ".join(missing)
            fix = ", ".join(part for part in (f"add {names} to controls", other) if part)
            self.fault(self.line(key, n), f"no control that shows sets {names}", fix)
