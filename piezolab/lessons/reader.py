"""Checks a lesson's text and reports what is wrong with it by line, with the fix."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from piezolab.chain import SignalChain
from piezolab.chain.link import read_link
from piezolab.chain.parameters import all_parameters
from piezolab.chapters import find_chapters
from piezolab.lessons.lesson import Goal, Lesson, LessonStep, Option, figure, met, unit_of
from piezolab.lessons.syntax import nearest
from piezolab.location import notebooks_dir
from piezolab.quantity import QuantityError, parse
from piezolab.studies.figures import GROUPS

COMPARE = ("at least", "at most", "is")
MOST_STEPS = 20
MOST_TEXT = 3000
NAME = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
_HEAD = {"title", "chapter", "minutes", "chain", "controls", "intro", "closing", "step"}
_STEP = {"name", "kind", "text", "question", "hint", "explain", "chain", "figure", "unit", "within", "options", "goal",
         "compare", "by_hand"}  # fmt: skip
#: Figures that are words, and the words they can be.
_WORDS = {"bias.region": ("saturation", "triode", "cut-off"), "bias.gate": ("ok", "conducting")}
_KINDS = ("read", "number", "pick", "make")


class LessonError(ValueError):
    """What is wrong with a lesson; `faults` has one sentence for each fault, with file, line and fix."""

    def __init__(self, faults: list[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(faults))


class Reader:
    """Checks one lesson and collects what is wrong, by line."""

    def __init__(self, text: str, file: str, figures_too: bool = True) -> None:
        self.lines, self.file, self.figures_too = text.splitlines(), file, figures_too
        self.faults: list[str] = []
        self.start, self.controls, self.faulty_controls = SignalChain(), (), False

    def fault(self, where: int, what: str, fix: str) -> None:
        """Note a fault: the line, what is wrong, and how to mend it."""
        self.faults.append(f"{self.file}, line {where}: {what}; {fix}.")

    def line(self, key: str, step: int | None = None) -> int:
        """Line of a key, in the head or in the n-th step (from 0); of the step's own line where the key is missing."""
        starts = [n for n, line in enumerate(self.lines) if re.match(r"\s*\[\[\s*step\s*\]\]", line)]
        first, last = (0, starts[0] if starts else len(self.lines))
        if step is not None and step < len(starts):
            first, last = starts[step], starts[step + 1] if step + 1 < len(starts) else len(self.lines)
        for n in range(first, last):
            if re.match(rf"\s*(\[\[?\s*)?{re.escape(key)}\s*[=\]]", self.lines[n]):
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
                near = nearest(path, _paths(chain))
                fix = f"write group.key with a group among {groups}, as `piezolab figures` prints them"
                self.fault(self.line(key, step), f"{path!r} is no figure{near}", fix)
                return ""
        return path

    def lesson(self, table: Mapping[str, Any]) -> Lesson:
        """The whole lesson."""
        self._unknown_keys(table)
        minutes = self._minutes(table)
        self._controls(table)
        self.start = self.chain(table, "chain")
        chapter = self._chapter(table)
        steps = self._steps(table)
        return Lesson(
            self.file.removesuffix(".toml"), self.text(table, "title"), chapter, minutes, self.start,
            self.controls, self.text(table, "intro"),
            self.text(table, "closing", needed=False), steps,
        )  # fmt: skip

    def _unknown_keys(self, table: Mapping[str, Any]) -> None:
        for key in sorted(set(table) - _HEAD):
            table_at = re.compile(rf"\s*\[+\s*{re.escape(key)}\b")
            tables = [n + 1 for n, line in enumerate(self.lines) if table_at.match(line)]
            what = f"{key!r} is unknown{nearest(key, _HEAD)}"
            self.fault(tables[0] if tables else self.line(key), what, f"allowed are {', '.join(sorted(_HEAD))}")

    def _minutes(self, table: Mapping[str, Any]) -> int:
        minutes = table.get("minutes")
        if isinstance(minutes, bool) or not isinstance(minutes, int) or not 1 <= minutes <= 240:
            self.fault(
                self.line("minutes"), "minutes is missing or no whole number from 1 to 240", "write minutes = 25"
            )
            return 0
        return minutes

    def _controls(self, table: Mapping[str, Any]) -> None:
        """The controls that show, kept for what the steps ask of them."""
        controls = table.get("controls", [])
        known = {key: setting for key, setting in all_parameters().items() if key != "v"}
        if not isinstance(controls, list) or not controls:
            self.fault(self.line("controls"), "controls is missing or empty", 'write controls = ["gate_r", "input"]')
            controls = []
        for key in controls:
            if key not in known:
                what = f"{key!r} is no control{nearest(key, known)}"
                self.fault(self.line("controls"), what, "take keys of the share link, such as gate_r")
        self.controls = tuple(key for key in controls if key in known)
        self.faulty_controls = len(self.controls) < max(len(controls), 1)

    def _chapter(self, table: Mapping[str, Any]) -> str:
        chapter = self.text(table, "chapter")
        if chapter and not NAME.fullmatch(chapter):
            self.fault(
                self.line("chapter"), f"{chapter!r} is no address word", 'write chapter = "where-does-the-bass-go"'
            )
        elif chapter and chapter not in (slugs := [found.slug for found in find_chapters(notebooks_dir())]):
            fix = f"allowed are {', '.join(slugs)}"
            self.fault(self.line("chapter"), f"{chapter!r} is no chapter{nearest(chapter, slugs)}", fix)
        return chapter

    def _steps(self, table: Mapping[str, Any]) -> tuple[LessonStep, ...]:
        raw = table.get("step", [])
        if not isinstance(raw, list) or not 1 <= len(raw) <= MOST_STEPS or not all(isinstance(s, dict) for s in raw):
            self.fault(len(self.lines), "there are no steps, or too many", f"write 1 to {MOST_STEPS} tables [[step]]")
            raw = []
        steps = tuple(self.step(step, n) for n, step in enumerate(raw))
        names = [step.name for step in steps]
        for n, name in enumerate(names):
            if name and name in names[:n]:
                self.fault(self.line("name", n), f"the name {name!r} is taken", "give each step a name of its own")
        if steps and steps[-1].kind == "read" and steps[-1].name:
            fix = "write the words as closing in the head of the file, which is shown when all is solved"
            self.fault(self.line("kind", len(steps) - 1), "the last step has nothing to solve", fix)
        return steps

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


def _paths(chain: SignalChain) -> list[str]:
    """Every figure's dotted path."""
    from piezolab.studies.figures import figures

    return [f"{group}.{key}" for group, found in figures(chain).items() for key in found or ()]
