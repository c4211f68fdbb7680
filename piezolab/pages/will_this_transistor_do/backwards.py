"""Solve it backwards: what the resistor shall do goes in, the preferred value comes out, one click puts it in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from ipywidgets import VBox

from piezolab.circuit.errors import CircuitError
from piezolab.fields import parse_field
from piezolab.pages.kit.blocks import Block, Buttons, guard, paragraphs
from piezolab.pages.kit.form import Field, FieldError, Form
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.will_this_transistor_do import sentences as say
from piezolab.quantity import QuantityError
from piezolab.studies.choosing.best_resistor import BestResistor, ResistorChoice, best_resistor
from piezolab.studies.choosing.improvement import Improvement, improvement
from piezolab.studies.judging.wish import Wish

EVEN, SOURCE = "even", "source"
FIELDS = (
    Field("goal", "look for", value=EVEN, options=((EVEN, "the most even clipping"), (SOURCE, "a source voltage"))),
    Field("source_v", "source voltage", "V", "1", "Used when that is looked for."),
    Field(
        "series", "values to choose from", value="E12",
        options=(("E6", "E6 (20 %)"), ("E12", "E12 (10 %)"), ("E24", "E24 (5 %)"), ("E96", "E96 (1 %)")),
    ),
    Field("whom", "for", value="own", options=(("own", "this transistor"), ("type", "every part of the type"))),
    Field("gain_db", "least gain of a gain stage", "dB", "10", "A follower has none to give."),
)  # fmt: skip

CARE = "Volume down before you change a resistor with the amplifier on."
ABOUT = (
    "Every preferred value is tried, at every supply voltage that the stage will see. The transistor must stay in "
    "saturation, its gate must not conduct, and 0.1 to 1 mA shall flow. Room for hard playing comes before what you "
    "look for; a change is offered only where it brings what you asked for."
)


def wished(texts: Mapping[str, str]) -> tuple[Wish, ResistorChoice]:
    """The wish that was typed, and the values to choose from. Raises FieldError."""
    values = {}
    for name, unit, low, high in (("source_v", "V", 0.01, 30.0), ("gain_db", "dB", -20.0, 60.0)):
        label = next(field.label for field in FIELDS if field.name == name)
        try:
            value = parse_field(texts[name], unit, what=label)
        except QuantityError as error:
            raise FieldError(name, str(error)) from None
        if not low <= value <= high:
            raise FieldError(name, f"{label}: {texts[name]} is out of range; allowed is {low:g} to {high:g} {unit}.")
        values[name] = value
    choice = ResistorChoice(
        source_v=values["source_v"] if texts["goal"] == SOURCE else None,
        series=texts["series"],
        whole_type=texts["whom"] == "type",
    )
    return Wish(gain_db=values["gain_db"]), choice


class Backwards(VBox):
    """The search, its answer for the chain as it is, and the button that applies it."""

    def __init__(self, state: PageState) -> None:
        self._state = state
        self.found: BestResistor | None = None
        self.brings: Improvement | None = None
        self._typed, self.choice = wished({field.name: field.value for field in FIELDS})
        self.head = Block("backwards", guard(CARE) + paragraphs(ABOUT), title="Solve it backwards")
        self.form = Form("What the resistor shall do", FIELDS, "look for it", self._asked)
        self.answer = Block("answer", spoken=True)
        self.apply = Buttons("the answer", {"use": self._use})
        super().__init__([self.head, self.form, self.answer, self.apply])
        state.observe(lambda _: self._wait(), "settled")
        self._wait()

    @property
    def wish(self) -> Wish:
        """What is looked for in the chain's stage: only one that inverts has gain to give."""
        inverts = self._state.chain.topology.inverts
        return self._typed if inverts else replace(self._typed, gain_db=Wish().gain_db)

    def _wait(self) -> None:
        self.found = None  # that of an earlier chain is not to be put into this one
        self._state.at_rest.put(self, self.look)

    def look(self) -> None:
        """Search again for the chain as it is."""
        chain, wish, choice = self._state.chain, self.wish, self.choice
        self.found = self.brings = None
        try:
            self.found = best_resistor(chain, wish, choice)
            if self.found is not None:
                self.brings = improvement(chain, self.found, wish, choice)
        except CircuitError as error:
            self.found = None
            self.answer.content = paragraphs(f"This could not be worked out for this chain: {error}")
        else:
            none = "No stage is in the chain." if not chain.topology.powered else (
                f"The {chain.topology.title} has no resistor of its own that could be looked for."
            )
            told = none if self.found is None else say.solved(chain, self.found, self.brings, choice)
            self.answer.content = paragraphs(told)
        there = self.found is not None and self.found.feasible and not self.changes
        offered = there or (self.brings is not None and bool(self.brings.brings))
        label = "it is in the chain" if there else f"put in: {say.resistors(self.found.changes)}" if offered else ""
        self.apply.show([{"word": "use", "label": label, "off": there}] if offered else [])

    @property
    def changes(self) -> dict[str, float]:
        """What of the answer is not in the chain yet."""
        found = {} if self.found is None else self.found.changes
        return {key: ohm for key, ohm in found.items() if self._state.chain[key] != ohm}

    def _asked(self, texts: Mapping[str, str]) -> str:
        self._typed, self.choice = wished(texts)
        self.look()
        return ""

    def _use(self) -> None:
        if self.found is not None and self.brings is not None and self.brings.brings:
            self._state.put(self._state.chain.but(self.found.changes))
