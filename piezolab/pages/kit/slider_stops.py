"""Where a slider stops: preferred values on a logarithmic scale, round numbers on a linear one.

Preferred numbers (E24 of IEC 60063) so that what a slider shows can be bought; any other value can be typed.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from functools import lru_cache

from piezolab.chain.parameter import Quantity
from piezolab.quantity import preferred_between

_MOST_DECADES = 6  # of a slider that starts at 0
_LEAST = {"ohm": 1.0, "F": 10e-15, "V": 1e-6, "A": 1e-12, "V/rtHz": 0.1e-9, "Hz": 1.0}
_ROUND = (1.0, 2.0, 2.5, 5.0)
_MOST_STEPS = 160


@lru_cache(maxsize=256)
def steps(parameter: Quantity) -> tuple[float, ...]:
    """The stops of a slider over `parameter`, rising in size, both ends of its range among them."""
    low, high = parameter.low, parameter.high
    found = _linear(parameter) if parameter.linear else _logarithmic(low, high, parameter.unit)
    sign = -1.0 if parameter.negative else 1.0
    return tuple(sign * value for value in found)


def nearest_step(parameter: Quantity, value: float) -> int:
    """Number of the stop nearest to `value` on the slider's own scale."""
    sizes = _sizes(parameter)
    size = abs(value) if parameter.negative else value
    after = bisect_left(sizes, size)
    near = range(max(after - 1, 0), min(after + 1, len(sizes)))
    if not parameter.linear and size > 0:
        return min(near, key=lambda n: abs(math.log(sizes[n] / size)) if sizes[n] > 0 else math.inf)
    return min(near, key=lambda n: abs(sizes[n] - size))


@lru_cache(maxsize=256)
def _sizes(parameter: Quantity) -> tuple[float, ...]:
    stops = steps(parameter)
    return tuple(abs(stop) for stop in stops) if parameter.negative else stops


def _logarithmic(low: float, high: float, unit: str) -> list[float]:
    start = low if low > 0 else max(high / 10**_MOST_DECADES, _LEAST.get(unit, 0.0))
    return sorted({low, *preferred_between(start, high), high})


def _linear(parameter: Quantity) -> list[float]:
    """Round steps; finer near the bottom where the usual values are small against the range (cable lengths)."""
    low, high = parameter.low, parameter.high
    usual = parameter.default
    if low == 0 and usual is not None and 0 < usual < high / 10:
        return _graded(usual, high)
    step = next(s for s in _round_steps(high - low) if (high - low) / s <= _MOST_STEPS)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return sorted({low, *(_clean(n * step) for n in range(first, last + 1)), high})


def _graded(usual: float, high: float) -> list[float]:
    found, value = [0.0], 0.0
    fine = next(s for s in _round_steps(usual) if usual / s <= 12)
    while value < high - 1e-9:
        reach = max(value, 4 * usual) / (4 * usual)
        step = next(s for s in _round_steps(fine) if s >= fine * reach * 0.999)
        value = min(_clean((math.floor(value / step + 1e-9) + 1) * step), high)
        found.append(value)
    return found


def _round_steps(about: float):
    """Round numbers, rising, from far below `about`."""
    decade = math.floor(math.log10(about)) - 4
    while True:
        yield from (_clean(m * 10.0**decade) for m in _ROUND)
        decade += 1


def _clean(value: float) -> float:
    return float(f"{value:.9g}")
