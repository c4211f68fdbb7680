"""In which order the lanes lie side by side: so that no part has to reach far, and a transistor's three lie close."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import permutations

import numpy as np

from piezolab.giving_way import give_way
from piezolab.studies.board.board_parts import BoardPart

_EXHAUSTIVE = 7  # lanes up to which every order is tried
_FAR = 1e4


def cost(positions: np.ndarray, lanes: Sequence[str], parts: Sequence[BoardPart], pitch: float) -> np.ndarray:
    """Cost in mm of lead to bend, for positions (..., lanes) of the lanes in steps of `pitch` mm.

    Leads cost what they reach beyond the part's own pitch, a little for every step, and very much beyond their length.
    """
    index = {lane: n for n, lane in enumerate(lanes)}
    total = np.zeros(positions.shape[:-1])
    for part in parts:
        at = positions[..., [index[lane] for lane in part.lanes]]
        span = (at.max(axis=-1) - at.min(axis=-1)) * pitch
        weight = {"bar": 0.3, "half-round": 1.5}.get(part.size.shape, 1.0)
        total = total + weight * np.maximum(span - part.size.pitch, 0) + 0.1 * span
        # a transistor stands between its outer lanes
        total = total + _FAR * (span > part.size.reach * (2 if part.size.shape == "half-round" else 1))
    return total


def best_orders(
    lanes: Sequence[str], parts: Sequence[BoardPart], pitch: float, count: int = 3
) -> list[tuple[str, ...]]:
    """The `count` best orders found, the best first; deterministic.

    Every order is tried for up to 7 lanes, else a search by swaps and moves from several starts.
    """
    lanes = tuple(lanes)
    if len(lanes) <= _EXHAUSTIVE:
        positions = np.array(list(permutations(range(len(lanes)))))
        costs = cost(positions, lanes, parts, pitch)
        kept = np.argsort(costs, kind="stable")
        found = [positions[n] for n in kept if positions[n][0] <= positions[n][-1]]  # an order and its mirror are one
        return [_named(lanes, at) for at in found[:count]]
    starts = [np.arange(len(lanes))]
    rng = np.random.default_rng(7)
    starts += [rng.permutation(len(lanes)) for _ in range(5)]
    ends = {}
    for start in starts:
        at, price = _descend(start, lanes, parts, pitch)
        ends.setdefault(_named(lanes, at), price)
    return sorted(ends, key=lambda order: (ends[order], order))[:count]


def _named(lanes: tuple[str, ...], positions: np.ndarray) -> tuple[str, ...]:
    return tuple(lanes[n] for n in np.argsort(positions))


def _descend(
    at: np.ndarray, lanes: tuple[str, ...], parts: Sequence[BoardPart], pitch: float
) -> tuple[np.ndarray, float]:
    price = float(cost(at, lanes, parts, pitch))
    while True:
        give_way()
        near = np.array(list(_neighbours(at)))
        prices = cost(near, lanes, parts, pitch)
        best = int(np.argmin(prices))
        if prices[best] >= price - 1e-9:
            return at, price
        at, price = near[best], float(prices[best])


def _neighbours(at: np.ndarray):
    """All orders one swap away, and those with one lane moved elsewhere."""
    count = len(at)
    order = np.argsort(at)
    for i in range(count):
        for j in range(count):
            if i < j:
                swapped = at.copy()
                swapped[i], swapped[j] = at[j], at[i]
                yield swapped
            if i != j:
                moved = np.insert(np.delete(order, i), j, order[i])
                yield np.argsort(moved)
