"""Lettering of a board's drawing, so that none touches another. Millimetres of the drawing, y down."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from html import escape

LETTER = 2.0  # mm, the least in print
_WIDE, _MIDDLE, _NARROW = 0.86, 0.64, 0.36  # widths as parts of the size, those of a wide sans-serif
_HIGH = 0.78  # of a capital with its air

Room = tuple[float, float, float, float]


def width(words: str, size: float = LETTER) -> float:
    """Width of a line, on the safe side."""
    return size * sum(_WIDE if c in "MWmw@%+−←→" else _NARROW if c in "ijl.,:;'1|!()I " else _MIDDLE for c in words)


@dataclass
class Lettering:
    """What has been written: taken: rooms of lettering, which nothing may touch; busy: rooms of joints and wires, which
    lettering keeps clear of if it can."""

    taken: list[Room] = field(default_factory=list)
    busy: list[Room] = field(default_factory=list)
    texts: list[str] = field(default_factory=list)

    def put(self, words: str, spots: Iterable[tuple[float, float]], more: str = "", turned: bool = False) -> None:
        """Write words round the best of some middles: on no other lettering, over the fewest joints and wires."""
        wide, high = width(words) / 2, LETTER * _HIGH / 2
        wide, high = (high, wide) if turned else (wide, high)
        best: tuple[tuple[int, int, int], tuple[float, float], Room] | None = None
        for n, (x, y) in enumerate(spots):
            room = (x - wide, y - high, x + wide, y + high)
            found = ((_touched(room, self.taken), _touched(room, self.busy), n), (x, y), room)
            if best is None or found[0] < best[0]:
                best = found
            if best[0][:2] == (0, 0):
                break
        assert best is not None
        _, (x, y), room = best
        self.taken.append(room)
        turn = f' transform="rotate(-90 {x:.2f} {y:.2f})"' if turned else ""
        self.texts.append(
            f'<text x="{x:.2f}" y="{y + 0.35 * LETTER:.2f}" text-anchor="middle" fill="currentColor" stroke="#ffffff" '
            f'stroke-width="0.3" paint-order="stroke"{turn}{more}>{escape(words)}</text>'
        )

    def beside(self, x: float, y: float, words: str, end: bool = False) -> None:
        """Write words at a given place beside the board; end: to the left of x."""
        wide = width(words)
        left = x - wide if end else x
        self.taken.append((left, y - LETTER * _HIGH / 2, left + wide, y + LETTER * _HIGH / 2))
        anchor = ' text-anchor="end"' if end else ""
        self.texts.append(
            f'<text class="beside" x="{x:.2f}" y="{y + 0.35 * LETTER:.2f}" fill="currentColor"{anchor}>'
            f"{escape(words)}</text>"
        )


def around(x: float, y: float, near: float, far: float) -> list[tuple[float, float]]:
    """Places round a point, the nearer first."""
    return [
        (x + dx * r, y + dy * r)
        for r in (near, (near + far) / 2, far)
        for dx, dy in ((1, 0), (-1, 0), (0, -1), (0, 1), (0.8, -0.8), (-0.8, -0.8), (0.8, 0.8), (-0.8, 0.8))
    ]


def _touched(room: Room, others: Sequence[Room]) -> int:
    return sum(
        room[0] < other[2] and other[0] < room[2] and room[1] < other[3] and other[1] < room[3] for other in others
    )
