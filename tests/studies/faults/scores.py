"""What a trial of the diagnosis shows: shares of builds whose fault was found, and how true the probabilities are."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from piezolab.studies.faults import hearing
from piezolab.studies.faults.making import drawn_w
from piezolab.studies.faults.readings import KINDS, SWEPT
from tests.studies.faults.trial import World, both_shown, examine, ranks, shown

READINGS = 4  # within which a fault should be found
ALL_READINGS = 20  # what is left to the user's patience when a second fault is looked for
WITHOUT_AC = ("ohm", "dc", "tone")


@dataclass(frozen=True)
class Scores:
    """A trial of N builds with no fault or one.

    counted: whether some available reading leaves the band of sound builds, (N,); place: where the true spot stands
    after each reading, 0 is first, (N, readings + 1); exact: whether the likeliest single fault is the true one, (N,);
    reversed: whether its battery is the wrong way round, (N,); unsafe: whether a reading with the battery in was
    proposed while a short or a reversal was likelier than its limit, (N,);
    two: whether two faults were suspected wrongly, (N,); stated: probability of the first place after each reading,
    verdict: whether it was declared found, alarm: whether it was to be switched off at once, powered: whether a
    reading with the battery in was proposed, (N, readings + 1) each; words: how many of what is heard were said,
    (N,); powered_first: whether the first reading needs the battery,
    (N,); dangerous: whether the build would heat up, (N,); probability: of each spot at the end, (N, S); truth: true
    spot, (N,); tried: whether it was found without a meter, (N,): from then on its place is known.
    """

    counted: np.ndarray
    place: np.ndarray
    exact: np.ndarray
    two: np.ndarray
    powered_first: np.ndarray
    dangerous: np.ndarray
    probability: np.ndarray
    truth: np.ndarray
    stated: np.ndarray
    verdict: np.ndarray
    alarm: np.ndarray
    powered: np.ndarray
    words: np.ndarray
    reversed: np.ndarray
    unsafe: np.ndarray
    tried: np.ndarray

    @property
    def misled(self) -> float:
        """Share of counted builds of which, after any reading, a sound place was declared the one to mend."""
        return float(np.mean((self.verdict & (self.place > 0)).any(axis=1)[self.counted]))

    @property
    def misled_at_all(self) -> float:
        """The same of all builds: of sound ones, whether any place was declared."""
        return float(np.mean((self.verdict & (self.place > 0)).any(axis=1)))

    def found(self, top: int = 1, readings: int = READINGS, counted: bool = True) -> float:
        """Share of builds (of those that count, or of all) with the true spot among the first `top`."""
        rows = self.place[self.counted] if counted else self.place
        return float(np.mean(rows[:, readings] < top))

    @property
    def exactly(self) -> float:
        """Share of counted builds whose very fault comes first, not only its spot."""
        return float(np.mean(self.exact[self.counted]))


def score(
    world: World, readings: int = READINGS, kinds: Collection[str] | None = None, hear: bool = True, slips: bool = True,
    poor_ear: bool = False, swept: bool = False, tries: bool = False,
) -> Scores:
    """Examine every build of a world with no fault or one; every second has no usable AC range.

    kinds: the readings that all are allowed instead; hear: whether the maker says how it sounds; poor_ear: and says
    some of it wrongly; swept: a sweep may be asked for; tries: what is proposed without a meter is tried.
    """  # fmt: skip
    table, count = world.table, len(world)
    ac = usable_ac(count)
    place = np.zeros((count, readings + 1), int)
    exact, two = np.zeros(count, bool), np.zeros(count, bool)
    stated, verdict, alarm, powered = (np.zeros((count, readings + 1), kind) for kind in (float, bool, bool, bool))
    words, unsafe, tried = np.zeros(count, int), np.zeros(count, bool), np.zeros(count, bool)
    probability = np.zeros((count, len(table.spots)))
    truth = np.zeros(count, int)
    for n, faults in enumerate(world.faults):
        key, spot = (faults[0].key, faults[0].spot) if faults else ("healthy", "healthy")
        allowed = (*(kinds or (KINDS if ac[n] else WITHOUT_AC)), *(SWEPT if swept else ()))
        course = examine(world, n, readings, allowed, slips, hear, poor_ear, tries)
        row, tried[n] = ranks(spot, course), bool(course.tried)
        if tried[n]:
            row[-1] = 0
        place[n] = held(row, readings)
        stated[n] = held([step.spots[0].probability for step in course.diagnoses], readings)
        verdict[n] = held([step.found for step in course.diagnoses], readings)
        alarm[n] = held([step.stop for step in course.diagnoses], readings)
        powered[n] = held([bool(step.next and step.next.powered) for step in course.diagnoses], readings)
        unsafe[n] = any(
            step.next is not None and step.next.powered and (step.reversed or step.short > table.limits.short_share)
            for step in course.diagnoses
        )
        words[n] = sum(word in hearing.WORDS for word in course.heard)
        last = course.diagnoses[-1]
        exact[n] = max((f for s in last.spots for f in s.faults), key=lambda f: f.probability).key == key or tried[n]
        two[n] = last.two_suspected
        probability[n] = [last.probability(each) for each in table.spots]
        truth[n] = table.spots.index(spot)
    counted = shown(world, ac if kinds is None else np.zeros(count, bool), kinds is None or "tone" in kinds, swept)
    dangerous = np.abs(world.found.battery_w) > table.limits.hot_w + drawn_w(table.chain)
    return Scores(
        counted, place, exact, two, powered[:, 0], dangerous, probability, truth, stated, verdict, alarm, powered,
        words,
        np.array([any(fault.kind == "reversed_battery" for fault in faults) for faults in world.faults]),
        unsafe,
        tried,
    )  # fmt: skip


def held(row: list, readings: int) -> list:
    """What was found after each reading; after the last one it stays."""
    return row + row[-1:] * (readings + 1 - len(row))


def usable_ac(count: int) -> np.ndarray:
    """Every second build has a meter with a usable AC range."""
    return np.arange(count) % 2 == 0


def two_flagged(world: World, readings: int = ALL_READINGS) -> np.ndarray:
    """Of builds with two faults that both show: whether two were suspected after each reading, (N, readings + 1)."""
    ac = usable_ac(len(world))
    answer = []
    for n in np.flatnonzero(both_shown(world, ac)):
        course = examine(world, int(n), readings, KINDS if ac[n] else WITHOUT_AC)
        row = [step.two_suspected for step in course.diagnoses]
        answer.append(held(row, readings))
    return np.array(answer, bool).reshape(-1, readings + 1)


@dataclass(frozen=True)
class Calibration:
    """Of all spots of all builds, by stated probability: mean of what was stated, share that was true, and how many."""

    stated: np.ndarray
    true: np.ndarray
    count: np.ndarray


def calibration(faulty: Scores, sound: Scores, healthy: float, edges: np.ndarray | None = None) -> Calibration:
    """How true the probabilities are, with sound builds in their prior share `healthy` among all."""
    edges = np.linspace(0, 1, 11) if edges is None else np.asarray(edges, float)
    stated, true, weight = [], [], []
    for scores, share in ((faulty, 1 - healthy), (sound, healthy)):
        stated.append(scores.probability.ravel())
        true.append((np.arange(scores.probability.shape[1]) == scores.truth[:, None]).ravel())
        weight.append(np.full(scores.probability.size, share / len(scores.truth)))
    stated, true, weight = (np.concatenate(each) for each in (stated, true, weight))
    bins = np.clip(np.digitize(stated, edges) - 1, 0, len(edges) - 2)
    size = len(edges) - 1
    total = np.maximum(np.bincount(bins, weight, size), 1e-300)
    return Calibration(
        np.bincount(bins, weight * stated, size) / total,
        np.bincount(bins, weight * true, size) / total,
        np.bincount(bins, minlength=size),
    )
