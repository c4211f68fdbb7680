"""Texts of a schematic: how much room they take, and where they find it."""

from __future__ import annotations

from collections.abc import Iterable

from piezolab.sheets.drawing import Box, Drawing, Point, Text, overlap
from piezolab.sheets.symbols import UNIT

SIZE = 14.0  # pixels
_WIDE, _MIDDLE, _NARROW = 0.732, 0.589, 0.339  # widths as parts of the size, of the shipped face in bold or more
SMALL = 0.75  # of a subscript


def width(words: str, size: float = SIZE) -> float:
    """Width of a line in grid units, on the safe side for the shipped face."""
    base, _, sub = words.partition("_")
    return (_width(base) + SMALL * _width(sub)) * size / UNIT


def _width(words: str) -> float:
    return sum(_WIDE if c in "MWmw@%ΩµΣ" else _NARROW if c in "ijl.,:;' 1|!()I" else _MIDDLE for c in words)


def height(size: float = SIZE) -> float:
    """Height of a line in grid units."""
    return 1.027 * size / UNIT


class Letterer:
    """Places texts so that none touches a symbol, a wire or another text."""

    def __init__(self, drawing: Drawing) -> None:
        self.drawing = drawing
        self.taken: list[Box] = [symbol_room(symbol) for symbol in drawing.symbols]
        for (ax, ay), (bx, by) in drawing.segments():
            low = (min(ax, bx) - 0.05, min(ay, by) - 0.05)
            self.taken.append((*low, max(ax, bx) + 0.05, max(ay, by) + 0.05))
        for x, y in (*drawing.joints, *drawing.ends):
            self.taken.append((x - 0.1, y - 0.1, x + 0.1, y + 0.1))

    def place(self, lines: list[tuple[str, str]], spots: Iterable[tuple[Point, str]]) -> bool:
        """Put lines (words, role), one under the other, at the first free spot; False where none is free.

        A spot is a point and the side of it on which the block stands: left, right, above or below.
        """
        wide = max(width(words) for words, _ in lines)
        high = height() * len(lines)
        for (x, y), side in spots:
            box = _block(x, y, side, wide, high)
            if all(overlap(box, other) <= 0 for other in self.taken):
                self._put(lines, box, side)
                return True
        return False

    def _put(self, lines: list[tuple[str, str]], box: Box, side: str) -> None:
        self.taken.append(box)
        for n, (words, role) in enumerate(lines):
            own = width(words)
            left = {"right": box[0], "left": box[2] - own}.get(side, (box[0] + box[2] - own) / 2)
            top = box[3] - n * height()
            self.drawing.texts.append(Text(words, (left, top - height(), left + own, top), role))


def _block(x: float, y: float, side: str, wide: float, high: float) -> Box:
    match side:
        case "right":
            return x, y - high / 2, x + wide, y + high / 2
        case "left":
            return x - wide, y - high / 2, x, y + high / 2
        case "above":
            return x - wide / 2, y, x + wide / 2, y + high
    return x - wide / 2, y - high, x + wide / 2, y


def symbol_room(symbol: object) -> Box:
    """A symbol's box with a little air."""
    left, low, right, high = symbol.box  # type: ignore[attr-defined]
    return left - 0.04, low - 0.02, right + 0.04, high + 0.02


def beside(terminals: tuple[Point, ...], gap: float) -> list[tuple[Point, str]]:
    """Spots for a part's name: right and left of an upright part, above and below a level one."""
    (ax, ay), (bx, by) = terminals[0], terminals[-1]
    x, y = (ax + bx) / 2, (ay + by) / 2
    if ax == bx:
        ups = (0, 0.25, -0.25, 0.5, -0.5, 0.75, -0.75)
        return [((x + gap, y + up), "right") for up in ups] + [((x - gap, y + up), "left") for up in ups]
    aside = (0, 0.3, -0.3, 0.6, -0.6)
    return [((x + by_, y + gap), "above") for by_ in aside] + [((x + by_, y - gap), "below") for by_ in aside]


def along(pieces: list[tuple[Point, Point]]) -> list[tuple[Point, str]]:
    """Spots for a node's voltage: beside its wires, the longest level piece first."""
    gap = 0.1
    spots: list[tuple[Point, str]] = []
    level = [piece for piece in pieces if piece[0][1] == piece[1][1]]
    upright = [piece for piece in pieces if piece[0][0] == piece[1][0]]
    for share in (0.5, 0.25, 0.75, 0.1, 0.9):
        for side, up in (("above", gap), ("below", -gap)):
            for (ax, ay), (bx, _) in sorted(level, key=lambda p: -abs(p[0][0] - p[1][0])):
                spots.append(((ax + share * (bx - ax), ay + up), side))
        for side, right in (("right", gap), ("left", -gap)):
            for (ax, ay), (_, by) in sorted(upright, key=lambda p: -abs(p[0][1] - p[1][1])):
                spots.append(((ax + right, ay + share * (by - ay)), side))
    return spots
