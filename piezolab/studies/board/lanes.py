"""The conductors of each way to build: how far apart lanes lie, of what they are made, where leads can land on them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from piezolab.chain.assembly import GROUND, SUPPLY
from piezolab.studies.board.board_parts import HOLE, BoardPart
from piezolab.studies.board.packing import Placed
from piezolab.studies.board.shapes import PointMm

Strip = tuple[PointMm, PointMm]

SLOTS = 60  # of 2.54 mm along a lane
_EDGE = 1.2  # mm that a joint keeps from the edge of copper tape
# a plug-in breadboard across: rails, rows a to e, groove, rows f to j, rails
_UPPER, _LOWER = (0, 1, 2, 3, 4), (7, 8, 9, 10, 11)
_LINK = (4, 7)  # e and f are kept for a link across the groove
_RAIL = {GROUND: (-3, 14), SUPPLY: (-4, 15)}
_TO_RAIL = 0  # a is kept for a link to the rail, where a lane has a column and a rail
COLUMNS = (30, 63)


@dataclass(frozen=True)
class Method:
    """A way to make lanes.

    pitches: mm from lane to lane, the first that works is taken; width: mm of conductor; margin: mm from the outermost
    lane or body to the board's edge; same_face: whether leads cross lanes on the lanes' own face.
    """

    key: str
    title: str
    pitches: tuple[float, ...]
    width: float
    margin: float = 2.5
    same_face: bool = True


METHODS: Mapping[str, Method] = {
    method.key: method
    for method in (
        Method("tape", "copper tape", (7.62,), 5.0),
        Method("stripboard", "stripboard", (HOLE,), 2.0, same_face=False),
        Method("wire", "bare wire", (5.08,), 0.8),
        Method("breadboard", "plug-in breadboard", (5.08, 7.62, 10.16, 12.7), 1.8, same_face=False),
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


def holes_of(
    method: Method, order: Sequence[str], parts: Sequence[BoardPart], pitch: float
) -> tuple[dict[str, float], dict[str, list[PointMm]]]:
    """Height in mm of each lane that lies across the board, and the holes of every lane where leads may land.

    On a breadboard ground and supply are rails; they have a column too only where a transistor stands on them.
    """
    if method.key != "breadboard":
        heights = {lane: round(n * pitch, 6) for n, lane in enumerate(order)}
        aside = method.width / 2 - _EDGE  # a lead may land beside the middle of a wide lane
        rows = (0.0, aside, -aside) if method.key == "tape" and aside > 0.5 else (0.0,)
        return heights, {
            lane: [(round(n * HOLE, 6), round(y + row, 6)) for n in range(SLOTS) for row in rows]
            for lane, y in heights.items()
        }
    return _breadboard_holes(order, parts, pitch)


def _breadboard_holes(
    order: Sequence[str], parts: Sequence[BoardPart], pitch: float
) -> tuple[dict[str, float], dict[str, list[PointMm]]]:
    under_transistor = {lane for part in parts if part.kind == "jfet" for lane in part.lanes}
    columns = [lane for lane in order if lane not in _RAIL or lane in under_transistor]
    heights = {lane: round(n * pitch, 6) for n, lane in enumerate(columns)}
    top = max(heights.values()) + 4 * HOLE
    along = [round(n * HOLE, 6) for n in range(-4, round(top / HOLE) + 1)]
    holes: dict[str, list[PointMm]] = {}
    for lane in order:
        kept = {*_LINK, *((_TO_RAIL,) if lane in _RAIL else ())}
        holes[lane] = []
        if lane in heights:
            holes[lane] += [(round(n * HOLE, 6), heights[lane]) for n in (*_UPPER, *_LOWER) if n not in kept]
        for n in _RAIL.get(lane, ()):
            holes[lane] += [(round(n * HOLE, 6), y) for y in along]
    return heights, holes


def lanes_made(
    method: Method,
    order: Sequence[str],
    heights: Mapping[str, float],
    placed: Sequence[Placed],
    ends: tuple[float, float],
) -> tuple[Lane, ...]:
    """The lanes with their pieces, for what was placed. ends: left and right edge of the board, mm."""
    return tuple(_lane(method, node, heights.get(node), placed, ends) for node in order)


def _lane(
    method: Method, node: str, height: float | None, placed: Sequence[Placed], ends: tuple[float, float]
) -> Lane:
    landings = [
        (part.name, label, point)
        for part in placed
        for lane, label, point in zip(part.lanes, part.labels, part.leads, strict=True)
        if lane == node
    ]
    leads = tuple((name, label) for name, label, _ in landings)
    points = [point for *_, point in landings]
    if method.key != "breadboard":
        xs = [x for x, _ in points]
        left, right = ends if method.key == "stripboard" else (min(xs) - 1.5, max(xs) + 1.5)
        return Lane(node, (((left, height), (right, height)),), (), leads)
    return Lane(node, *_breadboard(node, height, points, placed), leads)


def _breadboard(
    node: str, height: float | None, points: Sequence[PointMm], placed: Sequence[Placed]
) -> tuple[tuple[Strip, ...], tuple[Strip, ...]]:
    strips: list[Strip] = []
    links: list[Strip] = []
    ys = [y for part in placed for _, y in part.leads]
    low, high = min(ys) - HOLE, max(ys) + HOLE
    slots = [round(x / HOLE) for x, _ in points]
    rails = [slot for slot in _RAIL.get(node, ()) if slot in slots]
    halves = [half for half in (_UPPER, _LOWER) if height is not None and set(half) & set(slots)]
    if halves and node in _RAIL:  # the way from column to rail starts at a
        home = _RAIL[node][0]
        halves = [_UPPER, *(half for half in halves if half is _LOWER)]
        rails = sorted({home, *rails}, key=_RAIL[node].index)
        links.append(((_TO_RAIL * HOLE, height), (home * HOLE, height)))
    for half in halves:
        strips.append(((half[0] * HOLE, height), (half[-1] * HOLE, height)))
    if len(halves) == 2:
        links.append(((_LINK[0] * HOLE, height), (_LINK[1] * HOLE, height)))
    for slot in rails:
        strips.append(((slot * HOLE, low - HOLE), (slot * HOLE, high + HOLE)))
    if len(rails) == 2:  # round the end of the board
        end = low - HOLE if node == GROUND else high + HOLE
        links.append(((rails[0] * HOLE, end), (rails[1] * HOLE, end)))
    return tuple(strips), tuple(links)
