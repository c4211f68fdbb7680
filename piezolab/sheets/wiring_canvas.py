"""What a wiring drawing is made of: terminals, wires that hop over each other, joints, lettering. Millimetres, y down.

A wire begins and ends on a terminal or a joint. Kinds of wire differ by their style, so that
a print in black tells them apart.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from html import escape

from piezolab.faces import FAMILY

LETTER = 2.3  # mm
_HOP = 1.1  # mm, radius of a hop
_STYLES = {
    "plus": 'stroke-width="0.9"',
    "ground": 'stroke-width="0.5" stroke-dasharray="2 0.9"',
    "minus": 'stroke-width="0.9" stroke-dasharray="0.3 0.9"',
    "signal": 'stroke-width="0.45"',
}
Point = tuple[float, float]
Box = tuple[float, float, float, float]


@dataclass
class Canvas:
    """Shapes first, then wires, then dots and lettering on top."""

    shapes: list[str] = field(default_factory=list)
    ways: list[tuple[str, tuple[Point, ...]]] = field(default_factory=list)
    dots: list[str] = field(default_factory=list)
    texts: list[str] = field(default_factory=list)

    def terminal(self, item: str, contact: str, x: float, y: float, free: bool = False) -> Point:
        """A place to solder to; free: an end that is cut back and joined to nothing there."""
        look = 'r="0.7" fill="none" stroke="currentColor" stroke-width="0.3"' if free else 'r="0.9" fill="currentColor"'
        self.dots.append(
            f'<circle class="terminal" data-item="{escape(item)}" data-contact="{escape(contact)}" cx="{x:g}" '
            f'cy="{y:g}" {look}/>'
        )
        return x, y

    def joint(self, x: float, y: float) -> Point:
        """Wires joined."""
        self.dots.append(f'<circle class="joint" cx="{x:g}" cy="{y:g}" r="0.8" fill="currentColor"/>')
        return x, y

    def wire(self, kind: str, *points: Point) -> None:
        """A wire of a kind of `_STYLES` along level and upright pieces."""
        kept = [point for n, point in enumerate(points) if n == 0 or point != points[n - 1]]
        self.ways.append((kind, tuple(kept)))

    def rect(self, box: Box, style: str = 'stroke-width="0.35"') -> None:
        """An outline; box: left, top, right, bottom."""
        left, top, right, bottom = box
        self.shapes.append(
            f'<rect x="{left:g}" y="{top:g}" width="{right - left:g}" height="{bottom - top:g}" rx="1" fill="none" '
            f'stroke="currentColor" {style}/>'
        )

    def circle(self, x: float, y: float, radius: float, style: str = 'stroke-width="0.35"') -> None:
        """An outline."""
        self.shapes.append(
            f'<circle cx="{x:g}" cy="{y:g}" r="{radius:g}" fill="none" stroke="currentColor" {style}/>'
        )

    def path(self, d: str) -> None:
        """Any outline."""
        self.shapes.append(f'<path d="{d}" fill="none" stroke="currentColor" stroke-width="0.35"/>')

    def text(self, x: float, y: float, words: str, anchor: str = "start", bold: bool = False) -> None:
        """One line; y: of its foot."""
        weight = ' font-weight="bold"' if bold else ""
        self.texts.append(
            f'<text x="{x:g}" y="{y:g}" text-anchor="{anchor}"{weight} fill="currentColor">{escape(words)}</text>'
        )

    def svg(self, box: Box, title: str, told: str) -> str:
        """The drawing as one element, cut to a box of left, top, right, bottom; told: the same in words."""
        left, top, right, bottom = box
        wide, tall = right - left, bottom - top
        inside = "".join([*self.shapes, *self._wires(), *self.dots, *self.texts])
        return (
            f'<svg class="wiring" xmlns="http://www.w3.org/2000/svg" role="img" width="{wide:g}mm" height="{tall:g}mm" '
            f'viewBox="{left:g} {top:g} {wide:g} {tall:g}" font-family="{FAMILY}" font-size="{LETTER}">'
            f"<title>{escape(title)}</title><desc>{escape(told)}</desc>{inside}</svg>"
        )

    def _wires(self) -> list[str]:
        level = [
            (min(a[0], b[0]), max(a[0], b[0]), a[1])
            for _, way in self.ways
            for a, b in zip(way, way[1:], strict=False)
            if a[1] == b[1]
        ]
        lines = []
        for kind, way in self.ways:
            path = f"M {way[0][0]:g} {way[0][1]:g}"
            for (ax, ay), (bx, by) in zip(way, way[1:], strict=False):
                down = 1 if by > ay else -1
                low, high = min(ay, by), max(ay, by)
                crossed = [y for left, right, y in level if ax == bx and left < ax < right and low < y < high]
                for y in sorted(crossed, reverse=down < 0):
                    path += f" V {y - down * _HOP:g} A {_HOP:g} {_HOP:g} 0 0 {int(down > 0)} {ax:g} {y + down * _HOP:g}"
                path += f" L {bx:g} {by:g}"
            lines.append(
                f'<path class="wire" data-kind="{kind}" d="{path}" fill="none" stroke="currentColor" {_STYLES[kind]}/>'
            )
        return lines
