"""Parts on a plug-in breadboard: each where its leads reach holes of their lanes and nothing touches."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product
from math import hypot

from piezolab.giving_way import give_way
from piezolab.studies.board.board_parts import HOLE, BoardPart, Wire
from piezolab.studies.board.placed import Cover, Placed
from piezolab.studies.board.shapes import PointMm, collide

_BENT = 5.1  # mm further apart than their pitch that leads are looked for beyond what the lanes ask
_MOST = 400  # places tried for one part

Holes = Mapping[str, Sequence[PointMm]]


class Board:
    """What has been placed."""

    def __init__(self) -> None:
        self.placed: list[Placed] = []
        self._covers: list[Cover] = []
        self._joints: set[tuple[int, int]] = set()

    def fits(self, part: Placed) -> bool:
        """Whether a part touches nothing."""
        if not self._joints.isdisjoint(_holes(part)):
            return False
        left, low, right, high = part.reach
        near = [
            cover for cover in self._covers
            if left < cover[0][2] + 1 and cover[0][0] < right + 1 and low < cover[0][3] + 1 and cover[0][1] < high + 1
        ]  # fmt: skip
        for box, shape, role in part.covers:
            for other_box, other, other_role in near:
                if (
                    box[0] < other_box[2]
                    and other_box[0] < box[2]
                    and box[1] < other_box[3]
                    and other_box[1] < box[3]
                    and not (role == other_role == "joint")
                    and collide(shape, other)
                ):
                    return False
        return True

    def add(self, part: Placed) -> None:
        """Put a part where it is."""
        self.placed.append(part)
        self._covers += part.covers
        self._joints |= _holes(part)


def _holes(part: Placed) -> set[tuple[int, int]]:
    return {(round(x / HOLE), round(y / HOLE)) for x, y in part.leads}


def pack(
    sequence: Sequence[BoardPart],
    wires: Sequence[Wire],
    spots: Mapping[str, Sequence[Placed]],
) -> list[Placed] | None:
    """Parts placed in the given order, each at its first free spot; None where one finds no room.

    spots: of each part and wire, by name, the best first.
    """
    board = Board()
    for name in [*(wire.name for wire in wires), *(part.name for part in sequence)]:
        give_way()
        for spot in spots[name]:
            if board.fits(spot):
                board.add(spot)
                break
        else:
            return None
    return board.placed


def spots_of(part: BoardPart, holes: Holes) -> list[Placed]:
    """Places for a part on the holes of its lanes, the shortest first."""
    if part.size.shape == "half-round":
        return _triples(part, holes)
    size, (one, other) = part.size, part.lanes
    columns = _by_column(holes[other])
    pairs = []
    for a in holes[one]:
        give_way()
        near = []
        for x, column in columns.items():
            for b in column:
                apart = hypot(a[0] - x, a[1] - b[1])
                if size.pitch - 0.1 <= apart <= size.reach:
                    near.append((apart, abs(a[0] - x), b))
        near.sort()
        # beyond the least that the lanes ask for there is no use on lanes without an end
        limit = near[0][0] + _BENT if near else 0.0
        pairs += [(apart, a, b) for apart, _, b in near if apart <= limit]
    pairs.sort(key=lambda pair: (round(pair[0], 3), pair[1], pair[2]))
    return [
        Placed(
            part.name, part.kind, part.lanes, part.leads, (a, b), ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2),
            size.shape, size.length, size.width,
        )
        for _, a, b in pairs[:_MOST]
    ]  # fmt: skip


def _triples(part: BoardPart, holes: Holes) -> list[Placed]:
    """A transistor's legs on three neighbouring columns of holes, one on each lane."""
    columns = [_by_column(holes[lane]) for lane in part.lanes]
    found = []
    for x in sorted(columns[0]):
        beside = (round(x + HOLE, 6), round(x + 2 * HOLE, 6))
        choices = product(columns[0][x], columns[1].get(beside[0], ()), columns[2].get(beside[1], ()))
        reached = [leads for leads in choices if _spread(leads) <= 2 * part.size.reach]
        reached.sort(key=lambda leads: (_spread(leads), leads))
        for leads in reached:
            low, middle, high = sorted(y for _, y in leads)
            for y in dict.fromkeys((middle, (low + high) / 2, low - HOLE, high + HOLE)):
                if max(high - y, y - low) <= part.size.reach:
                    found.append(
                        Placed(
                            part.name, part.kind, part.lanes, part.leads, leads, (leads[1][0], y), "half-round",
                            part.size.length, part.size.width,
                        )
                    )  # fmt: skip
    return found[:_MOST]


def _by_column(holes: Sequence[PointMm]) -> dict[float, list[PointMm]]:
    columns: dict[float, list[PointMm]] = {}
    for hole in holes:
        columns.setdefault(hole[0], []).append(hole)
    return columns


def _spread(leads: Sequence[PointMm]) -> float:
    return max(y for _, y in leads) - min(y for _, y in leads)


def wire_spots(wire: Wire, holes: Holes) -> list[Placed]:
    """Places for a wire that leaves the board: on its side's end of the lane first."""
    inward = 1 if wire.side == "left" else -1
    ends = sorted(holes[wire.lane], key=lambda hole: (inward * hole[0], hole[1]))
    return [Placed(wire.name, "wire", (wire.lane,), ("",), (hole,), hole, "wire", 1.8, 1.8) for hole in ends]
