"""How well each simulated build explains what was read and heard.

A reading is usually what the build gives, within the meter's uncertainty and the build's bandwidth; sometimes it was
taken on a neighbouring lane; rarely nothing explains it. The product over the readings is formed for each build, so that
what hangs together in a build (all that its transistor sets) hangs together in the answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from piezolab.studies.faults.hearing import TONES, heard_likelihood
from piezolab.studies.faults.readings import Reading, scaled, sigma
from piezolab.studies.faults.table import FaultTable

BANDWIDTH = 0.7  # of the distance over which a tenth of a fault's builds lie
STRAY_DENSITY = 1.0 / 15.0  # a reading that nothing explains may lie anywhere on the scale
_AGREE_SIGMAS = 4.0


@dataclass(frozen=True)
class Same:
    """Readings of one check that agree, as one: members: their places in the list; row: of the table; y, sigma: on its
    scale; slip, stray: probability of either; word: of a tone."""

    kind: str
    members: tuple[int, ...]
    row: int
    y: float
    sigma: float
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
    """weight: posterior of each build, (P,), sums to 1; evidence: probability density of all that was read and heard,
    with its scale taken out (see `scale`); slipped, stray: by reading, the probability that it was taken elsewhere or is
    not explained at all, and that it is not explained; reckoned: for `pairs`."""

    weight: np.ndarray
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
    weight = table.weight * heard_likelihood(heard, table.heard)
    for likelihood in reckoned.likelihoods:
        weight = weight * likelihood
    evidence = float(weight.sum())
    weight = weight / evidence
    slipped, stray = [0.0] * len(readings), [0.0] * len(readings)
    for same, likelihood, elsewhere in zip(
        reckoned.groups, reckoned.likelihoods, reckoned.elsewhere, strict=True
    ):
        part = weight / likelihood
        for k in same.members:
            slipped[k] = float(np.sum(part * elsewhere))
            stray[k] = float(np.sum(part)) * same.stray * STRAY_DENSITY
    return Explanation(weight, evidence, tuple(slipped), tuple(stray), reckoned)


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
        return Same("tone", tuple(members), len(table.value), 0.0, 0.0, 0.0, 0.0, str(first.value))
    meter = table.meter
    return Same(
        first.kind,
        tuple(members),
        table.index(first.check),
        float(np.mean([scaled(first.kind, readings[k].value, meter) for k in members])),
        float(np.mean([sigma(readings[k], meter) for k in members])),
        limits.slip**count,
        limits.stray**count,
        "",
    )


def _likelihood(table: FaultTable, same: Same) -> tuple[np.ndarray, np.ndarray]:
    """Likelihood by build, and the part of it that is a slip or a stray value."""
    if same.kind == "tone":
        likelihood = table.tone[TONES.index(same.word)].astype(float)
        return likelihood, np.zeros_like(likelihood)
    likelihood = (1 - same.slip - same.stray) * _density(table, same.row, same)
    elsewhere = np.full_like(likelihood, same.stray * STRAY_DENSITY)
    for n in table.neighbours[same.row]:
        elsewhere += same.slip / len(table.neighbours[same.row]) * _density(table, n, same)
    return likelihood + elsewhere, elsewhere


def _density(table: FaultTable, m: int, same: Same) -> np.ndarray:
    variance = same.sigma**2 + (BANDWIDTH * table.width[m].astype(float)) ** 2
    return np.exp(-0.5 * (same.y - table.value[m]) ** 2 / variance) / np.sqrt(2 * np.pi * variance)
