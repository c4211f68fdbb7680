"""What the ohms range of a meter says of a place, for a whole batch."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from piezolab.giving_way import give_way
from piezolab.studies.faults.transistors import Transistors
from piezolab.studies.metering.instrument import Meter

MOST_OHM = 1e10

# Of some builds, by number: resistance of a diode before the place for voltage and ohm; None where there is none.
Behind = Callable[[np.ndarray], Callable[[np.ndarray, np.ndarray], np.ndarray]] | None


@dataclass(frozen=True)
class Probed:
    """Places under the ohms range, M in P builds.

    transistors, z: of the P builds; reach: of the ports to the place, (M, 2K); own: its resistance without them, (M,);
    across, series: what lies beside and before it, ohm, (M,); build: in which build it is, (M,).
    """

    transistors: Transistors
    z: np.ndarray
    reach: np.ndarray
    own: np.ndarray
    across: np.ndarray
    series: np.ndarray
    build: np.ndarray

    def some(self, here: np.ndarray) -> Probed:
        """Some of the places, by number."""
        parts = (each[here] for each in (self.reach, self.own, self.across, self.series, self.build))
        return Probed(self.transistors, self.z, *parts)

    def ohms(
        self,
        test_v: float | np.ndarray,
        test_ohm: float | np.ndarray,
        behind: Callable[[np.ndarray, np.ndarray], np.ndarray] | None = None,
    ) -> np.ndarray:
        """What the display says, (M,); behind: resistance of a diode before the place for voltage and ohm."""
        own, reach, series, one = self.own, self.reach, self.series, np.ones(len(self.own))
        share = self.across / (test_ohm + self.across)
        volt, ohm = test_v * share * one, test_ohm * share
        if behind:
            series = behind(volt, ohm + np.abs(own))
        transistors, z = self.transistors.some(self.build), self.z[self.build]
        for again in range(2 if behind else 1):
            part = 1.0 / (ohm + series + own)
            loaded = transistors.rest(
                reach * (volt * part)[:, None],
                z - reach[:, :, None] * reach[:, None, :] * part[:, None, None],
                np.zeros_like(reach),
            )
            drawn = np.sum(reach * transistors.currents(loaded)[0], axis=-1)
            inner = (own * volt - drawn * (ohm + series)) * part
            if behind and not again:  # the board as the diode has it behind itself
                board = np.maximum(inner, 0.0) * (ohm + series) / np.maximum(volt - inner, 1e-12)
                series = behind(volt, ohm + board)
        seen = inner + (volt - inner) / (ohm + series) * series
        return np.clip(test_ohm * seen / np.maximum(test_v - seen, 1e-12), 0.0, MOST_OHM)


def as_shown(at: Probed, meter: Meter, level: float | np.ndarray, up: int | np.ndarray, behind: Behind) -> np.ndarray:
    """Ohms on the lowest range that shows a number, (P,); level: factor of the test voltage; up: ranges above it, where
    another was left on. What no range shows is as on the highest."""
    size, ranges = len(at.own), meter.ohm_ranges
    top, volt, ohm = (np.array([getattr(each, name) for each in ranges]) for name in ("top", "volt", "ohm"))
    level, up = np.broadcast_to(level, (size,)), np.broadcast_to(np.asarray(up, int), (size,))
    last = len(ranges) - 1

    def on(k: np.ndarray, here: np.ndarray) -> np.ndarray:
        give_way()
        return at.some(here).ohms(level[here] * volt[k[here]], ohm[k[here]], behind and behind(here))

    every = np.arange(size)
    answer = on(np.full(size, last), every)
    k = np.minimum(np.searchsorted(top, answer), last)
    answer[k < last] = on(k, np.flatnonzero(k < last))
    for _ in range(last):  # a junction takes more current on a lower range, and a channel saturates
        over = np.flatnonzero((answer > top[k]) & (k < last))
        if not over.size:
            break
        k[over] += 1
        answer[over] = on(k, over)
    going = np.flatnonzero(k > 0) if behind else every[:0]
    while going.size:
        k[going] -= 1
        lower = on(k, going)
        fits = lower <= top[k[going]]
        answer[going[fits]] = lower[fits]
        k[going[~fits]] += 1
        going = going[fits & (k[going] > 0)]
    moved = np.flatnonzero(np.minimum(k + up, last) > k)
    answer[moved] = on(np.minimum(k + up, last), moved)
    return answer
