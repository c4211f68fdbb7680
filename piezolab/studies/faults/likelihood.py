"""How well each simulated build explains what was read and heard.

A reading is usually what the build gives, within the meter's uncertainty and the build's bandwidth; sometimes it was
taken on a neighbouring lane; rarely nothing explains it. The product over the readings is formed for each build, so
that what hangs together in a build (all that its transistor sets) hangs together in the answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from piezolab.giving_way import give_way
from piezolab.studies.faults.hearing import TONES, heard_likelihood
from piezolab.studies.faults.readings import Reading, over_range, scaled, sigma
from piezolab.studies.faults.table import FaultTable

BANDWIDTH = 0.7  # of the distance over which a tenth of a fault's builds lie
_STRAY_DENSITY = 1.0 / 15.0  # a reading that nothing explains may lie anywhere on the scale
_STRAY_OVER = 0.5  # or be over range: so reads a probe without contact
_AGREE_SIGMAS = 4.0


@dataclass(frozen=True)
class Same:
    """Readings of one check that agree, as one: members: their places in the list; row: of the table; y, sigma: on its
    scale; over: the display said over range; slip, stray: probability of a slip, density of a stray value; word: of a
    tone."""

    kind: str
    members: tuple[int, ...]
    row: int
    y: float
    sigma: float
    over: bool
    slip: float
    stray: float
    word: str


@dataclass(frozen=True)
class Reckoned:
    """Readings put together, with the likelihood of each group by build and the part of it that is not as read."""

    groups: tuple[Same, ...]
    likelihoods: tuple[np.ndarray, ...]
    elsewhere: tuple[np.ndarray, ...]


@dataclass(frozen=True)
class Explanation:
    """weight: posterior of each build, (P,), sums to 1; unheard: by what was read alone; evidence: probability density
    of all that was read and heard; slipped, stray: by reading, the probability that it was taken elsewhere or is not
    explained at all, and that it is not explained; reckoned: for `pairs`."""

    weight: np.ndarray
    unheard: np.ndarray
    evidence: float
    slipped: tuple[float, ...]
    stray: tuple[float, ...]
    reckoned: Reckoned


def reckon(table: FaultTable, readings: Sequence[Reading]) -> Reckoned:
    """Put readings together and weigh every build by each."""
    groups = tuple(_same(table, readings, members) for members in _groups(table, readings))
    both = [_likelihood(table, same) for same in groups]
    return Reckoned(groups, tuple(one for one, _ in both), tuple(other for _, other in both))


def explain(table: FaultTable, readings: Sequence[Reading], heard: Sequence[str]) -> Explanation:
    """Posterior of the builds. The readings have been checked."""
    reckoned = reckon(table, readings)
    unheard = table.weight
    for likelihood in reckoned.likelihoods:
        unheard = unheard * likelihood
    weight = unheard * heard_likelihood(heard, table.heard, table.known)
    evidence = float(weight.sum())
    weight = weight / evidence
    slipped, stray = [0.0] * len(readings), [0.0] * len(readings)
    for same, likelihood, elsewhere in zip(
        reckoned.groups, reckoned.likelihoods, reckoned.elsewhere, strict=True
    ):
        part = weight / likelihood
        for k in same.members:
            slipped[k] = float(np.sum(part * elsewhere))
            stray[k] = float(np.sum(part)) * same.stray
    return Explanation(weight, unheard / unheard.sum(), evidence, tuple(slipped), tuple(stray), reckoned)


def _groups(table: FaultTable, readings: Sequence[Reading]) -> list[list[int]]:
    """Readings of one check that agree count as one: the same meter errs alike, only a slip becomes unlikelier."""
    groups: list[list[int]] = []
    for k, reading in enumerate(readings):
        for group in groups:
            other = readings[group[0]]
            if other.check == reading.check and _agree(table, other, reading):
                group.append(k)
                break
        else:
            groups.append([k])
    return groups


def _agree(table: FaultTable, one: Reading, other: Reading) -> bool:
    if one.kind == "tone":
        return one.value == other.value
    apart = abs(scaled(one.kind, one.value, table.meter) - scaled(one.kind, other.value, table.meter))
    return bool(apart <= _AGREE_SIGMAS * max(sigma(one, table.meter), sigma(other, table.meter)))


def _same(table: FaultTable, readings: Sequence[Reading], members: Sequence[int]) -> Same:
    first, limits, count = readings[members[0]], table.limits, len(members)
    if first.kind == "tone":
        return Same("tone", tuple(members), len(table.value), 0.0, 0.0, False, 0.0, 0.0, str(first.value))
    meter = table.meter
    over = first.kind == "ohm" and float(first.value) > meter.ohm_max
    y = over_range(meter) if over else np.mean([scaled(first.kind, readings[k].value, meter) for k in members])
    return Same(
        first.kind,
        tuple(members),
        table.index(first.check),
        float(y),
        float(np.mean([sigma(readings[k], meter) for k in members])),
        over,
        limits.slip**count,
        limits.stray**count * (_STRAY_OVER if over else _STRAY_DENSITY),
        "",
    )


def _likelihood(table: FaultTable, same: Same) -> tuple[np.ndarray, np.ndarray]:
    """Likelihood by build, and the part of it that is a slip or a stray value."""
    if same.kind == "tone":
        likelihood = table.tone[TONES.index(same.word)].astype(float)
        return likelihood, np.zeros_like(likelihood)
    likelihood = (1 - same.slip) * _of(table, same.row, same)
    elsewhere = np.full_like(likelihood, same.stray)
    for n in table.neighbours[same.row]:
        elsewhere += same.slip / len(table.neighbours[same.row]) * _of(table, n, same)
    return likelihood + elsewhere, elsewhere


def _of(table: FaultTable, m: int, same: Same) -> np.ndarray:
    return density(same, table.value[m], BANDWIDTH * table.width[m])


def density(same: Same, value: np.ndarray, width: np.ndarray, least: float = 0.0) -> np.ndarray:
    """Density of a reading where builds give `value` with bandwidth `width`, any shape; over range: its probability."""
    give_way()
    spread = np.sqrt(width**2 + np.float32(max(same.sigma, least) ** 2))
    distance = np.clip((value - np.float32(same.y)) / spread, -40.0, 40.0)
    if same.over:
        return 1.0 / (1.0 + np.exp(np.float32(-1.702) * distance))  # near enough the normal integral
    return np.exp(np.float32(-0.5) * distance**2) / (np.float32(np.sqrt(2 * np.pi)) * spread)
