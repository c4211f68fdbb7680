"""A part where it lies: joints, body and the bare wire between them. Millimetres, x right, y up."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from math import hypot

from piezolab.studies.board.shapes import PointMm, Polygon, bar, bounds, disc, line

LEAD = 0.8  # mm: a lead, and the room it wants
AIR = 0.3  # mm round each body
JOINT = 1.4  # mm: a lead that comes up through or lies on its lane, with some air
PIN = 1.27  # mm between a transistor's legs at its body

Rect = tuple[float, float, float, float]
Cover = tuple[Rect, Polygon, str]
Segment = tuple[int, PointMm, PointMm]
Piece = tuple[Rect, str, int]


@dataclass(frozen=True)
class Placed:
    """A part or wire with its places in mm. labels: of its leads; leads: where each lands; centre: of the body; flat:
    -1 where a transistor's flat face looks down the picture, 1 where it looks up it."""

    name: str
    kind: str
    lanes: tuple[str, ...]
    labels: tuple[str, ...]
    leads: tuple[PointMm, ...]
    centre: PointMm
    shape: str
    length: float
    width: float
    flat: int = -1

    def moved(self, dx: float, dy: float = 0.0) -> Placed:
        """The part shifted."""
        leads = tuple((round(x + dx, 6), round(y + dy, 6)) for x, y in self.leads)
        return replace(self, leads=leads, centre=(round(self.centre[0] + dx, 6), round(self.centre[1] + dy, 6)))

    def body(self, air: float = 0.0) -> Polygon:
        """Outline of the body, with some air round it."""
        if self.shape in ("can", "wire"):
            return disc(self.centre, self.length + 2 * air)
        if self.shape == "half-round":
            x, y = self.centre
            return bar((x - 1, y), (x + 1, y), self.length + 2 * air, self.width + 2 * air)
        return bar(*self.leads, self.length + 2 * air, self.width + 2 * air)

    def segments(self) -> tuple[Segment, ...]:
        """The bare wire of each lead, straight piece by straight piece from the body to the joint: (lead, from, to).

        A transistor's leg leaves its body sideways and then turns towards its lane.
        """
        if self.shape == "half-round":
            x, y = self.centre
            pieces = []
            for n, (jx, jy) in enumerate(self.leads):
                pin = (x - self.flat * PIN * (n - 1), y)
                pieces += [(n, pin, (jx, y)), (n, (jx, y), (jx, jy))]
            return tuple(piece for piece in pieces if piece[1] != piece[2])
        if len(self.leads) != 2:
            return ()
        (ax, ay), (bx, by) = self.leads
        span = hypot(bx - ax, by - ay)
        part = min(self.length / span, 1.0) / 2
        (cx, cy), dx, dy = self.centre, (bx - ax) * part, (by - ay) * part
        return ((0, (cx - dx, cy - dy), (ax, ay)), (1, (cx + dx, cy + dy), (bx, by)))

    def wires(self) -> tuple[tuple[PointMm, PointMm], ...]:
        """The leads as straight lines, that under a body too."""
        if self.shape == "half-round":
            return tuple((a, b) for _, a, b in self.segments())
        return ((self.leads[0], self.leads[-1]),) if len(self.leads) == 2 else ()

    @cached_property
    def covers(self) -> tuple[Cover, ...]:
        """What the part covers: its body, its leads, its joints, each with its bounds."""
        shapes = [(self.body(AIR), "body")]
        shapes += [(line(a, b, LEAD), "lead") for a, b in self.wires()]
        shapes += [(disc(point, JOINT), "joint") for point in self.leads]
        return tuple((bounds(shape), shape, role) for shape, role in shapes)

    @cached_property
    def rects(self) -> tuple[Piece, ...]:
        """What an upright part covers as (rectangle, role, number of the lead or -1): body and leads without air."""
        found = [(bounds(self.body()), "body", -1)]
        half = LEAD / 2
        for n, (ax, ay), (bx, by) in self.segments():
            rect = (min(ax, bx) - half, min(ay, by) - half, max(ax, bx) + half, max(ay, by) + half)
            found.append((rect, "lead", n))
        r = JOINT / 2
        found += [((x - r, y - r, x + r, y + r), "joint", n) for n, (x, y) in enumerate(self.leads)]
        return tuple(found)

    @cached_property
    def reach(self) -> Rect:
        """Bounds of all that the part covers."""
        rects = [rect for rect, _, _ in self.rects]
        return (
            min(rect[0] for rect in rects), min(rect[1] for rect in rects), max(rect[2] for rect in rects),
            max(rect[3] for rect in rects),
        )  # fmt: skip
