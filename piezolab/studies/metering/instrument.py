"""A hand-held meter: how it loads what it measures, what its display resolves, and how far it may be out.

The ohms range is a voltage behind a resistor: low enough that a junction hardly conducts, high enough to show when one
does. Values of ordinary 3 1/2-digit meters; common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.chain.parameter import Parameter, Quantity
from piezolab.studies.build_options import METER, OPTIONS

Value = float | np.ndarray


@dataclass(frozen=True)
class Meter:
    """A meter as its user states it.

    input_ohm: on volts, ohm; counts: largest number shown; accuracy: part of the reading; digits: counts of the last
    place; volt_ranges, ac_ranges: full scales in V (no ac_ranges: no usable AC); ohm_max: largest resistance shown,
    ohm; test_v, test_ohm: the ohms range as a voltage behind a resistor. Raises ParameterError, a ValueError.
    """

    input_ohm: float = 10e6
    counts: int = 2000
    accuracy: float = 0.01
    digits: float = 3.0
    volt_ranges: tuple[float, ...] = (0.2, 2.0, 20.0, 200.0)
    ac_ranges: tuple[float, ...] = (2.0, 20.0, 200.0)
    ohm_max: float = 20e6
    test_v: float = 0.4
    test_ohm: float = 10e6

    def __post_init__(self) -> None:
        for field, option in _CHECKED.items():
            option.check(getattr(self, field))

    @property
    def reads_ac(self) -> bool:
        """Whether it has a usable AC range."""
        return bool(self.ac_ranges)

    def volt_digit(self, volt: Value) -> np.ndarray:
        """The last place in V on the lowest range that holds the voltage."""
        return _full_scale(np.abs(volt), self.volt_ranges) / self.counts

    def ac_digit(self, volt: Value) -> np.ndarray:
        """The last place in V on the lowest AC range that holds the voltage. Raises ValueError with no AC range."""
        if not self.reads_ac:
            raise ValueError("meter, AC ranges: none; allowed is at least one.")
        return _full_scale(np.abs(volt), self.ac_ranges) / self.counts

    def ohm_digit(self, ohm: Value) -> np.ndarray:
        """The last place in ohm: ranges go in decades of the counts, from a tenth of an ohm in the last place."""
        ohm = np.minimum(np.abs(ohm), self.ohm_max)
        decade = np.ceil(np.log10(np.maximum(ohm, 1e-3) / (0.1 * self.counts)))
        return 0.1 * 10.0 ** np.maximum(decade, 0.0)

    def error(self, value: Value, digit: Value) -> np.ndarray:
        """How far a reading may be out: its part of the reading and its last places."""
        return self.accuracy * np.abs(value) + self.digits * np.asarray(digit)

    def shown(self, value: Value, digit: Value) -> np.ndarray:
        """The value as the display shows it."""
        return np.round(np.asarray(value) / digit) * digit


#: Field -> what it may be: the maker's options, and what no maker is asked.
_CHECKED: dict[str, Parameter] = {
    "input_ohm": OPTIONS["meter_ohm"],
    "counts": OPTIONS["counts"],
    "accuracy": OPTIONS["accuracy"],
    "ohm_max": OPTIONS["ohm_max"],
    "digits": Quantity("digits", "meter's last places", METER, low=0.0, high=100.0),
    "test_v": Quantity("test_v", "meter's test voltage", METER, unit="V", low=0.01, high=10.0),
    "test_ohm": Quantity("test_ohm", "meter's test resistance", METER, unit="ohm", low=1e2, high=1e9),
}


def _full_scale(size: Value, ranges: tuple[float, ...]) -> np.ndarray:
    scales = np.asarray(ranges)
    return scales[np.minimum(np.searchsorted(scales, size), len(scales) - 1)]
