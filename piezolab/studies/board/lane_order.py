"""In which order the lanes lie side by side: no part reaches far, few lanes between its leads, the gate away from what
drives it. Lengths in mm; an order goes from the lowest lane to the topmost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import permutations
from math import ceil

import numpy as np

from piezolab.giving_way import give_way
from piezolab.studies.board.board_parts import BoardPart, Size

_EXHAUSTIVE = 7  # lanes up to which every order is tried
_FAR = 1e4
_APART = 15.0  # mm between the gate's lanes and those of supply and output, beyond which more is of no use
_KEPT = 30  # neighbours of the best order that a search keeps


@dataclass(frozen=True)
class LaneRules:
    """What a way to build asks of its lanes.

    pitch: least from lane to lane; step: of the grid on which leads land, 0 where they land anywhere; aside: how far
    from a lane's middle a lead may land; upright: leads run straight across the lanes; one_face: leads lie on the
    lanes' own face; body: distance of the two lanes between which a transistor's body then lies; gate: the lanes that
    must not leak; guard: lane to lie between them and all others, "" for none; away: lanes to keep far from the gate's.
    """

    pitch: float
    step: float = 0.0
    aside: float = 0.0
    upright: bool = True
    one_face: bool = False
    body: float = 0.0
    gate: tuple[str, ...] = ()
    guard: str = ""
    away: tuple[str, ...] = ()

    def least(self, size: Size) -> float:
        """Least distance of two lanes that a two-lead part of this size joins."""
        if not self.upright:
            return 0.0
        least = max(size.pitch - 2 * self.aside, 0.0)
        return ceil(round(least / self.step, 6)) * self.step if self.step else least


def heights(orders: np.ndarray, lanes: Sequence[str], parts: Sequence[BoardPart], rules: LaneRules) -> np.ndarray:
    """Heights (orders, lanes) of the lanes, mm, for orders (orders, lanes) of their numbers: as low as parts allow."""
    index = {lane: n for n, lane in enumerate(lanes)}
    near = np.zeros((len(lanes), len(lanes)))
    for part in parts:
        if len(part.lanes) == 2:
            a, b = (index[lane] for lane in part.lanes)
            near[a, b] = near[b, a] = max(near[a, b], rules.least(part.size))
    asked = near[orders[:, :, None], orders[:, None, :]]
    found = np.zeros(orders.shape)
    for k in range(1, orders.shape[1]):
        below = (found[:, :k] + asked[:, k, :k]).max(axis=1)
        found[:, k] = np.maximum(found[:, k - 1] + rules.pitch, below)
    at = np.empty(orders.shape)
    np.put_along_axis(at, orders, found, axis=1)
    return at


def cost(at: np.ndarray, lanes: Sequence[str], parts: Sequence[BoardPart], rules: LaneRules) -> np.ndarray:
    """Cost, about in mm of lead to bend, of heights (..., lanes): reach beyond the part's own pitch, lanes passed, a
    gate near supply or output; very much where a lead is too short or the guard does not lie beside the gate."""
    index = {lane: n for n, lane in enumerate(lanes)}
    total = 0.15 * at.max(axis=-1)
    for part in parts:
        ends = np.sort(at[..., [index[lane] for lane in part.lanes]], axis=-1)
        low, high = ends[..., 0], ends[..., -1]
        span = high - low
        if part.size.shape == "half-round":
            total = total + span + _FAR * ~_legs_reach(ends, part.size.reach, rules)
        else:
            weight = 0.3 if part.size.shape == "bar" else 1.0
            total = total + weight * np.maximum(span - part.size.pitch, 0) + 0.1 * span
            total = total + _FAR * (span - 2 * rules.aside > part.size.reach)
        if rules.one_face:
            total = total + 2.0 * ((at > low[..., None] + 0.01) & (at < high[..., None] - 0.01)).sum(axis=-1)
    return total + _gate_cost(at, index, rules)


def _legs_reach(ends: np.ndarray, reach: float, rules: LaneRules) -> np.ndarray:
    """Whether a transistor's legs reach lanes at heights (..., 3), low to high, from a body between or over them."""
    low, middle, high = ends[..., 0], ends[..., 1], ends[..., 2]
    if not rules.one_face:
        return high - low <= 2 * reach
    gap = max(rules.body, rules.pitch)  # the body lies beside the middle lane; the gap there widens what spans it
    near, far = reach + rules.aside - gap / 2, reach + rules.aside + gap / 2 - (gap - rules.pitch)
    one, other = high - middle, middle - low
    return (np.minimum(one, other) <= near + 0.01) & (np.maximum(one, other) <= far + 0.01)


def _gate_cost(at: np.ndarray, index: dict[str, int], rules: LaneRules) -> np.ndarray:
    gate = [index[lane] for lane in rules.gate if lane in index]
    away = [index[lane] for lane in rules.away if lane in index and lane not in rules.gate]
    found = np.zeros(at.shape[:-1])
    if gate and away:
        apart = np.abs(at[..., gate][..., :, None] - at[..., away][..., None, :])
        found = found - 0.8 * np.minimum(apart.min(axis=(-1, -2)), _APART)
    if gate and rules.guard in index and rules.guard not in rules.gate:
        rank = (at[..., :, None] > at[..., None, :]).sum(axis=-1)
        outermost = at.shape[-1] - len(gate)
        beside = (rank[..., gate].min(axis=-1) == outermost) & (rank[..., index[rules.guard]] == outermost - 1)
        found = found + _FAR * ~beside
    return found


def best_orders(
    lanes: Sequence[str], parts: Sequence[BoardPart], rules: LaneRules, count: int = 3
) -> list[tuple[str, ...]]:
    """The `count` best orders found, the best first; deterministic.

    Every order is tried for up to 7 lanes, else a search by swaps and moves from several starts. An order and its
    mirror image count as one. An order that asks too much of a lead, or leaves the gate unguarded, comes only where
    there is no other.
    """
    lanes = tuple(lanes)
    ends: dict[tuple[int, ...], float]
    if len(lanes) <= _EXHAUSTIVE:
        orders = np.array(list(permutations(range(len(lanes)))))
        prices = _price(orders, lanes, parts, rules)
        ends = {tuple(orders[n]): float(prices[n]) for n in np.argsort(prices, kind="stable")[: 4 * count]}
    else:
        starts = [np.arange(len(lanes))]
        rng = np.random.default_rng(7)
        starts += [rng.permutation(len(lanes)) for _ in range(5)]
        ends = {}
        for start in (*starts, *(_guarded(start, lanes, rules) for start in starts[:4] if rules.guard in lanes)):
            ends |= _descend(start, lanes, parts, rules)
    ranked = sorted(ends, key=lambda order: (ends[order], order))
    if ends[ranked[0]] < _FAR / 2:
        ranked = [order for order in ranked if ends[order] < _FAR / 2]
    kept: list[tuple[int, ...]] = []
    for order in ranked:
        if order[::-1] not in kept:
            kept.append(order)
    return [tuple(lanes[n] for n in order) for order in kept[:count]]


def _guarded(order: np.ndarray, lanes: tuple[str, ...], rules: LaneRules) -> np.ndarray:
    """An order with the gate's lanes topmost and the guard beside them."""
    last = [lanes.index(lane) for lane in (rules.guard, *rules.gate) if lane in lanes]
    return np.array([n for n in order if n not in last] + last)


def _price(orders: np.ndarray, lanes: Sequence[str], parts: Sequence[BoardPart], rules: LaneRules) -> np.ndarray:
    return cost(heights(orders, lanes, parts, rules), lanes, parts, rules)


def _descend(
    order: np.ndarray, lanes: tuple[str, ...], parts: Sequence[BoardPart], rules: LaneRules
) -> dict[tuple[int, ...], float]:
    """The end of a descent and the best of its neighbours, with their prices."""
    price = float(_price(order[None], lanes, parts, rules)[0])
    while True:
        give_way()
        near = order[_moves(len(order))]
        prices = _price(near, lanes, parts, rules)
        best = int(np.argmin(prices))
        if prices[best] >= price - 1e-9:
            kept = np.argsort(prices, kind="stable")[:_KEPT]
            return {tuple(order): price} | {tuple(near[n]): float(prices[n]) for n in kept}
        order, price = near[best], float(prices[best])


@lru_cache(maxsize=16)
def _moves(count: int) -> np.ndarray:
    """All orders of `count` places one swap away from 0, 1, 2 ..., and those with one place moved elsewhere."""
    places = list(range(count))
    found = []
    for i in range(count):
        for j in range(count):
            if i < j:
                found.append([j if n == i else i if n == j else n for n in places])
            if i != j:
                rest = places[:i] + places[i + 1 :]
                found.append(rest[:j] + [i] + rest[j:])
    return np.array(found)
