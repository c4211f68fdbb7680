"""From readings to probable faults, and to the reading that should come next."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from piezolab.studies.faults.bands import unseen
from piezolab.studies.faults.hearing import EXCHANGED, KNOWN, LOOKED
from piezolab.studies.faults.likelihood import explain
from piezolab.studies.faults.next_readings import NextReading, Situation, steps
from piezolab.studies.faults.pairs import Pairs, pairs
from piezolab.studies.faults.readings import (
    KINDS,
    SWEPT,
    Check,
    Reading,
    checked,
    checked_words,
    natural,
    plausible,
)
from piezolab.studies.faults.table import FaultTable
from piezolab.studies.metering.board_under_meter import CLIP

_SHOWN = 0.001
_SUSPECTS = 6
_LEAST_READINGS = 2  # of twenty readings one is taken elsewhere: one alone bears no verdict


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
class Diagnosis:
    """What the readings say.

    spots: by probability, "healthy" among them, given that at most one fault is there; found: the first is likely
    enough to mend, by two readings at least and not by hearsay alone; two, two_suspected: probability of two faults
    at once, and whether it is large; suspects: if there are two, the spots that are likeliest to be one of them;
    short: probability of a build that heats up, with or without what is heard, whichever is larger; reversed: a minus
    sign was read at the clip or the supply, or a reversed battery is likelier than the limit of a stop: it comes out
    and is turned before anything else is read; stop: switch off and unclip now, for heat or for what was read: no
    other word raises this alarm; unpowered_only: no reading with the battery in is proposed; to_try: words for what
    needs no meter and was not tried yet, with the probability that it finds the fault, the likeliest first; next: the
    next reading, None where none would tell more; others: further ones by worth; doubtful: (place in the list,
    probability) of readings that were probably taken elsewhere; unexplained: readings that nothing explains; absurd:
    places in the list of readings in volts that no supply of this board can give: they are asked about, not weighed,
    and until they are mended or taken back no reading with the battery in is proposed; unseen: faults that no reading
    of this chain shows, a sweep where its kinds are given.
    """

    spots: tuple[SpotShare, ...]
    found: bool
    two: float
    two_suspected: bool
    suspects: tuple[tuple[str, float], ...]
    short: float
    reversed: bool
    stop: bool
    unpowered_only: bool
    to_try: tuple[tuple[str, float], ...]
    next: NextReading | None
    others: tuple[NextReading, ...]
    doubtful: tuple[tuple[int, float], ...]
    unexplained: tuple[int, ...]
    absurd: tuple[int, ...]
    unseen: tuple[str, ...]

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

    Safety comes before information: with something hot, after a minus sign at the clip or the supply, while a short is
    likelier than the limit, or where the clip was over range and nothing behind it was read, only readings with the
    battery out are proposed. Raises ReadingError on a reading or word that cannot be one.
    """
    readings, heard = checked(readings, table.checks), checked_words(heard)
    minus = _minus_read(table, readings)
    absurd = tuple(k for k, reading in enumerate(readings) if not plausible(reading, table.most_v))
    kept = [k for k in range(len(readings)) if k not in absurd]
    readings = tuple(readings[k] for k in kept)
    why, limits = explain(table, readings, heard), table.limits
    couples = pairs(table, why.reckoned, heard)
    two = couples.evidence / (couples.evidence + (1 - limits.two) * why.evidence)
    # what is heard cannot rule out a short: only readings can
    read_short = float(why.unheard[table.dangerous].sum())
    short = max(float(why.weight[table.dangerous].sum()), read_short)
    hot = "hot" in heard
    spots = _spots(table, np.bincount(table.of_hypothesis, why.weight, len(table.hypotheses)))
    clear = spots[0].probability > limits.clear_share
    borne = len(readings) >= _LEAST_READINGS and _read_share(table, why.unheard, spots[0].spot) > limits.read_share
    found = clear and borne and two <= limits.two_share
    leading = tuple(each.spot for each in spots[:4] if each.probability > _SHOWN)
    turned = minus or _reversed_share(table, why.weight) > limits.stop_share
    untested = _untested(table, readings)
    unpowered = hot or turned or bool(absurd) or bool(untested) or short > limits.short_share
    situation = Situation(
        table, why, couples, two, clear, unpowered, leading, tuple(readings), frozenset(kinds), untested
    )
    proposed = steps(situation)
    return Diagnosis(
        spots=spots,
        found=found,
        two=two,
        two_suspected=two > limits.two_share,
        suspects=_suspects(table, couples),
        short=short,
        reversed=turned,
        stop=hot or turned or read_short > limits.stop_share,
        unpowered_only=unpowered,
        to_try=_to_try(table, why.weight, heard, found, unpowered),
        next=proposed[0] if proposed else None,
        others=tuple(proposed[1:]),
        doubtful=_above(limits.doubtful, kept, why.slipped),
        unexplained=tuple(k for k, _ in _above(limits.doubtful, kept, why.stray)),
        absurd=absurd,
        unseen=unseen(table, SWEPT[0] in kinds),
    )


def _to_try(
    table: FaultTable, weight: np.ndarray, heard: Sequence[str], found: bool, unpowered: bool
) -> tuple[tuple[str, float], ...]:
    """Another battery is for a board that may have one; a place that was found is mended."""
    words = [word for word in ((LOOKED,) if unpowered else (LOOKED, EXCHANGED)) if word not in heard and not found]
    chances = [(word, float(weight @ (1 - table.known[KNOWN.index(word)]))) for word in words]
    return tuple(sorted((one for one in chances if one[1] > table.limits.try_share), key=lambda one: -one[1]))


def _above(limit: float, places: Sequence[int], shares: Sequence[float]) -> tuple[tuple[int, float], ...]:
    return tuple((k, share) for k, share in zip(places, shares, strict=True) if share > limit)


def _minus_read(table: FaultTable, readings: Sequence[Reading]) -> bool:
    """Whether the last volts read at the clip or where the battery feeds the board had a minus sign.

    A meter's wandering zero is none. Behind a diode a reversed battery leaves some millivolts, so little is enough.
    """
    last = {reading.place: reading for reading in readings if reading.kind == "dc" and reading.place in table.fed}
    for reading in last.values():
        value = float(reading.value)
        digit = float(table.meter.volt_digit(value)) if reading.digit is None else reading.digit
        if value < -float(table.meter.error(0.0, digit)):
            return True
    return False


def _untested(table: FaultTable, readings: Sequence[Reading]) -> frozenset[Check]:
    """Ohms that have to be read before the battery goes in, since the clip last said over range.

    Whatever is open there, a lead, the diode or the probe's own contact, hides the board from the meter, and the
    battery may yet find its way: a short counts as ruled out only where the board itself was read.
    """
    behind = frozenset(Check("ohm", place) for place in table.fed if place != CLIP)
    at_clip = [reading.value for reading in readings if reading.check == Check("ohm", CLIP)]
    if not at_clip or float(at_clip[-1]) <= table.meter.ohm_max:
        return frozenset()
    return frozenset() if any(reading.check in behind for reading in readings) else behind


def _read_share(table: FaultTable, unheard: np.ndarray, spot: str) -> float:
    """Probability of a spot by what was read alone."""
    return float(unheard[table.spot == table.spots.index(spot)].sum())


def _reversed_share(table: FaultTable, weight: np.ndarray) -> float:
    kinds = np.array([fault.kind == "reversed_battery" for fault in table.hypotheses])
    return float(weight[kinds[table.of_hypothesis]].sum())


def _suspects(table: FaultTable, couples: Pairs) -> tuple[tuple[str, float], ...]:
    order = np.argsort(-couples.spots)[:_SUSPECTS]
    return tuple((table.spots[n], float(couples.spots[n])) for n in order if couples.spots[n] > _SHOWN)


def _spots(table: FaultTable, by_fault: np.ndarray) -> tuple[SpotShare, ...]:
    groups: dict[str, list[FaultShare]] = {}
    for fault, share in zip(table.hypotheses, by_fault / by_fault.sum(), strict=True):
        one = FaultShare(fault.key, fault.kind, fault.spot, fault.parts, float(share))
        groups.setdefault(fault.spot, []).append(one)
    found = [
        SpotShare(
            spot,
            float(sum(fault.probability for fault in faults)),
            tuple(sorted(faults, key=lambda fault: -fault.probability)),
        )
        for spot, faults in groups.items()
    ]
    return tuple(sorted(found, key=lambda each: -each.probability))


def predicted(table: FaultTable, key: str) -> dict[str, tuple[float, float, float]]:
    """What a single fault would read at each check: 5th, 50th and 95th percentile of its builds, V or ohm.

    Over range is infinity. Raises KeyError on a fault that the table does not have.
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
