"""Kinds of option that a build needs beside those of a chain: millimetres, sides, percent, legs, short labels."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from piezolab.chain.parameter import Choice, Parameter, Quantity
from piezolab.quantity import QuantityError, parse


@dataclass(frozen=True)
class Signed(Quantity):
    """A number with an idle sign behind it, left out at will: 5 mm, 1 %.

    sign: what is written behind; times: written number for a value of 1, so 100 for a part in percent. A bare number of
    millimetres would be metres in a `Quantity`, and 1 would be 100 %.
    """

    sign: str = ""
    times: float = 1.0

    def read(self, text: str) -> float:
        return self._within(round(_number(self, text, self.sign) / self.times, 12), text.strip())

    def write(self, value: float) -> str:
        return f"{self.times * value:.10g}"

    def show(self, value: float) -> str:
        return f"{self.write(value)} {self.sign}"

    def _within(self, value: float, text: str = "") -> float:
        if not self._takes(value):
            raise self.refuse(text or self.show(value), self._outside)
        return value

    @property
    def allowed(self) -> str:
        return f"{self.write(self.low)} to {self.show(self.high)}"


@dataclass(frozen=True)
class Whole(Quantity):
    """A whole number from `low` to `high`."""

    def read(self, text: str) -> int:
        return self._whole(super().read(text), text)

    def check(self, value: Any) -> int:
        return self._whole(super().check(value), value)

    def _whole(self, value: float, given: Any) -> int:
        if value % 1:
            raise self.refuse(given, "is no whole number")
        return int(value)

    @property
    def allowed(self) -> str:
        return f"a whole number from {self.low:.0f} to {self.high:.0f}"


@dataclass(frozen=True)
class Sides(Parameter):
    """Width and height in mm, such as 60x40; each from `low` to `high`."""

    low: float = 0.0
    high: float = 0.0

    def read(self, text: str) -> tuple[float, float]:
        words = text.lower().replace("×", "x").split("x")
        try:
            wide, tall = (_number(self, word, "mm") for word in words)
        except ValueError:  # of another count too
            raise self.refuse(text, "is no width and height") from None
        return self._within(wide, tall, text.strip())

    def write(self, value: tuple[float, float]) -> str:
        return "x".join(f"{side:.10g}" for side in value)

    def show(self, value: tuple[float, float]) -> str:
        return " × ".join(f"{side:g}" for side in value) + " mm"

    def check(self, value: Any) -> tuple[float, float]:
        fits = isinstance(value, tuple | list) and len(value) == 2
        if not fits or not all(isinstance(side, int | float) and not isinstance(side, bool) for side in value):
            raise self.refuse(value, "is no width and height")
        return self._within(float(value[0]), float(value[1]), "x".join(f"{side:g}" for side in value))

    def _within(self, wide: float, tall: float, text: str) -> tuple[float, float]:
        if not all(self.low <= side <= self.high for side in (wide, tall)):
            raise self.refuse(text, "is out of range")
        return wide, tall

    @property
    def allowed(self) -> str:
        return f"width x height, each {self.low:g} to {self.high:g} mm, such as 60x40"


@dataclass(frozen=True)
class Legs(Choice):
    """An order of a transistor's legs, as letters with or without spaces or dashes between them."""

    def check(self, value: Any) -> str:
        order = " ".join(value.upper().replace(" ", "").replace("-", "")) if isinstance(value, str) else ""
        if order not in self.choices:
            raise self.refuse(value, "is no order of legs")
        return order


@dataclass(frozen=True)
class Label(Parameter):
    """A short text that is only shown: 1 to `most` characters."""

    most: int = 8

    def read(self, text: str) -> str:
        return self.check(text.strip())

    def write(self, value: str) -> str:
        return value

    def check(self, value: Any) -> str:
        if not isinstance(value, str) or not 1 <= len(value) <= self.most or not value.isprintable():
            raise self.refuse(value)
        return value

    @property
    def allowed(self) -> str:
        return f"1 to {self.most} characters"


def _number(option: Parameter, text: str, sign: str) -> float:
    """The number before an idle sign. Raises ParameterError that shows the text as it was written."""
    bare = text.strip()
    if bare.lower().endswith(sign):
        bare = bare[: -len(sign)]
    try:
        if "%" in bare:  # which `parse` takes for hundredths
            raise QuantityError(bare)
        return parse(bare, what=option.named)
    except QuantityError:
        raise option.refuse(text, "cannot be read") from None
