"""A schematic as geometry: symbols with terminals, wires, joints and texts on a grid, before anything is drawn.

x runs right and y up, in grid units (half the length of a resistor with its leads).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

Point = tuple[float, float]
Box = tuple[float, float, float, float]  # x least, y least, x most, y most


@dataclass(frozen=True)
class Symbol:
    """A part's symbol. terminals: grid points in the order of the part's nodes; stray: drawn broken, since it is a
    property of lead, cable or input and not a part to solder."""

    name: str
    kind: str
    terminals: tuple[Point, ...]
    stray: bool = False
    polarised: bool = False

    @property
    def box(self) -> Box:
        """What the symbol covers, leads included."""
        xs, ys = zip(*self.terminals, strict=True)
        left, low, right, high = min(xs), min(ys), max(xs), max(ys)
        wide = _HALF_WIDTH.get(self.kind, 0.0)
        if len(self.terminals) == 2:
            if left == right:
                left, right = left - wide, right + wide
            else:
                low, high = low - wide, high + wide
            if self.polarised:  # the plus sign
                left, high = (left - 0.14, high) if xs[0] == xs[1] else (left, high + 0.14)
        return left, low, right, high


_HALF_WIDTH = {"resistor": 0.25, "capacitor": 0.3, "disc": 0.42, "battery": 0.36, "inductor": 0.3, "led": 0.92,
               "pair": 0.35, "diode": 0.3}  # fmt: skip


@dataclass(frozen=True)
class Text:
    """One line of lettering with its box; role: part, value, live or caption. `_` starts a subscript."""

    words: str
    box: Box
    role: str = "part"


@dataclass
class Drawing:
    """Symbols, wires, joints (dots) and texts; `ends` are open terminals such as the jack."""

    symbols: list[Symbol] = field(default_factory=list)
    wires: list[tuple[Point, ...]] = field(default_factory=list)
    ends: list[Point] = field(default_factory=list)
    joints: list[Point] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)

    def wire(self, *points: Point) -> None:
        """Add a wire; pieces of no length are left out."""
        kept = [point for n, point in enumerate(points) if n == 0 or point != points[n - 1]]
        if len(kept) > 1:
            self.wires.append(tuple(kept))

    def segments(self) -> Iterator[tuple[Point, Point]]:
        """The straight pieces of all wires."""
        for wire in self.wires:
            yield from zip(wire, wire[1:], strict=False)

    def nets(self) -> list[set[Point]]:
        """Points that the wires join: ends of wires, corners, terminals. Wires that merely cross are not joined."""
        points = {point for symbol in self.symbols for point in symbol.terminals} | set(self.ends)
        points |= {point for wire in self.wires for point in wire}
        group = {point: {point} for point in points}
        for a, b in self.segments():
            for point in points:
                if on_segment(point, a, b) and group[point] is not group[a]:
                    merged = group[a] | group[point]
                    for member in merged:
                        group[member] = merged
        unique = {id(members): members for members in group.values()}
        return list(unique.values())

    def join(self) -> None:
        """Put a joint where three or more leads or wires meet."""
        pieces = list(self.segments())
        terminals = [point for symbol in self.symbols for point in symbol.terminals]
        for point in sorted({point for piece in pieces for point in piece} | set(terminals)):
            ways = terminals.count(point)
            for a, b in pieces:
                if on_segment(point, a, b):
                    ways += 1 if point in (a, b) else 2
            if ways > 2:
                self.joints.append(point)


def on_segment(point: Point, a: Point, b: Point) -> bool:
    """Whether a point lies on the straight, upright or level piece from a to b, its ends included."""
    (x, y), (ax, ay), (bx, by) = point, a, b
    if ax == bx:
        return x == ax and min(ay, by) <= y <= max(ay, by)
    return ay == by == y and min(ax, bx) <= x <= max(ax, bx)


def overlap(one: Box, other: Box) -> float:
    """Area that two boxes share."""
    across = min(one[2], other[2]) - max(one[0], other[0])
    up = min(one[3], other[3]) - max(one[1], other[1])
    return across * up if across > 0 and up > 0 else 0.0


def around(points: Iterable[Point]) -> Box:
    """The box around points."""
    xs, ys = zip(*points, strict=True)
    return min(xs), min(ys), max(xs), max(ys)
