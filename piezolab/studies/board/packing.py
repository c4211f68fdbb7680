"""Parts on lanes: each where its leads reach holes of their lanes and nothing touches, as far left as it goes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from math import hypot

from piezolab.giving_way import give_way
from piezolab.studies.board.board_parts import HOLE, BoardPart, Wire
from piezolab.studies.board.shapes import PointMm, Polygon, bar, bounds, collide, disc, line

LEAD = 0.8  # mm: a lead, and the room it wants
AIR = 0.3  # mm round each body
JOINT = 1.4  # mm: a lead that comes up through or lies on its lane, with some air
_BENT = 5.1  # mm further apart than their pitch that leads are looked for beyond what the lanes ask
_MOST = 400  # places tried for one part

Holes = Mapping[str, Sequence[PointMm]]
Cover = tuple[tuple[float, float, float, float], Polygon, str]


@dataclass(frozen=True)
class Placed:
    """A part or wire with its places in mm. labels: of its leads; leads: where each lands; centre: of the body."""

    name: str
    kind: str
    lanes: tuple[str, ...]
    labels: tuple[str, ...]
    leads: tuple[PointMm, ...]
    centre: PointMm
    shape: str
    length: float
    width: float

    def body(self, air: float = 0.0) -> Polygon:
        """Outline of the body, with some air round it."""
        if self.shape in ("can", "wire"):
            return disc(self.centre, self.length + 2 * air)
        if self.shape == "half-round":
            x, y = self.centre
            return bar((x - 1, y), (x + 1, y), self.length + 2 * air, self.width + 2 * air)
        return bar(*self.leads, self.length + 2 * air, self.width + 2 * air)

    def wires(self) -> tuple[tuple[PointMm, PointMm], ...]:
        """The leads as straight lines: to the other end, or to the body's own pin."""
        if self.shape == "half-round":
            x, y = self.centre
            pins = ((x + 1.27 * n, y) for n in (-1, 0, 1))
            return tuple(zip(pins, self.leads, strict=True))
        return ((self.leads[0], self.leads[-1]),) if len(self.leads) == 2 else ()

    @cached_property
    def covers(self) -> tuple[Cover, ...]:
        """What the part covers: its body, its leads, its joints, each with its bounds."""
        shapes = [(self.body(AIR), "body")]
        shapes += [(line(a, b, LEAD), "lead") for a, b in self.wires()]
        shapes += [(disc(point, JOINT), "joint") for point in self.leads]
        return tuple((bounds(shape), shape, role) for shape, role in shapes)


class Board:
    """What has been placed."""

    def __init__(self) -> None:
        self.placed: list[Placed] = []
        self._covers: list[Cover] = []
        self._joints: list[PointMm] = []

    def fits(self, part: Placed) -> bool:
        """Whether a part touches nothing."""
        for x, y in part.leads:
            if any(abs(x - jx) < HOLE - 0.1 and abs(y - jy) < HOLE - 0.1 for jx, jy in self._joints):
                return False
        for box, shape, role in part.covers:
            for other_box, other, other_role in self._covers:
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
        self._joints += part.leads


def pack(
    sequence: Sequence[BoardPart],
    wires: Sequence[Wire],
    spots: Mapping[str, Sequence[Placed]],
    ordered: bool,
) -> list[Placed] | None:
    """Parts placed in the given order, each at its first free spot; None where one finds no room.

    spots: of each part and wire, by name, the best first; ordered: wires of the right edge come last, right of all.
    """
    board = Board()
    early = [wire.name for wire in wires if wire.side == "left" or not ordered]
    late = [wire.name for wire in wires if wire.name not in early]
    for name in [*early, *(part.name for part in sequence), *late]:
        give_way()
        edge = max(x for part in board.placed for x, _ in part.leads) if name in late else None
        for spot in spots[name]:
            if (edge is None or spot.leads[0][0] >= edge - 0.01) and board.fits(spot):
                board.add(spot)
                break
        else:
            return None
    return board.placed


def spots_of(part: BoardPart, holes: Holes, leftmost: bool) -> list[Placed]:
    """Places for a part on the holes of its lanes. leftmost: from the left, else the shortest first."""
    if part.size.shape == "half-round":
        return _triples(part, holes, leftmost)
    size, (one, other) = part.size, part.lanes
    columns = _by_column(holes[other])
    pairs = []
    for a in holes[one]:
        give_way()
        near = []
        for x, column in columns.items():
            if leftmost and abs(x - a[0]) > size.pitch + HOLE:
                continue
            for b in column:
                apart = hypot(a[0] - x, a[1] - b[1])
                if size.pitch - 0.1 <= apart <= size.reach:
                    near.append((apart, abs(a[0] - x), b))
        near.sort()
        # beyond the least that the lanes ask for there is no use on lanes without an end
        limit = near[0][0] + (0.01 if leftmost else _BENT) if near else 0.0
        pairs += [(apart, a, b) for apart, _, b in near if apart <= limit]
    if leftmost:
        pairs.sort(key=lambda pair: (max(pair[1][0], pair[2][0]), pair[0], pair[1], pair[2]))
    else:
        pairs.sort(key=lambda pair: (round(pair[0], 3), pair[1], pair[2]))
    return [
        Placed(
            part.name, part.kind, part.lanes, part.leads, (a, b), ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2),
            size.shape, size.length, size.width,
        )
        for _, a, b in pairs[:_MOST]
    ]  # fmt: skip


def _triples(part: BoardPart, holes: Holes, leftmost: bool) -> list[Placed]:
    """A transistor's legs on three neighbouring columns of holes, one on each lane."""
    columns = [_by_column(holes[lane]) for lane in part.lanes]
    found = []
    for x in sorted(columns[0]):
        beside = (round(x + HOLE, 6), round(x + 2 * HOLE, 6))
        choices = product(columns[0][x], columns[1].get(beside[0], ()), columns[2].get(beside[1], ()))
        reached = [leads for leads in choices if _spread(leads) <= 2 * part.size.reach]
        reached.sort(key=lambda leads: (_spread(leads), leads))
        for leads in reached[: 1 if leftmost else None]:
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


def wire_spots(wire: Wire, holes: Holes, leftmost: bool) -> list[Placed]:
    """Places for a wire that leaves the board: on its side's end of the lane first."""
    inward = 1 if wire.side == "left" or leftmost else -1
    ends = sorted(holes[wire.lane], key=lambda hole: (inward * hole[0], hole[1]))
    return [Placed(wire.name, "wire", (wire.lane,), ("",), (hole,), hole, "wire", 1.8, 1.8) for hole in ends]
