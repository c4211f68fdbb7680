"""Student's t, without the library that would bring its own megabytes into every visitor's kernel."""

from __future__ import annotations

import math
from functools import lru_cache

MOST = 1000  # degrees of freedom, from which a normal distribution is as good


@lru_cache(256)
def quantile_t(freedom: int) -> float:
    """What 97.5 % of Student's t with a whole number of degrees of freedom lie below; from 1 (fewer count as 1)."""
    freedom = min(max(int(freedom), 1), MOST)
    low, high = 1.9, 13.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if _inside(middle, freedom) < 0.95 else (low, middle)
    return (low + high) / 2


def _inside(t: float, freedom: int) -> float:
    """The probability within -t and t (Abramowitz & Stegun 1964, 26.7.3 and 26.7.4, from memory)."""
    angle = math.atan(t / math.sqrt(freedom))
    square = math.cos(angle) ** 2
    if freedom % 2:
        if freedom == 1:
            return 2 * angle / math.pi
        term = total = math.cos(angle)
        for k in range(3, freedom - 1, 2):
            term *= square * (k - 1) / k
            total += term
        return 2 / math.pi * (angle + math.sin(angle) * total)
    term = total = 1.0
    for k in range(2, freedom - 1, 2):
        term *= square * (k - 1) / k
        total += term
    return math.sin(angle) * total
