"""One setting of a chain: its key in the link, what people read, its default and what it may be.

A parameter knows how its value is read from text, written as text and checked; nothing else in the project does.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from numbers import Real
from typing import Any

from piezolab.fields import parse_field
from piezolab.quantity import QuantityError, letter_code, parse, show


class ParameterError(ValueError):
    """A value that a parameter does not take; the message is one sentence with label, value and allowed range."""


@dataclass(frozen=True)
class Parameter:
    """Base of all kinds. `default` may be None: then the value comes from elsewhere (see `optional_from`).

    key: word in the share link; label: on screen; group: which part of the chain it belongs to; hint: one plain
    sentence for the tool-tip; optional_from: where a value that was not entered comes from ("the type", ...); typed:
    see `as_typed`.
    """

    key: str
    label: str
    group: str
    default: Any = None
    hint: str = ""
    optional_from: str = ""
    typed: bool = field(default=False, kw_only=True)

    def read(self, text: str) -> Any:
        """The value that a text means. Raises ParameterError."""
        raise NotImplementedError

    def write(self, value: Any) -> str:
        """The canonical text, which `read` turns back into exactly this value."""
        raise NotImplementedError

    def check(self, value: Any) -> Any:
        """The value in canonical form. Raises ParameterError."""
        raise NotImplementedError

    def show(self, value: Any) -> str:
        """The value for people, with its unit."""
        return self.write(value)

    @property
    def allowed(self) -> str:
        """What is allowed, as the end of a sentence."""
        raise NotImplementedError

    @property
    def as_typed(self) -> Parameter:
        """The same parameter for a field of a page: `read` takes what `parse_field` takes, refusals name no key."""
        return replace(self, typed=True)

    @property
    def named(self) -> str:
        """What a refusal starts with: the label, then, but for a field, the key where it is another word."""
        return self.label if self.typed or self.label == self.key else f"{self.label} ({self.key})"

    def refuse(self, value: object, why: str = "cannot be used") -> ParameterError:
        """The error for a value: label, key, value, allowed range, in one sentence."""
        return ParameterError(f"{self.named}: {short(value)!r} {why}; allowed is {self.allowed}.")

    def _refused_by(self, error: QuantityError) -> ParameterError:
        """The same refusal with the allowed range, on one line whatever the text held."""
        message = str(error).rstrip(".")
        if not message.isprintable():
            message = "".join(c if c.isprintable() else repr(c)[1:-1] for c in message)
        end = " Allowed is" if message.endswith("?") else "; allowed is"
        return ParameterError(f"{message}{end} {self.allowed}.")


def short(value: object, most: int = 60) -> str:
    """A value as text for a sentence, cut where it is long."""
    if isinstance(value, str):
        text = value
    else:
        try:
            text = repr(value)
        except Exception:  # an object, or an integer of thousands of digits, that cannot be shown
            text = type(value).__name__
    text = " ".join(text.split())
    return text if len(text) <= most else text[: most - 3] + "..."


def _number(value: Any) -> float | None:
    """The value as a float, numpy's scalars included; None where it is no finite number."""
    if isinstance(value, bool) or not isinstance(value, Real):
        return None
    try:
        number = float(value)
    except (OverflowError, ValueError):
        return None
    return number if math.isfinite(number) else None


@dataclass(frozen=True)
class Quantity(Parameter):
    """A physical value in the SI base unit `unit`, from `low` to `high`.

    negative: known to be below zero by its nature: either sign is read, the negative is kept, and `low` to `high` bound
    its size; linear: a slider over it is linear, not logarithmic.
    """

    unit: str = ""
    low: float = 0.0
    high: float = math.inf
    negative: bool = False
    linear: bool = False

    def read(self, text: str) -> float:
        try:
            value = (parse_field if self.typed else parse)(text, self.unit, what=self.named)
        except QuantityError as error:
            raise self._refused_by(error) from None
        return self._within(value, text)

    def write(self, value: float) -> str:
        return letter_code(value, self.unit)

    def check(self, value: Any) -> float:
        number = _number(value)
        if number is None:
            raise self.refuse(value, "is not a finite number")
        return self._within(number)

    def _takes(self, value: float) -> bool:
        return self.low <= (abs(value) if self.negative else value) <= self.high

    def _within(self, value: float, text: str = "") -> float:
        """The value if it is taken. Raises ParameterError that shows it as written, or with as many digits as tell it
        from what would be taken."""
        if not self._takes(value):
            rounded = {n: float(f"{value:.{n}g}") for n in range(1, 17)}
            exact = next((n for n in range(1, 8) if rounded[n] == value), 17)
            telling = next((n for n in (3, 6, 9, 12, 15) if not self._takes(rounded[n])), 17)
            raise self.refuse(text or show(value, self.unit, min(exact, telling)), self._outside)
        return -abs(value) if self.negative else value + 0.0  # no negative zero

    _outside = "is out of range"

    def show(self, value: float) -> str:
        return show(value, self.unit)

    @property
    def allowed(self) -> str:
        sign = ", either sign" if self.negative else ""
        return f"{bound(self.low, self.unit)} to {bound(self.high, self.unit)}{sign}"


def bound(value: float, unit: str) -> str:
    """A bound without idle zeros: 1 GΩ, 0.05, 120 dB."""
    digits = next(n for n in (1, 2, 3) if n == 3 or math.isclose(float(f"{value:.{n}g}"), value))
    return show(value, unit, digits).replace(".0 dB", " dB")


@dataclass(frozen=True)
class Choice(Parameter):
    """One of several words. `options` maps each word to its label, or is a function that loads them when asked."""

    options: Mapping[str, str] | Callable[[], Mapping[str, str]] = ()

    @property
    def choices(self) -> Mapping[str, str]:
        """Word -> label."""
        return self.options() if callable(self.options) else self.options

    def read(self, text: str) -> str:
        return self.check(text.strip())

    def write(self, value: str) -> str:
        return value

    def check(self, value: Any) -> str:
        if not isinstance(value, str) or value not in self.choices:
            same = [word for word in self.choices if isinstance(value, str) and word.lower() == value.lower()]
            if same:
                return same[0]
            raise self.refuse(value, "is not known")
        return value

    def show(self, value: str) -> str:
        return self.choices.get(value, value)

    @property
    def allowed(self) -> str:
        words = list(self.choices)
        return " or ".join(words) if len(words) < 3 else ", ".join(words[:-1]) + " or " + words[-1]


@dataclass(frozen=True)
class Picked(Quantity):
    """A number that is picked from a list, never measured."""

    picks: tuple[float, ...] = ()
    _outside = "is not in the list"

    def _takes(self, value: float) -> bool:
        return value in self.picks

    @property
    def allowed(self) -> str:
        words = [f"{pick:g} {self.unit}".strip() for pick in self.picks]
        return " or ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
