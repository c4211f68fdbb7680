"""A plug-in breadboard: lanes are rows of five contacts or rails, and what joins them are links."""

from __future__ import annotations

from collections.abc import Sequence

from piezolab.chain.assembly import GROUND, SUPPLY
from piezolab.studies.board.board_parts import HOLE, BoardPart
from piezolab.studies.board.lanes import Lane, Strip, landings
from piezolab.studies.board.placed import Placed
from piezolab.studies.board.shapes import PointMm

# across: rails, holes a to e, groove, holes f to j, rails
_UPPER, _LOWER = (0, 1, 2, 3, 4), (7, 8, 9, 10, 11)
_LINK = (4, 7)  # e and f are kept for a link across the groove
_RAIL = {GROUND: (-3, 14), SUPPLY: (-4, 15)}
_TO_RAIL = 0  # a is kept for a link to the rail, where a lane has a row and a rail
ROWS = (30, 63)
LETTERS = dict(zip((*_UPPER, *_LOWER), "abcdefghij", strict=True))
RAILS = {-4: "left + rail", -3: "left − rail", 14: "right − rail", 15: "right + rail"}


def plug_in_holes(
    order: Sequence[str], parts: Sequence[BoardPart], pitch: float
) -> tuple[dict[str, float], dict[str, list[PointMm]]]:
    """Height in mm of each row, and the holes of every lane where leads may land.

    Ground and supply are rails; they have a row too only where a transistor stands on them.
    """
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


def plug_in_lanes(order: Sequence[str], heights: dict[str, float], placed: Sequence[Placed]) -> tuple[Lane, ...]:
    """The lanes with their contacts and links, for what was placed."""
    found = []
    for node in order:
        landed = landings(node, placed)
        strips, links = _breadboard(node, heights.get(node), [point for *_, point in landed], placed)
        found.append(Lane(node, strips, links, tuple((name, label) for name, label, _ in landed)))
    return tuple(found)


def rows_needed(heights: dict[str, float]) -> int:
    """Rows of the breadboard that takes it."""
    needed = round((max(heights.values()) - min(heights.values())) / HOLE) + 1
    return next((count for count in ROWS if needed <= count), needed)


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
