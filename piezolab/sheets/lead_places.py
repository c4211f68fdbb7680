"""Where a lead lands, as a maker finds it: strip and column, row and hole, or millimetres; and in which order."""

from __future__ import annotations

from dataclasses import dataclass

from piezolab.studies.board.board_parts import HOLE
from piezolab.studies.board.layout import Layout
from piezolab.studies.board.placed import Placed
from piezolab.studies.board.plug_in import LETTERS, RAILS

_ORDER = ("bar", "box", "can", "half-round", "wire")  # the lowest first, the transistor last, then wires


@dataclass(frozen=True)
class Lead:
    """One lead in the order of work. number: from 1; lead: its place among the part's; address: see `address`."""

    number: int
    part: Placed
    lead: int
    address: str


def letter(row: int) -> str:
    """A, B, ... Z, AA, AB ... of a row counted from 0."""
    return (letter(row // 26 - 1) if row >= 26 else "") + chr(ord("A") + row % 26)


def row_of(layout: Layout, y: float) -> int:
    """Number of a breadboard's row, from 1 at the top."""
    return round((layout.hole_a[1] - y) / HOLE) + 1


def address(layout: Layout, point: tuple[float, float]) -> str:
    """C7: strip C, column 7; 7c: row 7, hole c; 12.5: mm from the board's left edge along a strip of tape."""
    x, y = point
    if layout.grid is not None:
        columns, rows = layout.grid
        return f"{letter(rows - 1 - round(y / HOLE - 0.5))}{round(x / HOLE - 0.5) + 1}"
    if layout.hole_a is None:
        return f"{x:.1f} mm"
    slot = round((x - layout.hole_a[0]) / HOLE)
    row = row_of(layout, y)
    if slot in LETTERS:
        return f"{row}{LETTERS[slot]}"
    return f"{RAILS[slot]}, by row {row}" if row > 0 else f"{RAILS[slot]}, above row 1"


def in_order_of_work(layout: Layout) -> tuple[Lead, ...]:
    """Every lead, numbered: the lowest parts first, from left to right, the transistor and the wires last."""
    parts = sorted(layout.parts, key=lambda part: (_ORDER.index(part.shape), part.leads[0][0], part.name))
    found = []
    for part in parts:
        for n, point in enumerate(part.leads):
            found.append(Lead(len(found) + 1, part, n, address(layout, point)))
    return tuple(found)
