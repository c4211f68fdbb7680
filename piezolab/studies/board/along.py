"""How far along the lanes each part goes: as far left as what is there already allows. Millimetres."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from piezolab.giving_way import give_way
from piezolab.studies.board.board_parts import HOLE
from piezolab.studies.board.lanes import TAPE_END
from piezolab.studies.board.placed import AIR, JOINT, Piece, Placed, Rect
from piezolab.studies.board.upright import CLEAR

_STEP = 0.5  # mm: places on tape are whole and half millimetres
_COLUMNS = 120


# mm between what two parts cover; joints stand off by a hole
_AIR = {(one, other): AIR for one in ("body", "lead", "joint") for other in ("body", "lead", "joint")}
_AIR |= {("body", "body"): 2 * AIR, ("joint", "joint"): HOLE - JOINT}


def compact(sequence: Sequence[Placed], y: Mapping[str, float], copper: float) -> list[Placed]:
    """Parts of one face in their order, each as far left as the earlier ones let it. copper: width of the lanes."""
    placed: list[Placed] = []
    for part in sequence:
        give_way()
        least = max((_apart(other, part, y, copper) for other in placed), default=0.0)
        placed.append(part.moved(max(-(-round(least - 1e-6, 6) // _STEP) * _STEP, 0.0)))
    return placed


def _apart(left: Placed, right: Placed, y: Mapping[str, float], copper: float) -> float:
    """The least x of a part at the right, for what lies at the left."""
    least = 0.0
    for rect, role, n in right.rects:
        for other, other_role, m in left.rects:
            air = _AIR[role, other_role]
            # joints stand off along their own lane wherever they land across it
            beside = role == other_role == "joint" and right.lanes[n] == left.lanes[m]
            if beside or (rect[1] < other[3] + air and other[1] < rect[3] + air):
                least = max(least, other[2] + air - rect[0])
    for (x, _), lane in zip(left.leads, left.lanes, strict=True):
        for rect, role, n in right.rects:
            if _foreign(right, role, n, lane) and _over(rect, y[lane], copper):
                least = max(least, x + TAPE_END + CLEAR - rect[0])
    for (x, _), lane in zip(right.leads, right.lanes, strict=True):
        for rect, role, n in left.rects:
            if _foreign(left, role, n, lane) and _over(rect, y[lane], copper):
                least = max(least, rect[2] + CLEAR - (x - TAPE_END))
    return least


def _foreign(part: Placed, role: str, n: int, lane: str) -> bool:
    return lane not in part.lanes if role == "body" else part.lanes[n] != lane


def _over(rect: Rect, height: float, copper: float) -> bool:
    half = copper / 2 + CLEAR - 0.01
    return rect[1] < height + half and height - half < rect[3]


def first_fit(choices: Sequence[Sequence[Placed]], placed: Sequence[Placed] = (), least: int = 0) -> list[Placed]:
    """Parts on the grid in the given order, each in the leftmost column where it touches nothing, after those placed.

    The copper lies on the other face. least: the column from which it is tried. Empty where a part finds no room.
    """
    done = list(placed)
    pieces: list[Piece] = [piece for part in done for piece in part.rects]
    for ways in choices:
        give_way()
        best: tuple[float, Placed, int] | None = None
        for way in ways:
            first, last = min(x for x, _ in way.leads), max(x for x, _ in way.leads)
            taken = _taken(way, pieces)
            for n in range(max(least, round(-first / HOLE)), _COLUMNS):
                if best is not None and n * HOLE + last >= best[0]:
                    break
                if not any(low < n * HOLE < high for low, high in taken):
                    best = (n * HOLE + last, way, n)
                    break
        if best is None:
            return []
        done.append(best[1].moved(best[2] * HOLE))
        pieces += done[-1].rects
    return done


def _taken(part: Placed, pieces: Sequence[Piece]) -> list[tuple[float, float]]:
    """Where a part at x = 0 must not be moved, as open intervals of x, for what lies there."""
    found = []
    for (left, low, right, high), role, _ in part.rects:
        for other, other_role, _ in pieces:
            air = _AIR[role, other_role]
            if low < other[3] + air - 1e-6 and other[1] < high + air - 1e-6:
                found.append((other[0] - right - air + 1e-6, other[2] - left + air - 1e-6))
    return found
