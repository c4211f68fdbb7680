"""Readings as a meter's display has them."""

from __future__ import annotations

import math

from piezolab.quantity import show
from piezolab.studies.faults.readings import INTERVAL, SWEPT, UNITS
from piezolab.studies.metering.instrument import Meter

OVER = "over range"
_MOST_FIGURES = 5
_RANGE_FIGURES = 3


def value_words(kind: str, value: float | str, digit: float | None = None) -> str:
    """A reading as the display has it, down to its last place where that is known; a sweep's with its interval."""
    if isinstance(value, str):
        return value
    if math.isinf(value):
        return OVER
    if not digit:
        return show(float(value), UNITS[kind])
    if kind in SWEPT:
        return f"{show(float(value), UNITS[kind])} {INTERVAL} {show(float(digit), UNITS[kind], 2)}"
    return _to_digit(kind, float(value), digit, _MOST_FIGURES)


def _to_digit(kind: str, value: float, digit: float, most: int) -> str:
    places = round(value / digit)
    if not places:
        return show(0.0, UNITS[kind])
    return show(places * digit, UNITS[kind], min(most, len(str(abs(places)))))


def on_display(kind: str, value: float | str, meter: Meter) -> str:
    """A value that is expected, as this meter would show it: no finer than its last place."""
    if isinstance(value, str) or math.isinf(value) or (kind in ("low", "high") and not meter.reads_ac):
        return value_words(kind, value)
    if kind in SWEPT:
        return show(float(value), UNITS[kind], 2)
    digit_of = {"dc": meter.volt_digit, "ohm": meter.ohm_digit}.get(kind, meter.ac_digit)
    return _to_digit(kind, float(value), float(digit_of(value)), _RANGE_FIGURES)
