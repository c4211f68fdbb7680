"""Readings as a meter's display has them."""

from __future__ import annotations

import math

from piezolab.quantity import show
from piezolab.studies.faults.readings import INTERVAL, SWEPT, UNITS
from piezolab.studies.metering.instrument import Meter

OVER = "over range"
_MOST_FIGURES = 5
_RANGE_FIGURES = 3
_MOST_PLACES = 3
_SWEPT_DIGITS = {"corner": 0.1, "level": 0.1, "bend": 1e-4}  # what is expected of a sweep is told no finer


def value_words(kind: str, value: float | str, digit: float | None = None) -> str:
    """A reading as the display has it, down to its last place where that is known; a sweep's with its interval."""
    if isinstance(value, str):
        return value
    if math.isinf(value):
        return OVER
    if not digit:
        return show(float(value), UNITS[kind])
    if kind in SWEPT:
        return _with_interval(float(value), float(digit), UNITS[kind])
    return _to_digit(kind, float(value), digit, _MOST_FIGURES)


def _with_interval(value: float, half: float, unit: str) -> str:
    """Both down to the first figure of the interval, the unit once; no interval where it is as good as none."""
    places = min(max(-math.floor(math.log10(half)), 0), _MOST_PLACES)
    said = f"{value:.{places}f}".replace("-", "−")
    if round(half, places):
        said += f" {INTERVAL} {half:.{places}f}"
    return f"{said} {unit}".strip()


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
        return _to_digit(kind, float(value), _SWEPT_DIGITS[kind], 2)
    digit_of = {"dc": meter.volt_digit, "ohm": meter.ohm_digit}.get(kind, meter.ac_digit)
    return _to_digit(kind, float(value), float(digit_of(value)), _RANGE_FIGURES)
