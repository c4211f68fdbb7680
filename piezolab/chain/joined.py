"""Settings that hold several values in one text: quantities, words or notes, joined.

As :mod:`piezolab.chain.parameter`: each knows how its value is read, written and checked.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from piezolab.chain.parameter import Choice, Parameter, Quantity, short
from piezolab.quantity import QuantityError


@dataclass(frozen=True)
class Several(Parameter):
    """Several quantities in a fixed order, joined by commas; None means that there is none.

    `parts` are quantities that bear the same key; their own labels name them in errors.
    """

    parts: tuple[Quantity, ...] = ()

    @property
    def as_typed(self) -> Several:
        return replace(self, typed=True, parts=tuple(part.as_typed for part in self.parts))

    def read(self, text: str) -> tuple[float, ...] | None:
        if text.strip().lower() == "none":
            return None
        words = text.split(",")
        if len(words) != len(self.parts):
            raise self.refuse(text, f"is not {len(self.parts)} values joined by commas")
        return self.check(tuple(part.read(word) for part, word in zip(self.parts, words, strict=True)))

    def write(self, value: tuple[float, ...] | None) -> str:
        if value is None:
            return "none"
        return ",".join(part.write(v) for part, v in zip(self.parts, value, strict=True))

    def check(self, value: Any) -> tuple[float, ...] | None:
        if value is None:
            return None
        if not isinstance(value, tuple | list) or len(value) != len(self.parts):
            raise self.refuse(value, f"is not {len(self.parts)} values")
        return tuple(part.check(v) for part, v in zip(self.parts, value, strict=True))

    def show(self, value: tuple[float, ...] | None) -> str:
        if value is None:
            return "none"
        return ", ".join(f"{part.label} {part.show(v)}" for part, v in zip(self.parts, value, strict=True))

    @property
    def allowed(self) -> str:
        return "none, or " + ", ".join(f"{part.label} from {part.allowed}" for part in self.parts)


@dataclass(frozen=True)
class Words(Choice):
    """One or two of several words, joined by a comma; the value is a tuple of words."""

    most: int = 2

    def read(self, text: str) -> tuple[str, ...]:
        return self.check(tuple(word.strip() for word in text.split(",")))

    def write(self, value: tuple[str, ...]) -> str:
        return ",".join(value)

    def check(self, value: Any) -> tuple[str, ...]:
        if isinstance(value, str):
            value = (value,)
        if not isinstance(value, tuple | list) or not 1 <= len(value) <= self.most:
            text = ",".join(map(short, value)) if isinstance(value, tuple | list) else value
            raise self.refuse(text, "is not one or two kinds")
        return tuple(Choice.check(self, word) for word in value)

    def show(self, value: tuple[str, ...]) -> str:
        return " and ".join(self.choices.get(word, word) for word in value)

    @property
    def allowed(self) -> str:
        return f"one or two of {Choice.allowed.fget(self)}"


@dataclass(frozen=True)
class Tuning(Parameter):
    """Strings, low to high: note names joined by hyphens; the value is the canonical text."""

    def read(self, text: str) -> str:
        return self.check(text)

    def write(self, value: str) -> str:
        return value

    def check(self, value: Any) -> str:
        from piezolab.pitch import format_tuning, parse_tuning

        if not isinstance(value, str):
            raise self.refuse(value, "is not a tuning")
        try:
            return format_tuning(parse_tuning(value, what=self.named))
        except QuantityError as error:
            raise self._refused_by(error) from None

    def show(self, value: str) -> str:
        from piezolab.pitch import parse_tuning

        return " ".join(note.display for note in parse_tuning(value))

    @property
    def allowed(self) -> str:
        return "1 to 12 notes from A0 to C8, such as D3-A3-D4"
