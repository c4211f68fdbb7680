"""The strips of copper tape to cut for a board. Millimetres."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

from piezolab.studies.board.layout import Layout

WASTE = 1.1  # tape to buy for each metre used: ends are cut off; common practice, no source


@dataclass(frozen=True)
class TapeStrip:
    """One strip. length: rounded up to whole mm; left, low: of its left and its lower edge from the board's."""

    node: str
    length: int
    left: float
    low: float


def tape_strips(layout: Layout) -> tuple[TapeStrip, ...]:
    """Every strip of a board of copper tape, from the top; none on other boards."""
    if layout.method.key != "tape":
        return ()
    found = []
    for lane in layout.lanes:
        for (ax, ay), (bx, _) in lane.strips:
            low = ay - layout.method.width / 2
            found.append(TapeStrip(lane.node, ceil(round(abs(bx - ax), 3)), round(min(ax, bx), 1), round(low, 1)))
    return tuple(sorted(found, key=lambda strip: -strip.low))


def tape_length(layout: Layout) -> int:
    """Tape to have at hand, mm, ends counted; 0 on other boards."""
    return ceil(WASTE * sum(strip.length for strip in tape_strips(layout)))
