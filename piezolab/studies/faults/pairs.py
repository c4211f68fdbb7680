"""Whether two faults at once explain the readings better than any single one.

A pair is put together from its single faults: on the scale of `readings.scaled` a reading is what the first fault makes
of it plus what the second changes. Where both change it, either may win: then both are reckoned with, and something in
between. That is rough, but a pair costs nothing to simulate. Only pairs with one of the faults that explain most of the
readings are looked at.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from piezolab.giving_way import give_way
from piezolab.studies.faults.hearing import KNOCKED, KNOWN, TONES, heard_likelihood
from piezolab.studies.faults.likelihood import BANDWIDTH, Reckoned, Same, density
from piezolab.studies.faults.table import FaultTable

_LEADING = 14  # single faults that a pair must hold one of
_COPIES = 40  # builds of each fault that are used
_LENIENT = 0.5  # density of a reading that a single fault need not explain, to find the leading ones
_MOVED = 0.03  # change of a reading, on its scale, that counts
_BETWEEN_SIGMA = 1.0
_BY_ONE = KNOWN.index(KNOCKED)
_KEPT = 300  # pairs that `Pairs` holds for the search of the next reading


@dataclass(frozen=True)
class Pairs:
    """evidence: of all pairs, prior share of pairs included, on the scale of the single faults' evidence;
    spots: probability of each spot to be one of the two; first, second: hypotheses of the leading pairs, (Q,); share:
    posterior of their builds given that there are two faults, (Q, copies)."""

    evidence: float
    spots: np.ndarray
    first: np.ndarray
    second: np.ndarray
    share: np.ndarray


class _Grid:
    """The table by hypothesis and build, for every few of its builds, (M, H, S)."""

    def __init__(self, table: FaultTable) -> None:
        count = len(table.hypotheses)
        size = len(table.weight) // count
        step = max(1, size // _COPIES)

        def fold(values: np.ndarray) -> np.ndarray:
            return values.reshape(values.shape[0], count, size)[:, :, ::step]

        self.value, self.width = fold(table.value), BANDWIDTH * fold(table.width)
        self.heard, self.tone, self.known = fold(table.heard), fold(table.tone), fold(table.known)


def composed(
    grid: _Grid, rows: Sequence[int], a: int, b: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Value and width of pairs (a, b) at some checks, and where both faults change the reading; (rows, B, S)."""
    sound = grid.value[rows, 0][:, None]
    one, other = grid.value[rows, a][:, None], grid.value[rows][:, b]
    width = np.maximum(grid.width[rows, a][:, None], grid.width[rows][:, b])
    both = (np.abs(one - sound) > _MOVED) & (np.abs(other - sound) > _MOVED)
    return one + other - sound, width, both


def pairs(table: FaultTable, reckoned: Reckoned, heard: Sequence[str]) -> Pairs:
    """Weigh the pairs by what was read (as `likelihood` reckoned it) and heard."""
    grid = _grid(table)
    prior = table.prior
    count, copies = grid.value.shape[1:]
    leading = _leading(table, reckoned, heard)
    place = {int(a): n for n, a in enumerate(leading)}
    total = _pair_mass(table)
    found: list[tuple[int, np.ndarray, np.ndarray]] = []
    for a in leading:
        give_way()
        others = np.array(
            [b for b in range(1, count)
             if table.spot_of[b] != table.spot_of[a] and place.get(b, len(place)) > place[a]], int
        )  # fmt: skip
        if not others.size:
            continue
        each = np.ones((len(others), copies))
        for same in reckoned.groups:
            each = each * _likelihood(table, grid, same, int(a), others)
        surely = np.maximum(grid.heard[:, a][:, None], grid.heard[:, others])
        # What came with the building spoils it for both, and so does what is seen or exchanged; one comes with a knock.
        one, other = grid.known[:, a][:, None], grid.known[:, others]
        known = np.minimum(one, other)
        known[_BY_ONE] = np.maximum(one, other)[_BY_ONE]
        told = heard_likelihood(heard, surely.reshape(len(surely), -1), known.reshape(len(known), -1))
        each = each * told.reshape(each.shape)
        found.append((int(a), others, each * (prior[a] * prior[others] / total)[:, None] / copies))
    first = np.concatenate([np.full(len(others), a) for a, others, _ in found])
    second = np.concatenate([others for _, others, _ in found])
    mass = np.concatenate([each for _, _, each in found])
    evidence = float(mass.sum())
    spots = np.zeros(len(table.spots))
    by_pair = mass.sum(axis=1) / max(evidence, 1e-300)
    for members in (first, second):
        spots += np.bincount(table.spot_of[members], by_pair, len(spots))
    best = np.argsort(-by_pair)[:_KEPT]
    return Pairs(
        evidence * table.limits.two, spots, first[best], second[best], mass[best] / max(mass[best].sum(), 1e-300)
    )


def composed_value(table: FaultTable, couples: Pairs, m: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Value, width and posterior share of the builds of the leading pairs at a check, (Q, copies) each."""
    grid = _grid(table)
    sound, one, other = grid.value[m, 0], grid.value[m, couples.first], grid.value[m, couples.second]
    width = np.maximum(grid.width[m, couples.first], grid.width[m, couples.second])
    return one + other - sound, width, couples.share


def composed_tone(table: FaultTable, couples: Pairs) -> np.ndarray:
    """Probability of each word for the tone if there are two faults, (4,)."""
    tone = _grid(table).tone
    one, other = tone[:, couples.first], tone[:, couples.second]
    worse = np.where((one[2] < other[2])[None], one, other)
    return np.tensordot(worse, couples.share, 2)


def _likelihood(table: FaultTable, grid: _Grid, same: Same, a: int, others: np.ndarray) -> np.ndarray:
    """Likelihood of one reckoned reading for the pairs (a, others), (B, S)."""
    if same.kind == "tone":
        share = grid.tone[TONES.index(same.word)]
        return (np.minimum if same.word == "normal" else np.maximum)(share[a][None], share[others])
    rows = [same.row, *table.neighbours[same.row]]
    value, width, both = composed(grid, rows, a, others)
    found = density(same, value, width)
    if both.any():
        one = density(same, grid.value[rows, a][:, None], grid.width[rows, a][:, None])
        other = density(same, grid.value[rows][:, others], grid.width[rows][:, others])
        between = density(same, value, width, _BETWEEN_SIGMA)
        found = np.where(both, 0.4 * one + 0.4 * other + 0.2 * between, found)
    answer = (1 - same.slip) * found[0] + same.stray
    for beside in found[1:]:
        answer = answer + same.slip / (len(rows) - 1) * beside
    return answer


def _leading(table: FaultTable, reckoned: Reckoned, heard: Sequence[str]) -> np.ndarray:
    """The single faults that explain most, each reading being allowed to be another fault's."""
    weight = table.weight * heard_likelihood(heard, table.heard, table.known) ** 0.5
    for same, likelihood in zip(reckoned.groups, reckoned.likelihoods, strict=True):
        weight = weight * (likelihood + (0.1 if same.kind == "tone" else _LENIENT))
        weight = weight / weight.sum()
    by_fault = np.bincount(table.of_hypothesis, weight, len(table.hypotheses))
    by_fault[0] = 0.0
    return np.argsort(-by_fault)[: min(_LEADING, len(by_fault) - 1)]


def _pair_mass(table: FaultTable) -> float:
    """Sum of the products of priors over all pairs of faults at different spots."""
    prior = table.prior[1:]
    by_spot = np.bincount(table.spot_of[1:], prior)
    return float((prior.sum() ** 2 - np.sum(by_spot**2)) / 2)


_GRIDS: dict[int, tuple[FaultTable, _Grid]] = {}


def _grid(table: FaultTable) -> _Grid:
    kept = _GRIDS.get(id(table))
    if kept is None or kept[0] is not table:
        if len(_GRIDS) > 6:
            _GRIDS.clear()
        _GRIDS[id(table)] = kept = (table, _Grid(table))
    return kept[1]
