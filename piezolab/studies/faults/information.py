"""Which reading would tell most about the spot of the fault.

Expected information of a check is the mutual information between its outcome and the spot, in bits, under the present
posterior (D. V. Lindley, "On a measure of the information provided by an experiment", Annals of Mathematical Statistics
27 (1956) 986-1005).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from statistics import NormalDist

import numpy as np

from piezolab.giving_way import give_way
from piezolab.studies.faults.likelihood import BANDWIDTH
from piezolab.studies.faults.pairs import Pairs, composed_tone, composed_value
from piezolab.studies.faults.readings import SWEPT, SWEPT_SIGMA, natural, over_range, scaled, shown
from piezolab.studies.faults.table import FaultTable

_BINS = 320
# A build's outcome stands at these places of its uncertainty, the same for every build: drawn at random, builds that
# read alike would seem to differ, and a reading that shows nothing to tell some hundredths of a bit.
_COPIES = 4
_PLACES = np.array([NormalDist().inv_cdf((n + 0.5) / _COPIES) for n in range(_COPIES)])
_PLACES = _PLACES / np.std(_PLACES)
_LEAST_WEIGHT = 1e-7
_BLUR = np.array([0.06, 0.24, 0.4, 0.24, 0.06])
_SEED = 1956


def confirmation(
    table: FaultTable, weight: np.ndarray, couples: Pairs, two: float, checks: Sequence[int]
) -> np.ndarray:
    """Expected information, bits, of each check about whether there is a second fault (probability `two`)."""
    bins = _bins(table)
    active = np.flatnonzero(weight > _LEAST_WEIGHT * weight.max())
    single = weight[active] / weight[active].sum()
    answer = []
    for m in checks:
        give_way()
        if m == len(table.value):
            both = np.stack([table.tone[:, active] @ single, composed_tone(table, couples)])
        else:
            both = np.zeros((2, _BINS))
            for copy in bins.index[m]:
                both[0] += np.bincount(copy[active], single, _BINS)
            value, width, share = composed_value(table, couples, m)
            noise = np.hypot(width, 0.02) * bins.normal[: value.size].reshape(value.shape)
            both[1] = np.bincount(bins.number(m, value + noise).ravel(), share.ravel(), _BINS)
            both = _blurred(both / both.sum(axis=1, keepdims=True))
            slip = table.limits.slip + table.limits.stray
            both = (1 - slip) * both + slip * both.mean(axis=0)
        answer.append(_mutual(both * np.array([[1 - two], [two]])))
    return np.array(answer)


class Bins:
    """Each build's outcome at each numeric check as numbers of bins, with its uncertainty, (M, copies, P)."""

    def __init__(self, table: FaultTable) -> None:
        rng = np.random.default_rng(_SEED)
        value = np.stack(
            [shown(check.kind, row, table.meter) for check, row in zip(table.checks, table.value, strict=False)]
        )
        self.top = [over_range(table.meter) if check.kind == "ohm" else np.inf for check in table.checks[:-1]]
        self.low = value.min(axis=1) - 0.5
        self.step = (value.max(axis=1) + 0.5 - self.low) / _BINS
        self.normal = rng.standard_normal(value.shape[1], np.float32)
        self.index = np.empty((len(value), _COPIES, value.shape[1]), np.int16)
        for m, check in enumerate(table.checks[:-1]):
            give_way()
            noise = np.hypot(BANDWIDTH * table.width[m], _noise(table, m, check.kind))
            for copy in range(_COPIES):
                self.index[m, copy] = self.number(m, table.value[m] + noise * np.float32(_PLACES[copy]))

    def number(self, m: int, value: np.ndarray) -> np.ndarray:
        """The bins of values at check m."""
        answer = np.clip((value - self.low[m]) / self.step[m], 0, _BINS - 1).astype(np.int16)
        return np.where(value > self.top[m], np.int16(_BINS - 1), answer)


def _noise(table: FaultTable, m: int, kind: str) -> np.ndarray:
    """Uncertainty of the meter at each build's value, as `readings.sigma` has it."""
    meter = table.meter
    if kind in ("low", "high") and not meter.reads_ac:
        return np.full(table.value.shape[1], 0.1, np.float32)
    if kind in SWEPT:
        return np.full(table.value.shape[1], SWEPT_SIGMA[kind], np.float32)
    value = natural(kind, table.value[m].astype(float), meter)
    finite = np.isfinite(value)
    value = np.where(finite, value, 1.0)
    digit = {"dc": meter.volt_digit, "ohm": meter.ohm_digit}.get(kind, meter.ac_digit)(value)
    moved = np.abs(value) + 0.6 * meter.error(value, digit)
    noise = scaled(kind, moved, meter) - scaled(kind, np.abs(value), meter)
    return np.where(finite, np.clip(noise, 0.012, 1.0), 0.02).astype(np.float32)


@lru_cache(maxsize=6)
def _bins(table: FaultTable) -> Bins:
    return Bins(table)


def information(
    table: FaultTable, weight: np.ndarray, checks: Sequence[int], group: np.ndarray | None = None
) -> np.ndarray:
    """Expected information, bits, of each check (rows of `table.checks`) about the spot, or another group (P,)."""
    group = table.spot if group is None else group
    active = np.flatnonzero(weight > _LEAST_WEIGHT * weight.max())
    w = weight[active]
    w = w / w.sum()
    spot, count = group[active], int(group.max()) + 1
    share = np.bincount(spot, w, count)
    there = np.flatnonzero(share > 1e-9)
    rank = np.zeros(count, int)
    rank[there] = np.arange(len(there))
    row, share = rank[spot], share[there]
    bins = _bins(table)
    answer = []
    for m in checks:
        give_way()
        if m == len(table.value):
            joint = np.stack([np.bincount(row, w * tone, len(there)) for tone in table.tone[:, active]], axis=1)
        else:
            joint = np.zeros(len(there) * _BINS)
            for copy in bins.index[m]:
                joint += np.bincount(row * _BINS + copy[active], w / _COPIES, len(joint))
            joint = _blurred(joint.reshape(len(there), _BINS))
            slip = table.limits.slip + table.limits.stray
            joint = (1 - slip) * joint + slip * share[:, None] * joint.sum(axis=0)
        answer.append(_mutual(joint))
    return np.array(answer)


def opening(table: FaultTable, weight: np.ndarray, checks: Sequence[int], limit: float) -> np.ndarray:
    """Probability that after each check with the battery out a dangerous build is no likelier than `limit`."""
    active = np.flatnonzero(weight > _LEAST_WEIGHT * weight.max())
    w = weight[active] / weight[active].sum()
    hurts = table.dangerous[active].astype(int) * _BINS
    bins, answer, slip = _bins(table), [], table.limits.slip + table.limits.stray
    for m in checks:
        give_way()
        joint = sum(np.bincount(hurts + copy[active], w / _COPIES, 2 * _BINS) for copy in bins.index[m])
        joint = _blurred(joint.reshape(2, _BINS))
        joint = (1 - slip) * joint + slip * joint.sum(axis=1, keepdims=True) * joint.sum(axis=0)
        both = joint.sum(axis=0)
        answer.append(float(both[joint[1] <= limit * both].sum()))
    return np.array(answer)


def _blurred(joint: np.ndarray) -> np.ndarray:
    reach = len(_BLUR) // 2
    padded = np.pad(joint, ((0, 0), (reach, reach)))
    return sum(part * padded[:, k : k + joint.shape[1]] for k, part in enumerate(_BLUR))


def _mutual(joint: np.ndarray) -> float:
    joint = joint / joint.sum()
    outer = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    good = joint > 1e-15
    return float(max(np.sum(joint[good] * np.log2(joint[good] / outer[good])), 0.0))
