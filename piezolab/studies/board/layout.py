"""A board for a chain's stage, in millimetres: each node one lane, each part across its lanes.

Lane order first (short reaches, the gate's lane away from supply and output), then the parts from the left, in several
ways; each result is scored and the best that fits wins. Deterministic.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import dist

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.chain.parameter import ParameterError
from piezolab.chain.parts import Part
from piezolab.chain.stages.second_transistor import TYPE as SECOND_TYPE
from piezolab.studies.board.board_parts import BoardPart, board_parts, lanes_of
from piezolab.studies.board.candidates import BoardTask, Candidate, candidates, high_impedance
from piezolab.studies.board.crossings import Crossing
from piezolab.studies.board.lanes import METHODS, Lane, Method, Strip
from piezolab.studies.board.placed import Placed
from piezolab.studies.board.shapes import PointMm
from piezolab.studies.build_options import BOARD, OPTIONS
from piezolab.studies.option_kinds import Signed
from piezolab.studies.phantom import driven_backwards

__all__ = ["METHODS", "Lane", "Layout", "LayoutError", "Options", "layout", "smallest_sentence"]

_PITCH = Signed("resistor_pitch", "resistor lead pitch", BOARD, low=7.62, high=25.4, sign="mm")
SPLICE = 45.0  # mm that the leads of a part may be lengthened by together
_GAP = Signed("gap", "gap between lanes", BOARD, low=0.5, high=20.0, sign="mm")


class LayoutError(ValueError):
    """A layout that cannot be made; the message is one sentence with field, value and allowed range."""


@dataclass(frozen=True)
class Options:
    """What the maker wants. Raises LayoutError.

    method: key of METHODS; board: (width, height) in mm that the layout should fit, either way round; lane_width, gap:
    mm, for tape; resistor_pitch: mm between a resistor's leads; pins: the transistor's leads, flat face towards you,
    legs down, left to right; second_pins: those of
    the second transistor where they are others; ring: the jack's ring contact switches the battery; joints: on
    tape, "surface", or "holes" with the tape behind the base.
    """

    method: str = "stripboard"
    board: tuple[float, float] | None = None
    lane_width: float | None = None
    gap: float = 2.6
    resistor_pitch: float = 10.16
    pins: str = "D G S"
    second_pins: str | None = None
    ring: bool = False
    joints: str = "surface"

    def __post_init__(self) -> None:
        checks = [(OPTIONS["method"], self.method), (OPTIONS["joints"], self.joints)]
        checks += [(_PITCH, self.resistor_pitch), (_GAP, self.gap)]
        given = (("lane_width", self.lane_width), ("board", self.board), ("pins", self.pins))
        given = (*given, ("pins", self.second_pins))
        checks += [(OPTIONS[key], value) for key, value in given if value is not None]
        for option, value in checks:
            try:
                option.check(value)
            except ParameterError as error:
                raise LayoutError(str(error)) from None

    def legs(self, part: Part) -> tuple[str, ...]:
        """The legs of a transistor, left to right."""
        second = part.key == SECOND_TYPE and self.second_pins is not None
        return tuple((self.second_pins if second else self.pins).split())


@dataclass(frozen=True)
class ChosenBy:
    """Why this layout: tried: how many were scored; clean: those without a crossing; gate_mm: length of the gate's
    lanes; away_mm: from them to the nearest lane of supply or output, edge to edge; stopped: whether the search was
    ended before its end."""

    tried: int
    clean: int
    gate_mm: float
    away_mm: float
    stopped: bool = False


@dataclass(frozen=True)
class Layout:
    """A board seen from its parts' side; x right, y up, mm, (0, 0) its lower left corner.

    fits: whether it fits the board asked for; columns: of a breadboard, along its length; hole_a: its hole a in the
    topmost row, None on other boards; crossings: leads that pass over copper of another node on the lanes' own face and
    want a sleeve; lengthened: (part, number of the lead) of those that want a piece of wire; grid: columns and rows of
    holes, the first half a pitch from the edges, of a board that has a grid; cuts: holes at which a strip is cut;
    spare: copper that belongs to no lane; gate: the lanes that must not leak; guard: the lane that lies between them
    and all others, "" for none; wants_guard: whether the gate's resistor is so large that there should be one.
    """

    method: Method
    lanes: tuple[Lane, ...]
    parts: tuple[Placed, ...]
    width: float
    height: float
    fits: bool
    columns: int | None
    hole_a: PointMm | None
    crossings: tuple[Crossing, ...]
    lengthened: tuple[tuple[str, int], ...]
    grid: tuple[int, int] | None
    cuts: tuple[PointMm, ...]
    spare: tuple[Strip, ...]
    gate: tuple[str, ...]
    guard: str
    wants_guard: bool
    choice: ChosenBy

    @property
    def sleeved(self) -> tuple[str, ...]:
        """Parts of which a lead wants a sleeve."""
        return tuple(dict.fromkeys(crossing.part for crossing in self.crossings))

    def lane(self, node: str) -> Lane:
        """The lane of a node. Raises KeyError."""
        for lane in self.lanes:
            if lane.node == node:
                return lane
        raise KeyError(f"no lane for node {node!r}")


def layout(
    chain: SignalChain, options: Options | None = None, watch: Callable[[int], bool] = lambda tried: False
) -> Layout | None:
    """The best board found for a chain; None where there is nothing to put on a board.

    watch: told after each layout how many were tried; where it returns True the search ends with the best so far.
    Raises LayoutError where a method cannot hold the parts at all.
    """
    options = options or Options()
    method = _method(options)
    assembly = assemble(chain.values)
    bipolar = driven_backwards(chain, assembly)
    parts, wires = board_parts(assembly, options.resistor_pitch, options.legs, options.ring, bipolar)
    if not parts:
        return None
    gate, guard, away = high_impedance(assembly)
    task = BoardTask(method, parts, wires, lanes_of(parts, wires), gate, guard, away)
    best, price, tried, clean, stopped = None, (), 0, 0, False
    for found in _tried(task):
        tried += 1
        clean += not found.crossings
        score = (not _fits(found.width, found.height, options.board), *_score(found))
        if best is None or score < price:
            best, price = found, score
        stopped = watch(tried)
        if stopped:
            break
    if best is None:
        others = ", ".join(key for key in METHODS if key != method.key)
        raise LayoutError(f"method: {method.key!r} has no room for the parts of this chain; allowed is {others}.")
    fits = _fits(best.width, best.height, options.board)
    return Layout(
        method, best.lanes, best.parts, best.width, best.height, fits, best.columns, best.hole_a,
        best.crossings, _lengthened(parts, best.parts), best.grid, best.cuts, best.spare, gate, best.guard, bool(guard),
        ChosenBy(tried, clean, best.gate_mm, best.away_mm, stopped),
    )  # fmt: skip


def _tried(task: BoardTask) -> Iterator[Candidate]:
    """Boards at the first pitch that gives any; on tape with leads lengthened, elsewhere without a guard, where there
    is no other."""
    longer = replace(task, parts=tuple(map(_longer, task.parts)))
    spare = longer if task.method.key == "tape" else replace(task, guard="")
    for pitch in task.method.pitches:
        some = False
        for one in (task, spare):
            enough = False
            for candidate in candidates(one, pitch):
                some, enough = True, enough or bool(candidate.guard) or not one.guard
                yield candidate
            if enough:
                return
        if some:
            return


def _longer(part: BoardPart) -> BoardPart:
    return replace(part, size=replace(part.size, reach=part.size.reach + SPLICE))


def _lengthened(parts: Sequence[BoardPart], placed: Sequence[Placed]) -> tuple[tuple[str, int], ...]:
    """Leads that land farther away than they are long."""
    reach = {part.name: part.size.reach for part in parts}
    found = []
    for part in placed:
        for n, (_, y) in enumerate(part.leads):
            if part.name in reach:
                far = abs(y - part.centre[1]) if part.shape == "half-round" else dist(*part.leads)
                found += [(part.name, n)] if far > reach[part.name] + 0.01 else []
    return tuple(found)


def _score(found: Candidate) -> tuple[int, bool, float]:
    """Lower is better: first the leads over copper that is not theirs, the guard's left out, then whether there is a
    guard, then size, the gate's length and what keeps it away from supply and output."""
    over_guard = sum(crossing.node == found.guard for crossing in found.crossings)
    size = found.width * found.height / 25.0
    return (
        len(found.crossings) - over_guard,
        not found.guard,
        round(size + 100.0 * over_guard + 1.5 * found.gate_mm - 2.0 * min(found.away_mm, 15.0), 6),
    )


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
        method = replace(method, pitches=(options.lane_width + options.gap,), width=options.lane_width)
    if method.key == "tape" and options.joints == "holes":
        method = replace(method, one_face=False)
    return method


def _fits(width: float, height: float, board: tuple[float, float] | None) -> bool:
    """Whether a layout fits a board, turned or not; no board given takes any."""
    return board is None or any(width <= w + 0.01 and height <= h + 0.01 for w, h in (board, board[::-1]))
