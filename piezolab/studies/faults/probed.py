"""What the ohms range of a meter says of a place, for a whole batch."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from piezolab.studies.faults.transistors import Transistors

MOST_OHM = 1e10
_LOWEST_RANGE_OHM = 200.0
_LOWEST_RANGE_TIMES, _LOWEST_RANGE_TEST_OHM = 7.0, 2.8e3  # about 2.8 V and 1 mA: common practice, no source


@dataclass(frozen=True)
class Probed:
    """A place under the ohms range: reach: of the ports to it, (P, 2K); own: its resistance without them; across,
    series: what lies beside and before it, ohm."""

    transistors: Transistors
    z: np.ndarray
    reach: np.ndarray
    own: np.ndarray
    across: float | np.ndarray
    series: float | np.ndarray = 0.0

    def ohms(
        self,
        test_v: float | np.ndarray,
        test_ohm: float | np.ndarray,
        behind: Callable[[np.ndarray, np.ndarray], np.ndarray] | None = None,
    ) -> np.ndarray:
        """What the display says, (P,); behind: resistance of a diode before the place for voltage and ohm."""
        own, reach, series, one = self.own, self.reach, self.series, np.ones(len(self.own))
        share = self.across / (test_ohm + self.across)
        volt, ohm = test_v * share * one, test_ohm * share
        if behind:
            series = behind(volt, ohm + np.abs(own))
        for again in range(2 if behind else 1):
            part = 1.0 / (ohm + series + own)
            loaded = self.transistors.rest(
                reach * (volt * part)[:, None],
                self.z - reach[:, :, None] * reach[:, None, :] * part[:, None, None],
                np.zeros_like(reach),
            )
            drawn = np.sum(reach * self.transistors.currents(loaded)[0], axis=-1)
            inner = (own * volt - drawn * (ohm + series)) * part
            if behind and not again:  # the board as the diode has it behind itself
                board = np.maximum(inner, 0.0) * (ohm + series) / np.maximum(volt - inner, 1e-12)
                series = behind(volt, ohm + board)
        seen = inner + (volt - inner) / (ohm + series) * series
        return np.clip(test_ohm * seen / np.maximum(test_v - seen, 1e-12), 0.0, MOST_OHM)


def on_range(
    ohm: np.ndarray, test_v: float | np.ndarray, test_ohm: float
) -> tuple[np.ndarray, np.ndarray]:
    """Test voltage and resistance of the range on which this many ohms are read: in decades of the highest one's
    resistance; the lowest range, and the beeper, have a higher voltage behind less than that."""
    decade = np.clip(np.ceil(np.log10(np.maximum(ohm, 1.0) / (2.0 * test_ohm))), -4.0, 0.0)
    lowest = ohm < _LOWEST_RANGE_OHM
    volt = np.where(lowest, _LOWEST_RANGE_TIMES * test_v, test_v)
    return volt, np.where(lowest, _LOWEST_RANGE_TEST_OHM, test_ohm * 10.0**decade)
