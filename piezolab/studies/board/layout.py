"""A board for a chain's stage, in millimetres: each node one lane, each part across its lanes, as small as was found.

Lane order first (short reaches), then the parts from the left, in several orders; the smallest result that fits wins.
Deterministic.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.chain.parameter import ParameterError
from piezolab.giving_way import give_way
from piezolab.studies.board.board_parts import HOLE, BoardPart, board_parts, lanes_of
from piezolab.studies.board.lane_order import best_orders
from piezolab.studies.board.lanes import COLUMNS, METHODS, Lane, Method, holes_of, lanes_made
from piezolab.studies.board.packing import Placed, pack, spots_of, wire_spots
from piezolab.studies.board.shapes import bounds
from piezolab.studies.build_options import BOARD, OPTIONS
from piezolab.studies.option_kinds import Signed
from piezolab.studies.phantom import driven_backwards

__all__ = ["METHODS", "Lane", "Layout", "LayoutError", "Options", "layout", "smallest_sentence"]

_PITCH = Signed("resistor_pitch", "resistor lead pitch", BOARD, low=7.62, high=25.4, sign="mm")
_GAP = Signed("gap", "gap between lanes", BOARD, low=0.5, high=20.0, sign="mm")
_TRIES = 24  # orders of parts for each order of lanes


class LayoutError(ValueError):
    """A layout that cannot be made; the message is one sentence with field, value and allowed range."""


@dataclass(frozen=True)
class Options:
    """What the maker wants. Raises LayoutError.

    method: key of METHODS; board: (width, height) in mm that the layout should fit, either way round; lane_width, gap:
    mm, for tape; resistor_pitch: mm between a resistor's leads; pins: the transistor's leads, flat face towards you,
    legs down, left to right; ring: the jack's ring contact switches the battery.
    """

    method: str = "stripboard"
    board: tuple[float, float] | None = None
    lane_width: float | None = None
    gap: float = 2.6
    resistor_pitch: float = 10.16
    pins: str = "D G S"
    ring: bool = False

    def __post_init__(self) -> None:
        checks = [(OPTIONS["method"], self.method), (_PITCH, self.resistor_pitch), (_GAP, self.gap)]
        given = (("lane_width", self.lane_width), ("board", self.board), ("pins", self.pins))
        checks += [(OPTIONS[key], value) for key, value in given if value is not None]
        for option, value in checks:
            try:
                option.check(value)
            except ParameterError as error:
                raise LayoutError(str(error)) from None


@dataclass(frozen=True)
class Layout:
    """A board seen from its parts' side; x right, y up, mm, (0, 0) its lower left corner.

    fits: whether it fits the board asked for; columns: of a breadboard; sleeved: parts whose leads cross other lanes on
    the lanes' own face and want a sleeve.
    """

    method: Method
    lanes: tuple[Lane, ...]
    parts: tuple[Placed, ...]
    width: float
    height: float
    fits: bool
    columns: int | None
    sleeved: tuple[str, ...]

    def lane(self, node: str) -> Lane:
        """The lane of a node. Raises KeyError."""
        for lane in self.lanes:
            if lane.node == node:
                return lane
        raise KeyError(f"no lane for node {node!r}")


def layout(chain: SignalChain, options: Options | None = None) -> Layout | None:
    """The smallest board found for a chain; None where there is nothing to put on a board.

    Raises LayoutError where a method cannot hold the parts at all.
    """
    options = options or Options()
    method = _method(options)
    assembly = assemble(chain.values)
    bipolar = driven_backwards(chain, assembly)
    parts, wires = board_parts(assembly, options.resistor_pitch, options.pins, options.ring, bipolar)
    if not parts:
        return None
    lanes = lanes_of(parts, wires)
    endless = method.key != "breadboard"
    best: Layout | None = None
    for pitch in method.pitches:
        for order in best_orders(lanes, parts, pitch):
            heights, holes = holes_of(method, order, parts, pitch)
            spots = {part.name: spots_of(part, holes, endless) for part in parts}
            spots |= {wire.name: wire_spots(wire, holes, endless) for wire in wires}
            for sequence in _sequences(parts, order):
                give_way()
                placed = pack(sequence, wires, spots, endless)
                if placed is not None:
                    best = _better(best, _made(method, order, heights, placed, options))
        if best is not None:
            return best
    others = ", ".join(key for key in METHODS if key != method.key)
    raise LayoutError(f"method: {method.key!r} has no room for the parts of this chain; allowed is {others}.")


def smallest_sentence(found: Layout, board: tuple[float, float]) -> str:
    """What to say where a layout does not fit a board (width, height in mm)."""
    wide, tall = sorted((found.width, found.height), reverse=True)
    return (
        f"A board of {board[0]:g} × {board[1]:g} mm is too small for {found.method.title}; "
        f"the smallest found that would do is {wide:.1f} × {tall:.1f} mm."
    )


def _method(options: Options) -> Method:
    method = METHODS[options.method]
    if method.key == "tape" and options.lane_width is not None:
        return replace(method, pitches=(options.lane_width + options.gap,), width=options.lane_width)
    return method


def _sequences(parts: Sequence[BoardPart], order: Sequence[str]) -> list[list[BoardPart]]:
    """Orders in which to place the parts: the bulky first, the transistor first, along the lanes, and shuffles."""
    height = {lane: n for n, lane in enumerate(order)}
    low = {part.name: min(height[lane] for lane in part.lanes) for part in parts}
    span = {part.name: max(height[lane] for lane in part.lanes) - low[part.name] for part in parts}
    bulky = sorted(parts, key=lambda part: (-part.size.length * part.size.width, part.name))
    found = [
        bulky,
        sorted(parts, key=lambda part: (part.kind != "jfet", -span[part.name], part.name)),
        sorted(parts, key=lambda part: (-span[part.name], part.name)),
        sorted(parts, key=lambda part: (low[part.name], part.name)),
    ]
    shuffle = random.Random(11)
    while len(found) < _TRIES:
        mixed = list(bulky)
        shuffle.shuffle(mixed)
        found.append(mixed)
    return found


def _better(best: Layout | None, new: Layout) -> Layout:
    if best is None or (new.fits, -new.width * new.height) > (best.fits, -best.width * best.height):
        return new
    return best


def _made(
    method: Method, order: Sequence[str], heights: dict[str, float], placed: list[Placed], options: Options
) -> Layout:
    """The layout moved to its own lower left corner."""
    boxes = [bounds(part.body()) for part in placed]
    margin, half = method.margin, method.width / 2
    left, right = min(box[0] for box in boxes) - margin, max(box[2] for box in boxes) + margin
    lanes = lanes_made(method, order, heights, placed, (left, right))
    corners = [corner for lane in lanes for strip in (*lane.strips, *lane.links) for corner in strip]
    left = min(left, min(x for x, _ in corners) - (0 if method.key == "stripboard" else margin))
    right = max(right, max(x for x, _ in corners) + (0 if method.key == "stripboard" else margin))
    low = min(min(box[1] for box in boxes), min(y for _, y in corners) - half) - margin
    high = max(max(box[3] for box in boxes), max(y for _, y in corners) + half) + margin
    moved = tuple(
        replace(
            part,
            leads=tuple((x - left, y - low) for x, y in part.leads),
            centre=(part.centre[0] - left, part.centre[1] - low),
        )
        for part in placed
    )
    lanes = tuple(lane.moved(-left, -low) for lane in lanes)
    width, height = right - left, high - low
    fits, columns = _fits(width, height, options.board), _columns(method, heights)
    return Layout(method, lanes, moved, width, height, fits, columns, _sleeved(method, lanes, moved))


def _fits(width: float, height: float, board: tuple[float, float] | None) -> bool:
    """Whether a layout fits a board, turned or not; no board given takes any."""
    return board is None or any(width <= w + 0.01 and height <= h + 0.01 for w, h in (board, board[::-1]))


def _columns(method: Method, heights: dict[str, float]) -> int | None:
    """Columns of the breadboard that takes it, None for other boards."""
    if method.key != "breadboard":
        return None
    needed = round((max(heights.values()) - min(heights.values())) / HOLE) + 1
    return next((count for count in COLUMNS if needed <= count), needed)


def _sleeved(method: Method, lanes: tuple[Lane, ...], parts: tuple[Placed, ...]) -> tuple[str, ...]:
    """Parts whose leads pass over a lane that is not theirs, where both lie on one face."""
    if not method.same_face:
        return ()
    found: dict[str, None] = {}
    for part in parts:
        for lane in lanes:
            if lane.node in part.lanes:
                continue
            for (left, y), (right, _) in lane.strips:
                for (ax, ay), (bx, by) in part.wires():
                    if min(ay, by) < y < max(ay, by) and left <= ax + (bx - ax) * (y - ay) / (by - ay) <= right:
                        found[part.name] = None
    return tuple(found)
