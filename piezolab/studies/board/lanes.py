"""The conductors of each way to build: how far apart lanes lie, of what they are made, where they begin and end."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from piezolab.studies.board.board_parts import HOLE
from piezolab.studies.board.placed import Placed
from piezolab.studies.board.shapes import PointMm

Strip = tuple[PointMm, PointMm]

TAPE_END = 1.5  # mm of tape beyond the outermost joint of a lane
_WIRE_END = 0.6  # mm of bare wire beyond it
_EDGE = 1.2  # mm that a joint keeps from the edge of copper tape


@dataclass(frozen=True)
class Method:
    """A way to make lanes.

    pitches: mm from lane to lane, the first that works is taken; width: mm of conductor; margin: mm from the outermost
    lane or body to the board's edge; one_face: whether leads lie on the lanes' own face; grid: whether leads land in
    holes 2.54 mm apart.
    """

    key: str
    title: str
    pitches: tuple[float, ...]
    width: float
    margin: float = 2.5
    one_face: bool = False
    grid: bool = False

    @property
    def aside(self) -> float:
        """How far from a lane's middle a lead may land, mm."""
        return max(self.width / 2 - _EDGE, 0.0) if self.key == "tape" else 0.0


METHODS: Mapping[str, Method] = {
    method.key: method
    for method in (
        Method("tape", "copper tape", (7.62,), 5.0, one_face=True),
        Method("stripboard", "stripboard", (HOLE,), 2.0, grid=True),
        Method("wire", "perfboard with bare wire", (2 * HOLE,), 0.8, grid=True),
        Method("breadboard", "plug-in breadboard", (5.08, 7.62, 10.16, 12.7), 1.8),
    )
}


@dataclass(frozen=True)
class Lane:
    """One node's conductor. strips: its straight pieces, end to end in mm; links: short wires that join pieces;
    leads: what lands on it, as (part, label of the lead)."""

    node: str
    strips: tuple[Strip, ...]
    links: tuple[Strip, ...]
    leads: tuple[tuple[str, str], ...]

    def moved(self, dx: float, dy: float) -> Lane:
        """The lane shifted."""

        def shift(strips: tuple[Strip, ...]) -> tuple[Strip, ...]:
            return tuple(((a[0] + dx, a[1] + dy), (b[0] + dx, b[1] + dy)) for a, b in strips)

        return replace(self, strips=shift(self.strips), links=shift(self.links))


def landings(node: str, placed: Sequence[Placed]) -> list[tuple[str, str, PointMm]]:
    """What lands on a lane: part, label of the lead, place."""
    return [
        (part.name, label, point)
        for part in placed
        for lane, label, point in zip(part.lanes, part.labels, part.leads, strict=True)
        if lane == node
    ]


def straight_lanes(
    method: Method, y: Mapping[str, float], placed: Sequence[Placed], gate: Sequence[str], guard: str
) -> tuple[Lane, ...]:
    """Lanes of tape or wire, each from its first joint to its last. guard: lane that also runs as far as the gate's."""
    beyond = TAPE_END if method.key == "tape" else _WIRE_END
    found = []
    for node, height in y.items():
        landed = landings(node, placed)
        xs = [x for *_, (x, _) in landed]
        if node == guard:
            xs += [x for lane in gate for *_, (x, _) in landings(lane, placed)]
        strip = ((min(xs) - beyond, height), (max(xs) + beyond, height))
        found.append(Lane(node, (strip,), (), tuple((name, label) for name, label, _ in landed)))
    return tuple(found)
