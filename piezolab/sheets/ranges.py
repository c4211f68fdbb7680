"""Readings as a maker compares them with a display: ranges of volts and ohms, short enough for a table."""

from __future__ import annotations

import math

from piezolab.quantity import letter_code
from piezolab.studies.metering.expected import Expected

NOTHING_V = 5e-3  # below this a meter's zero wanders
OVER = "over range"
MARK = "1."  # which many displays show then
SAYS_NOTHING = "tells nothing here"


def volts(expected: Expected) -> str:
    """A range of volts: `0.47 to 2.21 V`, or `0 V`; one so wide that it is no use is told as that."""
    if expected.silent:
        return SAYS_NOTHING
    low, high = expected.low, expected.high
    if abs(low) < NOTHING_V and abs(high) < NOTHING_V:
        return "0 V"
    step = 0.01 if max(abs(low), abs(high)) < 20 else 0.1
    if max(abs(low), abs(high)) < 0.2:
        step = 0.001
    if abs(low) < NOTHING_V < high:
        low = 0.0
    elif abs(high) < NOTHING_V:
        high = 0.0
    # outwards, so that rounding never narrows what is allowed
    low, high = math.floor(low / step + 1e-9) * step, math.ceil(high / step - 1e-9) * step
    digits = max(0, round(-math.log10(step)))
    return f"{_signed(low, digits)} to {_signed(high, digits)} V"


def ends(expected: Expected) -> tuple[str, str]:
    """The two ends of a range of volts as `volts` writes them, each with its unit."""
    low, _, high = volts(expected).removesuffix(" V").partition(" to ")
    return f"{low} V", f"{high or low} V"


def ohms(expected: Expected) -> str:
    """A range of ohms in letter codes: `97k8 to 102k`, `over range`, `over 1M97`; or that it tells nothing."""
    if expected.silent:
        return SAYS_NOTHING
    low, high = expected.low, expected.high
    if math.isinf(low):
        return OVER
    if math.isinf(high):
        return f"over {_code(low, math.floor)}"
    return f"{_code(low, math.floor)} to {_code(high, math.ceil)}"


def ohms_cell(expected: Expected) -> str:
    """The same for a narrow table: `97k8–102k`, and what the display itself shows over its range: `1.`, `1M97–1.`."""
    told = ohms(expected)
    if told == OVER:
        return MARK
    return f"{told.removeprefix('over ')}–{MARK}" if told.startswith("over ") else told.replace(" to ", "–")


def _signed(value: float, digits: int) -> str:
    if abs(value) < 1e-9:
        return "0"
    text = f"{abs(value):.{digits}f}"
    return f"−{text}" if value < 0 and float(text) else text


def _code(ohm: float, way: type[math.floor] | object) -> str:
    """Three figures, rounded down or up."""
    if ohm < 0.5:
        return "0"
    step = 10.0 ** (math.floor(math.log10(ohm)) - 2)
    step = max(step, 1.0)
    return letter_code(float(f"{way(ohm / step) * step:.10g}"), "ohm")  # type: ignore[operator]
