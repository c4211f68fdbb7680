"""Preferred numbers (IEC 60063) and what is marked on resistors and capacitors (IEC 60062).

Internal to the ground floor: other modules use :mod:`piezolab.quantity`, which re-exports these names.
The tables are from memory of IEC 60063:2015 and IEC 60062:2016.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from decimal import Decimal
from functools import cache
from typing import TYPE_CHECKING

from piezolab.units import QuantityError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

SERIES_NAMES = ("E3", "E6", "E12", "E24", "E48", "E96", "E192")
# Set by the standard, not by rounding: 2.7 to 4.7 and 8.2 differ from 10^(i/24).
_E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)


@cache
def _mantissas(name: str) -> tuple[int, ...]:
    """The series' values as whole hundredths, 100 to 999."""
    if name not in SERIES_NAMES:
        raise QuantityError(f"series: {name!r} is not known; use one of {', '.join(SERIES_NAMES)}.")
    size = int(name[1:])
    if size <= 24:
        return tuple(10 * v for v in _E24[:: 24 // size])
    # 10^(185/192) rounds to 9.19; the standard has 9.20.
    return tuple(920 if v == 919 else v for v in (round(100 * 10 ** (i / size)) for i in range(size)))


def _listed(numbers: Iterable[float]) -> str:
    return ", ".join(f"{number:g}" for number in numbers)


def _exact(mantissa: int, power: int) -> float:
    """mantissa·10^power as the float that the decimal text stands for."""
    return float(f"{int(mantissa)}e{int(power)}")


def series(name: str) -> tuple[float, ...]:
    """One decade, 1 to 9.99, of a preferred-number series: E3, E6, E12, E24, E48, E96 or E192 (IEC 60063)."""
    return tuple(_exact(m, -2) for m in _mantissas(name))


def nearest_preferred(value: ArrayLike, series: str = "E24") -> float | NDArray:
    """The preferred number whose ratio to ``value`` is nearest to 1 (any unit, any shape).

    Exact ties go to the lower number. Raises :class:`QuantityError` unless every value is positive and
    finite.
    """
    import numpy as np

    mantissas = np.array((*_mantissas(series), 1000))
    values = np.asarray(value, dtype=float)
    if not np.all(np.isfinite(values) & (values > 0)):
        raise QuantityError(f"value: {value} has no nearest preferred number; it must be above 0 and finite.")
    logs = np.log10(values)
    decade = np.floor(logs)
    steps = np.log10(mantissas) - 2
    chosen = np.searchsorted((steps[1:] + steps[:-1]) / 2, logs - decade)
    found = [_exact(m, d - 2) for m, d in zip(mantissas[chosen].flat, decade.flat, strict=True)]
    return np.array(found).reshape(values.shape) if values.ndim else found[0]


def preferred_between(low: float, high: float, series: str = "E24") -> tuple[float, ...]:
    """All preferred numbers from ``low`` to ``high``, both included, rising.

    Raises :class:`QuantityError` unless 0 < low <= high < infinity.
    """
    if not (0 < low <= high < math.inf):
        raise QuantityError(
            f"range: {low} to {high} is not a range; the limits must be above 0, finite and in rising order."
        )
    decades = range(math.floor(math.log10(low)) - 1, math.floor(math.log10(high)) + 2)
    return tuple(v for d in decades for m in _mantissas(series) if low <= (v := _exact(m, d - 2)) <= high)


# --- colour bands: IEC 60062:2016, table 1; older parts: a grey tolerance band meant 0.05 % ---

_DIGIT_COLOURS = ("black", "brown", "red", "orange", "yellow", "green", "blue", "violet", "grey", "white")
_MULTIPLIERS = {"pink": -3, "silver": -2, "gold": -1, **{c: i for i, c in enumerate(_DIGIT_COLOURS)}}
_TOLERANCES = {
    "silver": 10.0,
    "gold": 5.0,
    "brown": 1.0,
    "red": 2.0,
    "orange": 0.05,
    "yellow": 0.02,
    "green": 0.5,
    "blue": 0.25,
    "violet": 0.1,
    "grey": 0.01,
}
_SPELLINGS = {"gray": "grey", "purple": "violet"}


def colour_bands(value_ohm: float, tolerance_percent: float, digits: int = 2) -> tuple[str, ...]:
    """Colours of a resistor's bands: 2 or 3 figures (``digits``), multiplier, tolerance (no band for 20 %).

    Raises :class:`QuantityError` for a value or tolerance that the bands cannot express exactly.
    """
    if digits not in (2, 3):
        raise QuantityError(f"digits: {digits!r} is not possible; resistors carry 2 or 3 figure bands.")
    lowest, highest = _exact(10 ** (digits - 1), -3), _exact(10**digits - 1, 9)
    if not (math.isfinite(value_ohm) and lowest <= value_ohm <= highest):
        raise QuantityError(
            f"resistance: {value_ohm} ohm is out of range; {digits} figure bands reach from {lowest:g} to "
            f"{highest:g} ohm."
        )
    exact = Decimal(repr(float(value_ohm)))
    power = exact.adjusted() - digits + 1
    figures = exact.scaleb(-power)
    if figures != figures.to_integral_value():
        raise QuantityError(
            f"resistance: {value_ohm} ohm has more figures than {digits} figure bands can show."
        )
    multiplier = next(c for c, p in _MULTIPLIERS.items() if p == power)
    colours = (*(_DIGIT_COLOURS[int(d)] for d in str(int(figures))), multiplier)
    if tolerance_percent == 20 and digits == 2:
        return colours
    for colour, percent in _TOLERANCES.items():
        if percent == tolerance_percent:
            return (*colours, colour)
    allowed = sorted({*_TOLERANCES.values(), *([20.0] if digits == 2 else [])})
    raise QuantityError(f"tolerance: {tolerance_percent} % has no colour; use one of {_listed(allowed)} %.")


def from_colour_bands(bands: Sequence[str]) -> tuple[float, float]:
    """Resistance in ohms and tolerance in per cent of 3, 4 or 5 colour bands.

    Capitals do not matter; ``gray`` and ``purple`` are understood. Raises :class:`QuantityError` for bands
    with no meaning.
    """
    names = [_SPELLINGS.get(name, name) for name in (str(band).strip().lower() for band in bands)]
    if len(names) not in (3, 4, 5):
        raise QuantityError(
            f"bands: there are {len(names)}, but 3 to 5 can be read; leave out a sixth (temperature)."
        )
    figures = names[: 3 if len(names) == 5 else 2]
    if names[0] in ("gold", "silver", "black"):
        raise QuantityError(f"bands: no value begins with {names[0]}; read them from the other end.")
    for place, name in enumerate(names, 1):
        known = (
            _DIGIT_COLOURS
            if place <= len(figures)
            else _MULTIPLIERS
            if place == len(figures) + 1
            else _TOLERANCES
        )
        if name not in known:
            raise QuantityError(
                f"bands: {name[:20]!r} has no meaning as band {place}; use one of {', '.join(known)}."
            )
    number = int("".join(str(_DIGIT_COLOURS.index(name)) for name in figures))
    tolerance = _TOLERANCES[names[-1]] if len(names) > 3 else 20.0
    return _exact(number, _MULTIPLIERS[names[len(figures)]]), tolerance


# --- three-digit code of capacitors, in pF: two figures, number of noughts; 9 and 8 mean x0.1 and x0.01 ---

_TOLERANCE_LETTERS = {
    "E": 0.005,
    "L": 0.01,
    "P": 0.02,
    "W": 0.05,
    "B": 0.1,
    "C": 0.25,
    "D": 0.5,
    "F": 1.0,
    "G": 2.0,
    "J": 5.0,
    "K": 10.0,
    "M": 20.0,
    "N": 30.0,
}
_LOPSIDED_LETTERS = {"Q": (-10.0, 30.0), "T": (-10.0, 50.0), "S": (-20.0, 50.0), "Z": (-20.0, 80.0)}


def three_digit_code(farad: float) -> str:
    """Marking of a capacitance in F: ``"153"`` is 15 nF, ``"479"`` is 4.7 pF.

    Raises :class:`QuantityError` unless the value has at most two figures and lies between 0.1 pF and 990 µF.
    """
    if not (math.isfinite(farad) and 0.99e-13 < farad < 1e-3):
        raise QuantityError(
            f"capacitance: {farad} F has no three-digit code; it must be from 1e-13 to 9.9e-4 F."
        )
    picofarad = Decimal(repr(float(farad))).scaleb(12)
    noughts = picofarad.adjusted() - 1
    figures = picofarad.scaleb(-noughts)
    if figures != figures.to_integral_value():
        raise QuantityError(
            f"capacitance: {farad} F has more than the two figures that a three-digit code can show."
        )
    return f"{int(figures)}{noughts if noughts >= 0 else 10 + noughts}"


def from_three_digit_code(code: str) -> float:
    """Capacitance in F of a three-digit marking, with or without a tolerance letter (``153``, ``153K``).

    Raises :class:`QuantityError` for anything else.
    """
    text = str(code).strip()
    digits, letter = text[:3], text[3:]
    if not (len(digits) == 3 and digits.isascii() and digits.isdigit() and digits[0] != "0"):
        raise QuantityError(f"capacitor code: {text[:20]!r} cannot be read; write three digits such as 153.")
    if letter:
        tolerance_from_letter(letter)
    noughts = int(digits[2])
    return _exact(int(digits[:2]), (noughts if noughts < 8 else noughts - 10) - 12)


def tolerance_letter(percent: float) -> str:
    """Letter for a symmetrical tolerance in per cent: 5 gives ``J``. Raises :class:`QuantityError`."""
    for letter, known in _TOLERANCE_LETTERS.items():
        if known == percent:
            return letter
    raise QuantityError(
        f"tolerance: {percent} % has no letter; use one of {_listed(_TOLERANCE_LETTERS.values())} %."
    )


def tolerance_from_letter(letter: str) -> tuple[float, float]:
    """Lower and upper limit in per cent: ``K`` gives (−10, 10), ``Z`` gives (−20, 80).

    On capacitors below 10 pF the letters B, C, D, F, G stand for pF instead (0.1, 0.25, 0.5, 1, 2).
    Raises :class:`QuantityError` for another letter.
    """
    if letter in _TOLERANCE_LETTERS:
        return -_TOLERANCE_LETTERS[letter], _TOLERANCE_LETTERS[letter]
    if letter in _LOPSIDED_LETTERS:
        return _LOPSIDED_LETTERS[letter]
    known = ", ".join((*_TOLERANCE_LETTERS, *_LOPSIDED_LETTERS))
    raise QuantityError(f"tolerance letter: {letter[:20]!r} is not known; use one of {known}.")
