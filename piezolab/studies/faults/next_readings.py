"""Which readings to propose, in which order, and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from piezolab.studies.faults.hearing import TONES
from piezolab.studies.faults.information import confirmation, information, opening
from piezolab.studies.faults.likelihood import Explanation
from piezolab.studies.faults.pairs import Pairs
from piezolab.studies.faults.readings import SWEEP_CHECKS, SWEPT, Check, Reading, natural
from piezolab.studies.faults.table import FaultTable

LEAST_BITS = {False: 0.01, True: 0.001}  # while the spot is sought, and once it is found
# A reading that shows whether there is a short opens the way to the readings with the battery in: it counts for more.
_CLEARING = 2.0
# So do the bits that the best of those readings has before the best that is left without it: the way stays open for
# more than one of them.
_OPENING = 3.0
_ALIKE = 0.08  # on the scale of comparison, so about the same part of a reading
_FIRST = 10.0  # bits: more than any reading tells
_WORTH_REPEATING = 0.1  # probability that a reading was taken elsewhere
# Touching a lane is done at once; the tone has to be set and fed in: it must tell more to come first.
_EFFORT = {"low": 1.25, "high": 1.25, "tone": 1.1, **dict.fromkeys(SWEPT, 1.5)}


@dataclass(frozen=True)
class NextReading:
    """A reading to take.

    check; bits: expected information; powered: with the battery in; reason: "spot" (it tells the probable spots
    apart), "short" (it tells whether there is a short), "second" (the spot is found; this would show a second fault),
    "again" (a doubtful reading once more); expected: for the leading spots the range (5th to 95th percentile) in V or
    ohm, or for the tone the likeliest word; for a sound board that of the build sheet.
    """

    check: Check
    bits: float
    powered: bool
    reason: str
    expected: tuple[tuple[str, tuple[float, float] | str], ...]

    @property
    def again(self) -> bool:
        """Whether it is a doubtful reading taken once more."""
        return self.reason == "again"


@dataclass(frozen=True)
class Situation:
    """What is known when a step is chosen: see `diagnosis.Diagnosis` and `likelihood.Explanation`; clear: one spot
    leads, and what is left to know is whether another is wrong beside it; untested: what has to be read, one of them,
    before the battery may go in, and comes first."""

    table: FaultTable
    why: Explanation
    couples: Pairs
    two: float
    clear: bool
    unpowered: bool
    leading: tuple[str, ...]
    readings: tuple[Reading, ...]
    kinds: frozenset[str]
    untested: frozenset[Check]

    @property
    def over(self) -> frozenset[Check]:
        """What was read. A sweep says all its numbers at once: what it did not tell, another one would not either."""
        taken = frozenset(reading.check for reading in self.readings)
        return taken | frozenset(SWEEP_CHECKS) if taken & frozenset(SWEEP_CHECKS) else taken


def steps(now: Situation) -> list[NextReading]:
    """All readings worth taking, the best first. With `unpowered` none needs the battery."""
    table = now.table
    taken = {reading.check: k for k, reading in enumerate(now.readings)}
    again = {
        check for check, k in taken.items() if max(now.why.slipped[k], now.why.stray[k]) > _WORTH_REPEATING
    }
    possible = [
        m
        for m, check in enumerate(table.checks)
        if check.kind in now.kinds
        and not (now.unpowered and check.powered)
        and (m == len(table.value) or table.resolved[m])
    ]
    fresh = [m for m in possible if table.checks[m] not in now.over or table.checks[m] in again]
    found = _ranked(now, fresh, again)
    if not found and now.unpowered:  # nothing new to read, and still a short is possible: read once more
        clearing = information(table, now.why.weight, possible, table.dangerous.astype(int))
        found = [
            _step(now, m, float(bits), "short")
            for m, bits in sorted(zip(possible, clearing, strict=True), key=lambda pair: -pair[1])
            if bits >= LEAST_BITS[True]
        ]
    return found


def _ranked(now: Situation, fresh: Sequence[int], again: set[Check]) -> list[NextReading]:
    table, weight = now.table, now.why.weight
    if now.clear:
        bits = confirmation(table, weight, now.couples, now.two, fresh)
    else:
        bits = information(table, weight, fresh)
    clearing = np.zeros(len(fresh))
    if now.unpowered:
        clearing = _CLEARING * information(table, weight, fresh, table.dangerous.astype(int))
        if not now.clear:
            clearing += _OPENING * _opened(now, fresh, bits)
    clearing += [_FIRST * (table.checks[m] in now.untested) for m in fresh]
    answer, sweeping = [], False
    effort = np.array([_EFFORT.get(table.checks[m].kind, 1.0) for m in fresh])
    for n in np.argsort(-(bits + clearing) / effort, kind="stable"):
        if bits[n] + clearing[n] < LEAST_BITS[now.clear]:
            continue
        if table.checks[fresh[n]].kind in SWEPT:  # one sweep gives all three: it stands once, by what tells most
            if sweeping:
                continue
            sweeping = True
        reason = "second" if now.clear else "spot"
        if clearing[n] > bits[n]:
            reason = "short"
        elif table.checks[fresh[n]] in again:
            reason = "again"
        answer.append(_step(now, fresh[n], float(bits[n]), reason))
    return answer


def _opened(now: Situation, fresh: Sequence[int], bits: np.ndarray) -> np.ndarray:
    """Bits that may be gained after each reading because the battery may then go in."""
    table = now.table
    closed = [
        m
        for m, check in enumerate(table.checks)
        if check.powered and check.kind in now.kinds and check not in now.over
        and (m == len(table.value) or table.resolved[m])
    ]  # fmt: skip
    short = float(now.why.unheard[table.dangerous].sum())
    if not closed or len(fresh) < 2 or short <= table.limits.short_share:  # else no reading opens the way: it is hot
        return np.zeros(len(fresh))
    effort = np.array([_EFFORT.get(table.checks[m].kind, 1.0) for m in closed])
    best = float(np.max(information(table, now.why.weight, closed) / effort))
    left = np.array([np.delete(bits, n).max() for n in range(len(fresh))])
    return opening(table, now.why.unheard, fresh, table.limits.short_share) * np.maximum(best - left, 0.0)


def _step(now: Situation, m: int, bits: float, reason: str) -> NextReading:
    check = now.table.checks[m]
    return NextReading(check, bits, check.powered, reason, _expected(now, m))


def _expected(now: Situation, m: int) -> tuple[tuple[str, tuple[float, float] | str], ...]:
    table, answer = now.table, []
    sound = table.sound.get((table.checks[m].kind, table.checks[m].place))
    for spot in now.leading:
        own = _of(now, spot)
        if m == len(table.value):
            answer.append((spot, TONES[int(np.argmax(table.tone[:, own] @ now.why.weight[own]))]))
            continue
        ends = weighted_range(table.value[m, own], now.why.weight[own])
        if sound is not None and _alike(ends, now, m):  # what the sheet says: one board, one expectation
            answer.append((spot, (sound.low, sound.high)))
        else:
            low, high = (float(natural(table.checks[m].kind, end, table.meter)) for end in ends)
            answer.append((spot, (low, high)))
    return tuple(answer)


def _of(now: Situation, spot: str) -> np.ndarray:
    return np.flatnonzero(now.table.spot == now.table.spots.index(spot))


def _alike(ends: tuple[float, float], now: Situation, m: int) -> bool:
    """Whether a place reads there as a sound board does, as far as anybody could tell."""
    own = _of(now, "healthy")
    sound = weighted_range(now.table.value[m, own], now.why.weight[own])
    return max(abs(end - other) for end, other in zip(ends, sound, strict=True)) <= _ALIKE


def weighted_range(value: np.ndarray, weight: np.ndarray, low: float = 0.05, high: float = 0.95) -> tuple[float, float]:
    """Weighted percentiles of values."""
    order = np.argsort(value)
    reached = np.cumsum(weight[order])
    reached = reached / reached[-1]
    at = np.minimum(np.searchsorted(reached, (low, high)), len(value) - 1)
    return float(value[order[at[0]]]), float(value[order[at[1]]])
