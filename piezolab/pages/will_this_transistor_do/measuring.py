"""Measure yours: entering a transistor, two readings with two resistors, and the bag of measured ones."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from html import escape
from typing import Any

from ipywidgets import VBox

from piezolab import catalogue
from piezolab.chain import ChainError, SignalChain
from piezolab.chain.parameter import ParameterError
from piezolab.chain.parameters import all_parameters
from piezolab.circuit.errors import CircuitError
from piezolab.fields import parse_field
from piezolab.pages.kit.blocks import Block, Buttons, Html, PressedTable, guard, paragraphs, row_button, table
from piezolab.pages.kit.form import Field, FieldError, Form, last_digit
from piezolab.pages.kit.keepsake import MOST_TRANSISTORS, Keepsake
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.sections import FoldedParts
from piezolab.pages.will_this_transistor_do import sentences as say
from piezolab.quantity import QuantityError, show
from piezolab.studies.choosing.bag import Ranked, outside_the_sheet, ranked
from piezolab.studies.choosing.best_resistor import ResistorChoice
from piezolab.studies.choosing.drawer import DrawerTransistor
from piezolab.studies.in_hand.two_readings import Accuracy, Readings, two_readings, with_transistor
from piezolab.studies.judging.wish import Wish

ENTRY = (
    Field("idss", "I_DSS", "A", hint="Drain current with gate and source joined, such as 5.2m."),
    Field("vds", "at V_DS of", "V", "9", "The voltage from drain to source at that reading."),
    Field("vgsoff", "V_GS(off)", "V", hint="Gate voltage that just stops the current; the sign does not matter."),
)
JIG = (
    Field("r1", "first source resistor", "Ω", "330R"),
    Field("v1", "voltage across the first", "V"),
    Field("r2", "second source resistor", "Ω", "4k7"),
    Field("v2", "voltage across the second", "V"),
    Field("supply_v", "battery of the jig", "V", "9.0"),
    Field("resistor_percent", "resistor tolerance", "%", "1", "5 for gold bands; 0.5 if you measured them.", more=True),
    Field("meter_percent", "meter's accuracy", "%", "0.5", "From the meter's sheet, DC volts.", more=True),
    Field("drain_r", "drain resistor", "Ω", "0", "0 where the drain goes straight to the battery.", more=True),
    Field("meter_r", "meter's resistance", "Ω", "10M", "10 MΩ in nearly every digital meter.", more=True),
    Field("temp_c", "temperature", "°C", "25", more=True),
)
_UNITS = {
    "r1": "ohm", "v1": "V", "r2": "ohm", "v2": "V", "supply_v": "V", "drain_r": "ohm", "meter_r": "ohm",
    "temp_c": "degC", "resistor_percent": "", "meter_percent": "",
}  # fmt: skip
_PERCENT = {"resistor_percent": (0.0, 20.0), "meter_percent": (0.0, 5.0)}

HOW = (
    "The jig, on a plug-in board: gate to the battery's minus, drain to its plus, a resistor from source to minus. "
    "Read the DC volts across it, with all digits; battery out, swap the resistor for the second one, battery in, read "
    "again, and the battery's volts with the jig running. First resistor 100 Ω to 1 kΩ, the second some ten times that."
)
JIG_CAUTION = (
    "Never the gate to plus: a large current would run through the transistor. A reversed clip or slipped lead shorts "
    "the battery: it heats fast and can burst. Hot: unclip it, set it down away from people, touch no swollen one."
)


def entered(texts: Mapping[str, str], chain: SignalChain) -> DrawerTransistor:
    """The transistor of the direct entry. Raises FieldError."""
    values = {}
    for name in ("idss", "vds", "vgsoff"):
        parameter = all_parameters()[f"jfet_{name}"].as_typed
        try:
            values[name] = parameter.read(texts[name])
        except ParameterError as error:
            raise FieldError(name, str(error)) from None
    return DrawerTransistor(chain.jfet, **values)


def read(texts: Mapping[str, str]) -> tuple[Readings, Accuracy]:
    """The readings and their accuracy from what was typed. Raises FieldError."""
    values, digits = {}, {}
    labels = {field.name: field.label for field in JIG}
    for name, unit in _UNITS.items():
        text = texts[name]
        try:
            if name == "r2" and text.lower() in ("none", "inf", "∞", "-", "—"):
                values[name] = float("inf")
                continue
            values[name] = parse_field(text, unit, what=labels[name])
            if unit == "V":
                digits[name] = last_digit(text, unit)
        except QuantityError as error:
            raise FieldError(name, str(error)) from None
    for name, (low, high) in _PERCENT.items():
        if not low <= values[name] <= high:
            sentence = f"{labels[name]}: {values[name]:g} % is out of range; allowed is {low:g} to {high:g} %."
            raise FieldError(name, sentence)
    accuracy = Accuracy(
        digit_v=max(digits["v1"], digits["v2"]),
        meter_percent=values.pop("meter_percent"),
        resistor_percent=values.pop("resistor_percent"),
        supply_digit_v=digits["supply_v"],
    )
    return Readings(**values), accuracy


class Measuring(VBox):
    """Both ways to enter a transistor, and the bag. `wish` gives what the bag is ranked by."""

    def __init__(self, state: PageState, wish: Callable[[], tuple[Wish, ResistorChoice]]) -> None:
        self._state, self._wish = state, wish
        self.bag: tuple[DrawerTransistor, ...] = ()
        self._part: DrawerTransistor | None = None
        self._keepsake: Keepsake | None = None
        self.jig = Form(
            "Measure yours", JIG, "work it out", self._worked_out,
            "accuracy",
        )  # fmt: skip
        self.entry = Form("From a tester or a sheet", ENTRY, "take these", self._entered)
        does = {"use": self._use, "bag": self._into_the_bag}
        # each stands right under the result that it is about
        self.takes = {form: Buttons("this transistor", does) for form in (self.jig, self.entry)}
        self._from, self._said = self.jig, ""
        words = {f"{what}-{k}": self._doer(what, k) for what in ("use", "drop") for k in range(MOST_TRANSISTORS)}
        self.shown = PressedTable("bag", words)
        self.how = Block(
            "measure", guard(JIG_CAUTION) + paragraphs(HOW), title="How to measure",
            folded=True,
        )  # fmt: skip
        self.fold = FoldedParts("Or enter what you know", [self.entry, self.takes[self.entry]])
        super().__init__([self.jig, self.takes[self.jig], self.how, self.fold, self.shown])
        self.add_class("pz-measuring")
        state.observe(lambda _: (self._tell(), state.at_rest.put(self, self.show_bag)), "settled")
        state.at_rest.put(self, self.show_bag)

    # -- entering -----------------------------------------------------------------------------------------------
    @property
    def take(self) -> Buttons:
        """The buttons of the result that is on offer."""
        return self.takes[self._from]

    def _worked_out(self, texts: Mapping[str, str]) -> str:
        self._offer(None)
        self._from = self.jig
        readings, accuracy = read(texts)
        values = self._state.chain.values
        try:
            found = two_readings(readings, accuracy, values.jfet_lambda)
        except ChainError as error:
            problem = error.problems[0]
            raise FieldError(problem.key, problem.in_field) from None
        if self._keepsake is not None:
            self._keepsake.keep("readings", {name: texts[name] for name in _UNITS})
        jfet = self._state.chain.jfet
        self._said = say.hand(found, outside_the_sheet(jfet, found), self._state.chain.type_number)
        if bool(found.decided):
            rounded = (float(f"{float(value):.4g}") for value in (found.idss, found.vgsoff))
            self._offer(DrawerTransistor(jfet, *rounded, vds=found.vds))
        return self._words

    def _entered(self, texts: Mapping[str, str]) -> str:
        self._offer(None)
        self._from, part = self.entry, entered(texts, self._state.chain)
        current = f"I_DSS {show(part.idss, 'A')} at {show(part.vds, 'V')}"
        number = catalogue.transistors()[part.jfet].type_number
        self._said = f"A {number} with {current} and V_GS(off) {show(part.vgsoff, 'V')}."
        self._offer(part)
        return self._words

    def _offer(self, part: DrawerTransistor | None) -> None:
        self._part = part
        for form, take in self.takes.items():
            take.show([] if part is None or form is not self._from else [
                {"word": "use", "label": "use it in this chain", "off": self._placed},
                {"word": "bag", "label": "into the bag", "off": len(self.bag) >= MOST_TRANSISTORS},
            ])  # fmt: skip

    @property
    def _placed(self) -> bool:
        """Whether the part on offer is in the chain."""
        return self._part is not None and _with_part(self._state.chain, self._part) == self._state.chain

    @property
    def _words(self) -> str:
        """The result, and where it is."""
        return self._said if self._part is None else f"{self._said} {say.IN if self._placed else say.NOT_YET}"

    def _tell(self) -> None:
        """After a change of the chain the part on offer may be in it, or no longer."""
        if self._part is not None:
            self._from.said = self._words
            self._offer(self._part)

    def _use(self) -> None:
        if self._part is not None:
            self._state.put(_with_part(self._state.chain, self._part))

    # -- the bag ------------------------------------------------------------------------------------------------
    def _into_the_bag(self) -> None:
        if self._part is not None and len(self.bag) < MOST_TRANSISTORS:
            number = 1 + max((int(part.name) for part in self.bag if part.name.isdigit()), default=0)
            part = self._part
            self._fill((*self.bag, DrawerTransistor(part.jfet, part.idss, part.vgsoff, part.vds, str(number))))
            self._from.said = f"{self._said} It is no. {number} of the bag."
            self._offer(None)

    def _fill(self, bag: Sequence[DrawerTransistor]) -> None:
        self.bag = tuple(bag)
        if self._keepsake is not None:
            self._keepsake.keep("bag", [_row(part) for part in self.bag] or None)
        self.show_bag()

    def kept_in(self, keepsake: Keepsake) -> None:
        """Keep bag and readings in the visitor's browser, and take from there what was kept."""
        self._keepsake = keepsake

        def bag(rows: Sequence[Mapping[str, Any]]) -> None:
            self.bag = tuple(DrawerTransistor(**row) for row in rows)
            self.show_bag()

        keepsake.use("bag", bag)
        keepsake.use("readings", self.jig.fill)

    def show_bag(self) -> None:
        """Rank the bag anew and show it."""
        if not self.bag:
            self.shown.content = ""
            return
        try:
            rows = ranked(self._state.chain, self.bag, *self._wish())
        except CircuitError as error:
            rows = ()
            said = paragraphs(f"The bag could not be ranked for this chain: {error}")
        self._ranked = {row.place: row for row in rows}
        self.shown.content = _bag_table(rows) if rows else said + _unranked(self.bag)

    def _doer(self, what: str, place: int) -> Callable[[], None]:
        def use() -> None:
            if place in self._ranked:
                self._state.put(self._ranked[place].chain)

        def drop() -> None:
            self._fill([part for k, part in enumerate(self.bag) if k != place])

        return use if what == "use" else drop


def _with_part(chain: SignalChain, part: DrawerTransistor) -> SignalChain:
    return with_transistor(chain.but(jfet=part.jfet), idss=part.idss, vgsoff=part.vgsoff, vds=part.vds)


def _row(part: DrawerTransistor) -> dict[str, Any]:
    return {"name": part.name, "jfet": part.jfet, "idss": part.idss, "vds": part.vds, "vgsoff": part.vgsoff}


def _short(row: Ranked) -> str:
    return say.resistors(row.best.changes)


def _bag_table(rows: Sequence[Ranked]) -> str:
    cells = []
    for row in rows:
        part, best = row.part, row.best
        resistor = _short(row) if best.feasible else "none works"
        clean = say.volts(best.headroom_v) if best.feasible else "—"
        use = row_button(f"use-{row.place}", "use", f"use no. {part.name} with {_short(row)}") if best.feasible else ""
        cells.append((
            _name(part), show(part.idss, "A"), show(part.vgsoff, "V"), resistor, clean,
            Html(use + _out(part, row.place)),
        ))  # fmt: skip
    first = rows[0]
    if first.best.feasible:
        told = f"Solder no. {first.part.name}, with {_short(first)}."
    else:
        told = "None of them works in this stage; try another stage, or a higher battery voltage."
    head = ("transistor", "I_DSS", "V_GS(off)", "its resistor", "the stage alone clips from, spent battery", "")
    return f'<h3>{escape("Your bag, the best first")}</h3>' + paragraphs(told) + table(head, cells)


def _unranked(bag: Sequence[DrawerTransistor]) -> str:
    rows = [(_name(part), show(part.idss, "A"), show(part.vgsoff, "V"), _out(part, k)) for k, part in enumerate(bag)]
    return table(("transistor", "I_DSS", "V_GS(off)", ""), rows)


def _name(part: DrawerTransistor) -> str:
    return f"no. {part.name} ({catalogue.transistors()[part.jfet].type_number})"


def _out(part: DrawerTransistor, place: int) -> Html:
    return row_button(f"drop-{place}", "take out", f"take out no. {part.name} of the bag")
