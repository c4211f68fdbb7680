"""Checks the steps of a lesson: what is read, typed, picked or made."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from piezolab.chain import SignalChain
from piezolab.chain.parameters import all_parameters
from piezolab.lessons.entries import NAME, Entries
from piezolab.lessons.file_fields import STEP
from piezolab.lessons.guesses import ON_THE_LINE
from piezolab.lessons.lesson import KINDS_OF_STAGE, STAGE_KIND, Goal, LessonStep, Option, figure, met, unit_of
from piezolab.lessons.syntax import nearest
from piezolab.quantity import QuantityError, parse, show

COMPARE = ("at least", "at most", "is")
_STEP = {one.name for one in STEP}
#: Figures that are words, and the words they can be.
_WORDS = {"bias.region": ("saturation", "triode", "cut-off"), "bias.gate": ("ok", "conducting"),
          STAGE_KIND: tuple(KINDS_OF_STAGE)}  # fmt: skip
MOST_WORDS, MOST_CONTROLS, MOST_SHOWN = 35, 2, 2
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
        start = self.chain(table.get("start", ""), "start", n, base=self.start)
        base = {
            "name": name, "kind": kind, "start": start, "controls": self.shown_controls(table, n, kind),
            "shows": self.shown_figures(table, n, start), **self.guess(table, n, kind, start),
            "text": self.text(table, "text", n, needed=kind == "read"),
            "question": self.text(table, "question", n, needed=kind != "read"),
            "hint": self.text(table, "hint", n, needed=kind != "read"),
            "explain": self.text(table, "explain", n, needed=False),
        }  # fmt: skip
        if kind != "read" and (words := len(base["text"].split())) > MOST_WORDS:
            fix = f'beside a task fit {MOST_WORDS}; make the rest a step of its own, with kind = "read"'
            self.note(self.line("text", n), f"the text has {words} words and is shown on a screen before its task", fix)
        return {"read": self.read, "number": self.number, "pick": self.pick, "make": self.make}[kind](table, n, base)

    def shown_controls(self, table: Mapping[str, Any], n: int, kind: str) -> tuple[str, ...]:
        """The step's own controls, else the lesson's; a step that is only read shows none unless it names them."""
        if "controls" not in table:
            if kind != "read" and len(self.controls) > MOST_CONTROLS:
                fix = f"name the step's own, at most {MOST_CONTROLS}"
                self.note(self.line("name", n), f"the step shows the lesson's {len(self.controls)} controls", fix)
            return () if kind == "read" else self.controls
        keys = self.control_keys(table["controls"], self.line("controls", n))
        if len(keys) > MOST_CONTROLS:
            what = f"the step has {len(keys)} controls"
            self.fault(self.line("controls", n), what, f"allowed are {MOST_CONTROLS}, or a phone does not show them")
        return keys

    def control_keys(self, raw: Any, line: int) -> tuple[str, ...]:
        """The controls of a list that there are; the others are noted as faults."""
        known = {key: setting for key, setting in all_parameters().items() if key != "v"}
        if not isinstance(raw, list):
            self.fault(line, "controls is no list", 'write controls = ["gate_r", "input"]')
            return ()
        for key in (key for key in raw if key not in known):
            labels = {setting.label: word for word, setting in known.items()}
            near = nearest(key, known) or nearest(key, labels, 0.8)
            for label, word in labels.items():  # who takes the words of the page wants the key that they stand for
                near = near.replace(f"(did you mean {label!r}?)", f"(did you mean {word!r}, “{label}” on the page?)")
            fix = "take keys of the share link, such as gate_r; a control's key stands in the address once you move it"
            self.fault(line, f"{key!r} is no control{near}", fix)
        return tuple(key for key in raw if key in known)

    def shown_figures(self, table: Mapping[str, Any], n: int, chain: SignalChain) -> tuple[str, ...]:
        """What the step lets be read off."""
        raw = table.get("shows", [])
        if not isinstance(raw, list) or len(raw) > MOST_SHOWN:
            fix = f'write one or {MOST_SHOWN} figures, such as shows = ["bias.v_s_v"]'
            self.fault(self.line("shows", n), "shows is no list of figures, or too long", fix)
            return ()
        return tuple(self.figure({"shows": path}, chain, n, "shows") for path in raw)

    def guess(self, table: Mapping[str, Any], n: int, kind: str, chain: SignalChain) -> dict[str, str]:
        """What is guessed before the controls can be moved, and the figure that it is about."""
        asked = self.text(table, "guess", n, needed=False)
        if not asked:
            return {}
        key = "guess_figure" if "guess_figure" in table or kind not in ("number", "pick") else "figure"
        path = self.figure(table, chain, n, key)
        if kind == "read" or table.get("controls") == []:
            fix = "give the step controls and something to solve"
            self.fault(self.line("guess", n), "a guess wants something to move", fix)
        if path and self.figures_too and not isinstance(figure(chain, path), int | float):
            self.fault(self.line(key, n), f"{path} is no number for the step's chain", "guess about another figure")
        by = table.get("guess_by", "chips")
        if by not in ("chips", "dot"):
            self.fault(self.line("guess_by", n), f"guess_by is {by!r}", "allowed are chips and dot")
        elif by == "dot" and path and path != ON_THE_LINE:
            fix = f'write guess_figure = "{ON_THE_LINE}", or guess_by = "chips"'
            self.fault(self.line("guess_by", n), f"no line of the plot shows {path}", fix)
        return {"guess": asked, "guess_figure": path, "guess_by": str(by)}

    def read(self, table: Mapping[str, Any], n: int, base: dict[str, Any]) -> LessonStep:
        """A step that is only read."""
        return LessonStep(**base)

    def number(self, table: Mapping[str, Any], n: int, base: dict[str, Any]) -> LessonStep:
        """A step with a number to type."""
        chain = self.chain(table.get("chain", ""), "chain", n, base=base["start"])
        path = self.figure(table, chain, n)
        if not self.by_hand(table, n):
            self.reachable([chain], base, n, "chain", "or by_hand = true for what is worked out on paper")
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
            options.append(Option(option[0], self.chain(option[1], "options", n, base=base["start"])))
        if not self.by_hand(table, n):
            fix = "or by_hand = true for what is thought out"
            self.reachable([option.chain for option in options], base, n, "options", fix)
        path = self.figure(table, options[0].chain, n) if options else ""
        step = LessonStep(**base, figure=path, compare=str(compare), options=tuple(options))
        if path and self.figures_too and compare in ("largest", "smallest"):
            values = [figure(option.chain, path) for option in options]
            if not all(isinstance(value, int | float) for value in values):
                self.fault(self.line("options", n), "an option has no such figure", "give each a chain that has it")
            else:
                best = [show(float(value), unit_of(path)) for value in sorted(values, reverse=compare == "largest")[:2]]
                if len(set(best)) < len(best):
                    what = f"two options are equally right: both are {best[0]}"
                    self.fault(self.line("options", n), what, "make their chains differ")
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
            path = self.figure({"goal": path}, base["start"], n, "goal")
            if compare == "is":
                self.word(path, value, n, base)
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
        if self.figures_too and not self.faults and goals and all(met(goal, step.start)[0] for goal in goals):
            fix = "set a goal that has to be worked for, or start from another chain"
            self.fault(self.line("goal", n), "the chain that the step begins with meets the goal already", fix)
        return step

    def word(self, path: str, value: Any, n: int, base: Mapping[str, Any]) -> None:
        """Note a goal after `is` that no chain could ever meet, or no control that shows."""
        group, _, key = path.partition(".")
        if group == "chain":
            self.chain(f"{key}={value}", "goal", n)
            there = self.figures_too and met(Goal(path, "is", value), base["start"])[0]
            if key not in base["controls"] and self.figures_too and not there:
                self.fault(self.line("goal", n), f"no control that shows sets {key}", f"add {key!r} to controls")
        elif path in _WORDS and value not in _WORDS[path]:
            fix = f"allowed are {', '.join(_WORDS[path])}"
            self.fault(self.line("goal", n), f"{path} is never {value!r}{nearest(value, _WORDS[path])}", fix)
        elif path and path not in _WORDS:
            self.fault(self.line("goal", n), f"{path} is hardly ever exactly {value!r}", "take at least or at most")

    def by_hand(self, table: Mapping[str, Any], n: int) -> bool:
        """Whether the step is worked out without controls."""
        by_hand = table.get("by_hand", False)
        if not isinstance(by_hand, bool):
            self.fault(self.line("by_hand", n), f"by_hand is {by_hand!r}", "write by_hand = true, or leave it out")
        return by_hand is not False

    def reachable(self, chains: list[SignalChain], base: Mapping[str, Any], n: int, key: str, other: str = "") -> None:
        """Note what a visitor would have to set for a step's chains, and for which no control shows."""
        if self.faulty_controls:
            return
        start, shown = base["start"], base["controls"]
        keys = {name: None for chain in (start, *chains) for name in chain.entered}
        missing = [
            name for name in keys if name not in shown and any(chain[name] != start[name] for chain in chains)
        ]  # fmt: skip
        if missing:
            names = ", ".join(missing)
            fix = ", ".join(part for part in (f"add {names} to controls", other) if part)
            self.fault(self.line(key, n), f"no control that shows sets {names}", fix)
