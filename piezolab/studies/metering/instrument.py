"""A hand-held meter: how it loads what it measures, what its display resolves, and how far it may be out.

An ohms range is a voltage behind a resistor. The lowest one is another matter than the rest: it drives about a
milliampere from nearly 3 V, so that junctions conduct and weak channels saturate; the others stay at a few tenths of a
volt, behind half of what they can show. Values of ordinary 3 1/2-digit meters; common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from piezolab.chain.parameter import Parameter
from piezolab.studies.build_options import OPTIONS

Value = float | np.ndarray
_MOST_TEST_OHM = 5e8  # no hand-held meter tests through more
_NEAR = 0.99  # a display to 1999 counts as one of 2000


@dataclass(frozen=True)
class OhmRange:
    """top: largest ohm shown; digit: last place, ohm; volt, ohm: what it tests with, a voltage behind a resistor."""

    top: float
    digit: float
    volt: float
    ohm: float


@dataclass(frozen=True)
class Meter:
    """A meter as its user states it.

    input_ohm: on volts, ohm; counts: largest number shown; accuracy: part of the reading; digits: counts of the last
    place; ac_ranges: full scales in V (none: no usable AC; None: those of the display); ohm_max: largest resistance
    shown, ohm; test_v: open voltage of its ohms ranges but the lowest; low_v, low_a: open voltage and short-circuit
    current of that. Raises ParameterError, a ValueError.
    """

    input_ohm: float = OPTIONS["meter_ohm"].default
    counts: int = OPTIONS["counts"].default
    accuracy: float = OPTIONS["accuracy"].default
    digits: int = OPTIONS["digits"].default
    ac_ranges: tuple[float, ...] | None = None
    ohm_max: float = OPTIONS["ohm_max"].default
    test_v: float = OPTIONS["test_v"].default
    low_v: float = OPTIONS["low_v"].default
    low_a: float = OPTIONS["low_a"].default

    def __post_init__(self) -> None:
        for field, option in _CHECKED.items():
            option.check(getattr(self, field))

    @property
    def reads_ac(self) -> bool:
        """Whether it has a usable AC range."""
        return self.ac_ranges is None or bool(self.ac_ranges)

    @property
    def volt_ranges(self) -> tuple[float, ...]:
        """Full scales on DC volts: 0.2, 2, 20 and 200 V with 2000 counts, 0.4 to 400 V with 4000."""
        return tuple(self._leading * part for part in (0.1, 1.0, 10.0, 100.0))

    @cached_property
    def ohm_ranges(self) -> tuple[OhmRange, ...]:
        """The ohms ranges, lowest first: in decades from the display's, 200 ohm with 2000 counts, to `ohm_max`."""
        found: list[OhmRange] = []
        scale = self._leading * 100
        while not found or found[-1].top < self.ohm_max:
            top = self.ohm_max if scale >= _NEAR * self.ohm_max else scale
            volt, ohm = (self.test_v, min(top / 2, _MOST_TEST_OHM)) if found else (self.low_v, self.low_v / self.low_a)
            found.append(OhmRange(top, scale / self.counts, volt, ohm))
            scale *= 10
        return tuple(found)

    @property
    def test_ohm(self) -> float:
        """What the highest ohms range tests through, ohm."""
        return min(self.ohm_max / 2, _MOST_TEST_OHM)

    def volt_digit(self, volt: Value) -> np.ndarray:
        """The last place in V on the lowest range that holds the voltage."""
        return _full_scale(np.abs(volt), self.volt_ranges) / self.counts

    def ac_digit(self, volt: Value) -> np.ndarray:
        """The last place in V on the lowest AC range that holds the voltage. Raises ValueError with no AC range."""
        if not self.reads_ac:
            raise ValueError("meter, AC ranges: none; allowed is at least one.")
        ranges = self.volt_ranges[1:] if self.ac_ranges is None else self.ac_ranges
        return _full_scale(np.abs(volt), ranges) / self.counts

    def ohm_digit(self, ohm: Value) -> np.ndarray:
        """The last place in ohm on the lowest range that holds the resistance."""
        tops = np.array([each.top for each in self.ohm_ranges])
        digits = np.array([each.digit for each in self.ohm_ranges])
        return digits[np.minimum(np.searchsorted(tops, np.abs(ohm)), len(tops) - 1)]

    def error(self, value: Value, digit: Value) -> np.ndarray:
        """How far a reading may be out: its part of the reading and its last places."""
        return self.accuracy * np.abs(value) + self.digits * np.asarray(digit)

    def shown(self, value: Value, digit: Value) -> np.ndarray:
        """The value as the display shows it."""
        return np.round(np.asarray(value) / digit) * digit

    def beside(self, ohm: float) -> tuple[float, float]:
        """For a resistor of more than `ohm_max`: one in ohm to lay beside it, half of that, and what both then read."""
        known = 0.5 * self.ohm_max
        return known, ohm * known / (ohm + known)

    @property
    def _leading(self) -> float:
        """The largest number shown with its point behind the first figure: 2 for 2000 counts."""
        return self.counts / 10.0 ** (len(str(self.counts)) - 1)


#: Field -> the maker's option that says what it may be.
_CHECKED: dict[str, Parameter] = {
    "input_ohm": OPTIONS["meter_ohm"],
    **{key: OPTIONS[key] for key in ("counts", "accuracy", "digits", "ohm_max", "test_v", "low_v", "low_a")},
}


def _full_scale(size: Value, ranges: tuple[float, ...]) -> np.ndarray:
    scales = np.asarray(ranges)
    return scales[np.minimum(np.searchsorted(scales, size), len(scales) - 1)]
