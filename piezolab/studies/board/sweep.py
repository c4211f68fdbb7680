"""Parts across lanes on one face, from left to right, so that as few as can be pass over a lane that is not theirs.

A lane lies bare from its first part to its last. So a part passes over a lane between its leads exactly where that lane
has begun and has not ended. A beam search keeps the best beginnings; common practice of such searches, no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from piezolab.giving_way import give_way
from piezolab.studies.board.placed import Placed, Rect
from piezolab.studies.board.upright import CLEAR

_BEAM = 24
_CROSSING = 100.0
_OVER_GUARD = 6.0
_OPEN_GATE = 3.0
_OPEN = 0.05


@dataclass(frozen=True)
class _Column:
    """One column of a part: the lane it lands on, the lanes whose copper it would pass."""

    lands: tuple[str, ...]
    passes: tuple[str, ...]


def left_to_right(
    choices: Sequence[Sequence[Placed]], y: Mapping[str, float], width: float, gate: Sequence[str], guard: str
) -> tuple[Placed, ...]:
    """One of the ways of each part (`choices`), in the order found. y: heights of the lanes, mm; width: of their
    copper; gate: lanes to keep short; guard: the lane that parts may rather pass over."""
    lanes = tuple(y)
    bit = {lane: 1 << n for n, lane in enumerate(lanes)}
    users = _users(choices, lanes, gate, guard)
    columns = [[(way, _columns(way, y, width)) for way in ways] for ways in choices]
    price = {lane: _OVER_GUARD if lane == guard else _CROSSING for lane in lanes}
    waiting = {lane: _OPEN_GATE if lane in gate else _OPEN for lane in lanes}
    whole = (1 << len(choices)) - 1
    beam: dict[int, tuple[float, tuple[Placed, ...]]] = {0: (0.0, ())}
    for _ in choices:
        give_way()
        grown: dict[int, tuple[float, tuple[Placed, ...]]] = {}
        for mask, (cost, before) in beam.items():
            begun = _sum(bit, users, mask)
            for n in _left_out(mask, len(choices)):
                after = mask | 1 << n
                still = whole & ~after
                to_come = _sum(bit, users, still)
                waits = cost + _waits(waiting, users, after, still)
                for way, found in columns[n]:
                    new = waits + _crossed(found, begun, to_come, bit, price)
                    if after not in grown or new < grown[after][0]:
                        grown[after] = (new, (*before, way))
        best = sorted(grown, key=lambda mask: (grown[mask][0], mask))[:_BEAM]
        beam = {mask: grown[mask] for mask in best}
    return beam[whole][1]


def _sum(bit: Mapping[str, int], users: Mapping[str, int], mask: int) -> int:
    """The lanes on which any of these parts lands."""
    return sum(bit[lane] for lane, parts in users.items() if parts & mask)


def _waits(waiting: Mapping[str, float], users: Mapping[str, int], after: int, still: int) -> float:
    """What the lanes cost that have begun and not ended."""
    return sum(price for lane, price in waiting.items() if users[lane] & after and users[lane] & still)


def _users(
    choices: Sequence[Sequence[Placed]], lanes: Sequence[str], gate: Sequence[str], guard: str
) -> dict[str, int]:
    """Of each lane the parts that land on it, a bit for each."""
    users = dict.fromkeys(lanes, 0)
    for n, ways in enumerate(choices):
        for lane in ways[0].lanes:
            users[lane] |= 1 << n
    if guard in users:  # it runs beside the gate's lanes from end to end
        for lane in gate:
            users[guard] |= users.get(lane, 0)
    return users


def _left_out(mask: int, count: int) -> list[int]:
    return [n for n in range(count) if not mask >> n & 1]


def _crossed(
    columns: Sequence[_Column], begun: int, to_come: int, bit: Mapping[str, int], price: Mapping[str, float]
) -> float:
    found = 0.0
    for n, column in enumerate(columns):
        if not column.passes:
            continue
        left, right = begun, to_come
        for other in columns[: n + 1]:
            for lane in other.lands:
                left |= bit[lane]
        for other in columns[n:]:
            for lane in other.lands:
                right |= bit[lane]
        for lane in column.passes:
            if left & right & bit[lane]:
                found += price[lane]
    return found


def _columns(way: Placed, y: Mapping[str, float], width: float) -> tuple[_Column, ...]:
    half = width / 2 + CLEAR
    if way.shape != "half-round":
        _, low, _, high = way.reach
        passed = tuple(lane for lane in _between(y, low, high, half) if lane not in way.lanes)
        return (_Column(way.lanes, passed),)
    found = []
    for n in sorted(range(len(way.leads)), key=lambda n: way.leads[n][0]):
        rects: list[Rect] = [rect for rect, role, lead in way.rects if role == "lead" and lead == n]
        low, high = min(rect[1] for rect in rects), max(rect[3] for rect in rects)
        passed = tuple(lane for lane in _between(y, low, high, half) if lane != way.lanes[n])
        found.append(_Column((way.lanes[n],), passed))
    return tuple(found)


def _between(y: Mapping[str, float], low: float, high: float, half: float) -> list[str]:
    """Lanes whose copper, with its clearance, lies between two heights."""
    return [lane for lane, at in y.items() if low < at + half - 0.01 and at - half + 0.01 < high]
