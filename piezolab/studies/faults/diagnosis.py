"""From readings to probable faults, and to the reading that should come next."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from piezolab.studies.faults.information import confirmation, information
from piezolab.studies.faults.likelihood import Explanation, explain
from piezolab.studies.faults.pairs import Pairs, pairs
from piezolab.studies.faults.readings import KINDS, Check, Reading, checked, checked_words, natural
from piezolab.studies.faults.table import FaultTable

LEAST_INFORMATION = {False: 0.01, True: 0.001}  # bits: while a spot is sought, and while it is confirmed
_SHOWN = 0.001
_SUSPECTS = 6
_CLEARING = 2.0


@dataclass(frozen=True)
class FaultShare:
    """A single fault with its probability."""

    key: str
    kind: str
    spot: str
    parts: tuple[str, ...]
    probability: float


@dataclass(frozen=True)
class SpotShare:
    """A place to look at with its probability, and the faults that it may have, the likeliest first."""

    spot: str
    probability: float
    faults: tuple[FaultShare, ...]


@dataclass(frozen=True)
class Step:
    """A reading to take.

    check; bits: expected information about the spot; powered: with the battery in; again: a doubtful reading taken once
    more; expected: for the leading spots the range (5th to 95th percentile) in V or ohm, or for the tone the likeliest
    word.
    """

    check: Check
    bits: float
    powered: bool
    again: bool
    expected: tuple[tuple[str, tuple[float, float] | str], ...]


@dataclass(frozen=True)
class Diagnosis:
    """What the readings say.

    spots: by probability, "healthy" among them, given that at most one fault is there; two: probability of two faults at
    once; two_suspected; short: probability of a build that heats up; stop: switch off and unclip now; unpowered_only: no
    reading with the battery in is proposed; next: the next reading, None when nothing would tell more; others: further
    readings by worth; doubtful: (place in the list, probability) of readings that were probably taken elsewhere;
    unexplained: readings that nothing explains; found: the first spot is likely enough to mend.
    """

    spots: tuple[SpotShare, ...]
    two: float
    two_suspected: bool
    suspects: tuple[tuple[str, float], ...]
    short: float
    stop: bool
    unpowered_only: bool
    next: Step | None
    others: tuple[Step, ...]
    doubtful: tuple[tuple[int, float], ...]
    unexplained: tuple[int, ...]
    found: bool

    def probability(self, spot: str) -> float:
        """Of a spot; 0 where it is not in the list."""
        return next((each.probability for each in self.spots if each.spot == spot), 0.0)


def diagnose(
    table: FaultTable,
    readings: Sequence[Reading] = (),
    heard: Sequence[str] = (),
    kinds: Collection[str] = KINDS,
) -> Diagnosis:
    """Weigh all faults by what was read and heard, in any order; propose readings of the given kinds.

    Raises ReadingError on a reading or word that cannot be one.
    """
    readings, heard = checked(readings, table.checks), checked_words(heard)
    why = explain(table, readings, heard)
    limits = table.limits
    by_fault = np.bincount(table.of_hypothesis, why.weight, len(table.hypotheses))
    couples = pairs(table, why.reckoned, heard)
    two = couples.evidence / (couples.evidence + (1 - limits.two) * why.evidence)
    short = float(why.weight[table.dangerous].sum())
    stop = "hot" in heard
    unpowered = stop or short > limits.short_share
    spots = _spots(table, by_fault)
    found = spots[0].probability > limits.clear_share and two <= limits.two_share
    steps = _steps(table, why, readings, kinds, unpowered, spots, (couples, two) if found else None)
    worth = [step for step in steps if step.bits >= LEAST_INFORMATION[found]]
    doubtful = [(k, p) for k, p in enumerate(why.slipped) if p > limits.doubtful]
    return Diagnosis(
        spots=spots,
        two=two,
        two_suspected=two > limits.two_share,
        suspects=_suspects(table, couples),
        short=short,
        stop=stop,
        unpowered_only=unpowered,
        next=worth[0] if worth else None,
        others=tuple(worth[1:]),
        doubtful=tuple(doubtful),
        unexplained=tuple(k for k, p in enumerate(why.stray) if p > limits.doubtful),
        found=found,
    )


def _suspects(table: FaultTable, couples: Pairs) -> tuple[tuple[str, float], ...]:
    order = np.argsort(-couples.spots)[:_SUSPECTS]
    return tuple((table.spots[n], float(couples.spots[n])) for n in order if couples.spots[n] > _SHOWN)


def _spots(table: FaultTable, by_fault: np.ndarray) -> tuple[SpotShare, ...]:
    single = by_fault / by_fault.sum()
    groups: dict[str, list[FaultShare]] = {}
    for fault, share in zip(table.hypotheses, single, strict=True):
        groups.setdefault(fault.spot, []).append(
            FaultShare(fault.key, fault.kind, fault.spot, fault.parts, float(share))
        )
    found = [
        SpotShare(
            spot,
            float(sum(fault.probability for fault in faults)),
            tuple(sorted(faults, key=lambda fault: -fault.probability)),
        )
        for spot, faults in groups.items()
    ]
    return tuple(sorted(found, key=lambda each: -each.probability))


def _steps(
    table: FaultTable,
    why: Explanation,
    readings: Sequence[Reading],
    kinds: Collection[str],
    unpowered: bool,
    spots: Sequence[SpotShare],
    confirm: tuple[Pairs, float] | None,
) -> list[Step]:
    """All readings that may be proposed, the most telling first: about the spot, or once it is found about a second fault."""
    taken = {reading.check: k for k, reading in enumerate(readings)}
    again = {check for check, k in taken.items() if max(why.slipped[k], why.stray[k]) > 0.1}
    allowed = [
        m
        for m, check in enumerate(table.checks)
        if check.kind in kinds
        and not (unpowered and check.powered)
        and (check not in taken or check in again)
        and (m == len(table.value) or table.resolved[m])
    ]
    if confirm is None:
        bits = information(table, why.weight, allowed)
        if unpowered:  # what tells whether there is a short opens the way to the readings with the battery in
            bits = bits + _CLEARING * information(table, why.weight, allowed, table.dangerous.astype(int))
    else:
        bits = confirmation(table, why.weight, *confirm, allowed)
    order = np.argsort(-bits, kind="stable")
    leading = [each.spot for each in spots[:4] if each.probability > _SHOWN]
    return [
        Step(
            table.checks[allowed[n]],
            float(bits[n]),
            table.checks[allowed[n]].powered,
            table.checks[allowed[n]] in again,
            _expected(table, why.weight, allowed[n], leading),
        )
        for n in order
    ]


def _expected(
    table: FaultTable, weight: np.ndarray, m: int, spots: Sequence[str]
) -> tuple[tuple[str, tuple[float, float] | str], ...]:
    from piezolab.studies.faults.hearing import TONES

    answer = []
    for spot in spots:
        own = np.flatnonzero(table.spot == table.spots.index(spot))
        w = weight[own]
        if m == len(table.value):
            answer.append((spot, TONES[int(np.argmax(table.tone[:, own] @ w))]))
        else:
            low, high = weighted_range(table.value[m, own], w)
            kind = table.checks[m].kind
            answer.append((spot, (float(natural(kind, low, table.meter)), float(natural(kind, high, table.meter)))))
    return tuple(answer)


def weighted_range(value: np.ndarray, weight: np.ndarray, low: float = 0.05, high: float = 0.95) -> tuple[float, float]:
    """Weighted percentiles of values."""
    order = np.argsort(value)
    reached = np.cumsum(weight[order])
    reached = reached / reached[-1]
    at = np.minimum(np.searchsorted(reached, (low, high)), len(value) - 1)
    return float(value[order[at[0]]]), float(value[order[at[1]]])


def predicted(table: FaultTable, key: str) -> dict[str, tuple[float, float, float]]:
    """What a single fault would read at each check: 5th, 50th and 95th percentile of its builds, V or ohm.

    Raises KeyError on a fault that the table does not have.
    """
    keys = [fault.key for fault in table.hypotheses]
    if key not in keys:
        raise KeyError(f"this chain has no fault {key!r}")
    own = table.of_hypothesis == keys.index(key)
    answer = {}
    for m, check in enumerate(table.checks[:-1]):
        three = np.percentile(table.value[m, own], (5, 50, 95), method="nearest")
        answer[check.key] = tuple(float(x) for x in natural(check.kind, three, table.meter))
    return answer
