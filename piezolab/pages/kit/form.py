"""A small form: fields of text or choice, one button, and the package's answer beside it.

What is typed travels as text when the button is pressed; the package reads it and answers. A field that was refused
keeps what was typed.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import traitlets

from piezolab.fields import parse_field
from piezolab.pages.kit.piece import STATIC, Piece, script

MOST_ENTRY = 60  # characters of one field


@dataclass(frozen=True)
class Field:
    """One field. name: word; label, hint: for people; unit: shown behind; value: at first; options: (word, label)
    pairs of a choice, none for a text; tick: it is a box to be ticked, `yes` or empty; more: stands under the fold;
    most: characters it takes."""

    name: str
    label: str
    unit: str = ""
    value: str = ""
    hint: str = ""
    options: tuple[tuple[str, str], ...] = ()
    more: bool = False
    most: int = MOST_ENTRY
    tick: bool = False


class FieldError(ValueError):
    """A field that cannot be taken; its sentence is shown at the field, or under the form where `name` is no field.

    every: the sentences by field where there are several.
    """

    def __init__(self, name: str, sentence: str, every: Mapping[str, str] | None = None) -> None:
        self.name, self.sentence = name, sentence
        self.every = dict(every or {name: sentence})
        super().__init__(sentence)


class Form(Piece):
    """See the module. `asked` gets the fields' texts by name and returns a sentence, or raises FieldError."""

    _esm = script("form.js")
    _css = STATIC / "form.css"
    words = {"submit": "_submitted"}

    fields = traitlets.List().tag(sync=True)
    title = traitlets.Unicode("").tag(sync=True)
    button = traitlets.Unicode("").tag(sync=True)
    more = traitlets.Unicode("").tag(sync=True)
    #: A sentence or two between title and fields.
    about = traitlets.Unicode("").tag(sync=True)
    values = traitlets.Dict().tag(sync=True)
    wrong = traitlets.Dict().tag(sync=True)
    said = traitlets.Unicode("").tag(sync=True)

    def __init__(
        self,
        title: str,
        fields: Sequence[Field],
        button: str,
        asked: Callable[[Mapping[str, str]], str],
        more: str = "",
        about: str = "",
    ) -> None:
        super().__init__(
            about=about, title=title, fields=[asdict(field) for field in fields], button=button, more=more,
            values={field.name: field.value for field in fields},
        )  # fmt: skip
        self._most = {field.name: field.most for field in fields}
        self._options = {
            field.name: {"yes", ""} if field.tick else {word for word, _ in field.options} for field in fields
        }
        self._asked = asked

    def fill(self, values: Mapping[str, str]) -> None:
        """Put texts into fields, those of other names left out."""
        self.values = {**self.values, **{name: text for name, text in values.items() if name in self._options}}

    def submit(self, values: Mapping[str, Any]) -> bool:
        """Answer the fields' texts as the button does; True where they were taken."""
        self.wrong, self.said = {}, ""
        taken = dict(self.values)
        for name in self._options:
            text = values.get(name, taken[name])
            if not self._fits(name, text):
                self.wrong = {name: "This entry is no text that can be read."}
                return False
            taken[name] = text.strip()
        self.values = taken
        try:
            self.said = self._asked(taken)
        except FieldError as error:
            if error.name in self._options:
                self.wrong = error.every
            else:
                self.said = error.sentence
            return False
        return True

    def _fits(self, name: str, text: object) -> bool:
        """Whether what came from the browser can be this field's text."""
        options = self._options[name]
        return isinstance(text, str) and len(text) <= self._most[name] and (not options or text in options)

    def _submitted(self, content: dict[str, Any]) -> None:
        values = content.get("values")
        if isinstance(values, dict):
            self.submit(values)


def last_digit(text: str, unit: str) -> float:
    """What one step of the last digit of a reading is worth: 10 mV for 1.23 V. Raises QuantityError."""
    digits = list(re.finditer(r"[0-9]", re.split(r"[eE][+-]?[0-9]", text)[0]))
    if not digits:
        return 0.0
    at = digits[-1].start()
    other = str(int(text[at]) + (1 if text[at] < "9" else -1))
    return abs(parse_field(text[:at] + other + text[at + 1 :], unit) - parse_field(text, unit))
