"""Every board that is tried for a chain: for each good order of the lanes, the parts in several ways. Millimetres."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import floor

import numpy as np

from piezolab.chain.assembly import GROUND, PICKUP, SUPPLY, Assembly
from piezolab.studies.board.along import compact, first_fit
from piezolab.studies.board.board_parts import HOLE, BoardPart, Wire
from piezolab.studies.board.crossings import Crossing, crossings
from piezolab.studies.board.lane_order import LaneRules, best_orders, heights
from piezolab.studies.board.lanes import Lane, Method, Strip, straight_lanes
from piezolab.studies.board.packing import pack, spots_of, wire_spots
from piezolab.studies.board.placed import Placed
from piezolab.studies.board.plug_in import plug_in_holes, plug_in_lanes, rows_needed
from piezolab.studies.board.shapes import PointMm, bounds
from piezolab.studies.board.sweep import left_to_right
from piezolab.studies.board.upright import Ground, body_gap, gaps_of, opened, upright_wire, uprights

GUARD_FROM = 22e6  # ohm on the gate's lane from which it has a guard: common practice, no source
_ORDERS = {"tape": 40, "stripboard": 5, "wire": 5, "breadboard": 3}
_CLEAN_ENOUGH = 5  # layouts on one face without a crossing, after which no more are tried
_SHUFFLED = 2
_PLUGGED_ENOUGH = 3  # boards for each of them
_PLUGGED = 16  # orders of parts for each order of lanes on a breadboard


@dataclass(frozen=True)
class BoardTask:
    """What is to be laid out. gate: lanes that must not leak; guard: lane beside them, "" for none; away: lanes to keep
    far from them."""

    method: Method
    parts: tuple[BoardPart, ...]
    wires: tuple[Wire, ...]
    lanes: tuple[str, ...]
    gate: tuple[str, ...]
    guard: str
    away: tuple[str, ...]


@dataclass(frozen=True)
class Candidate:
    """A board that was tried, its lower left corner at (0, 0); the fields are those of `Layout` and `ChosenBy`."""

    lanes: tuple[Lane, ...]
    parts: tuple[Placed, ...]
    width: float
    height: float
    guard: str
    gate_mm: float
    away_mm: float
    crossings: tuple[Crossing, ...] = ()
    columns: int | None = None
    hole_a: PointMm | None = None
    grid: tuple[int, int] | None = None
    cuts: tuple[PointMm, ...] = ()
    spare: tuple[Strip, ...] = ()


def high_impedance(assembly: Assembly) -> tuple[tuple[str, ...], str, tuple[str, ...]]:
    """The lanes of pickup and first gate; the lane to guard them with, "" for none; those of supply and output.

    A guard is at the gate's own signal: the source of a follower, ground where the stage inverts.
    """
    first = next((part for part in assembly.parts if part.kind == "jfet"), None)
    gate = tuple(dict.fromkeys((PICKUP, *(first.nodes[1:2] if first else ()))))
    resistors = [part for part in assembly.where("board") if part.kind == "resistor"]
    on_gate = [part.value for part in resistors if set(part.nodes) & set(gate)]
    plus = [part.nodes[0] for part in assembly.where("supply") if part.kind == "battery"]
    away = tuple(dict.fromkeys((SUPPLY, *plus, assembly.jack)))
    if first is None or max((float(ohm) for ohm in on_gate), default=0.0) < GUARD_FROM:
        return gate, "", away
    guard = GROUND if assembly.stage.inverts else first.nodes[2]
    return gate, "" if guard in gate else guard, away


def candidates(task: BoardTask, pitch: float) -> Iterator[Candidate]:
    """Boards with lanes at this pitch, in the order in which they are tried."""
    method = task.method
    rules = LaneRules(
        pitch, HOLE if method.grid else 0.0, method.aside, method.key != "breadboard", method.one_face,
        body_gap(method.width), task.gate, task.guard, task.away,
    )  # fmt: skip
    make = {"tape": _on_tape, "breadboard": _plugged}.get(method.key, _on_grid)
    clean = 0
    for order in best_orders(task.lanes, task.parts, rules, _ORDERS[method.key]):
        numbers = np.array([[task.lanes.index(lane) for lane in order]])
        found = heights(numbers, task.lanes, task.parts, rules)[0]
        y = {lane: round(float(found[task.lanes.index(lane)]), 6) for lane in order}
        for candidate in make(replace(task, guard=_guard(task, order)), order, y, pitch):
            clean += not any(crossing.node != candidate.guard for crossing in candidate.crossings)
            yield candidate
        if method.key == "tape" and clean >= _CLEAN_ENOUGH:
            return


def _guard(task: BoardTask, order: Sequence[str]) -> str:
    """The guard's lane where it lies between the gate's lanes and all others, else ""."""
    gate = [lane for lane in order if lane in task.gate]
    for ends in (list(order), list(order)[::-1]):
        if task.guard and set(ends[: len(gate)]) == set(gate) and ends[len(gate)] == task.guard:
            return task.guard
    return ""


# -- copper tape --------------------------------------------------------------------------------------------------
def _on_tape(task: BoardTask, order: Sequence[str], y: Mapping[str, float], pitch: float) -> Iterator[Candidate]:
    method = task.method
    for gaps in gaps_of(order, task.parts) if method.one_face else [{}]:
        ground = Ground(method.width, method.aside, method.one_face, gaps)
        at = opened(order, y, task.parts, ground)
        choices = [uprights(part, order, at, ground) for part in task.parts]
        if not all(choices):
            continue
        sequence = left_to_right(choices, at, method.width, task.gate, task.guard)
        placed = compact(_with_wires(sequence, task.wires, at), at, method.width)
        lanes = straight_lanes(method, at, placed, task.gate, task.guard)
        over = crossings(lanes, placed, method.width) if method.one_face else ()
        yield _bounded(task, lanes, placed, crossings=over)


def _with_wires(sequence: Sequence[Placed], wires: Sequence[Wire], y: Mapping[str, float]) -> list[Placed]:
    """Parts and the wires that leave the board, each at its own side's end of its lane."""
    found = list(sequence)
    for wire in wires:
        users = [n for n, part in enumerate(found) if wire.lane in part.lanes]
        place = 0 if not users else users[0] if wire.side == "left" else users[-1] + 1
        found.insert(place, upright_wire(wire, y))
    return found


# -- boards with a grid -------------------------------------------------------------------------------------------
def _on_grid(task: BoardTask, order: Sequence[str], y: Mapping[str, float], pitch: float) -> Iterator[Candidate]:
    ground = Ground(task.method.width, 0.0, False, {})
    ways = {part.name: uprights(part, order, y, ground) for part in task.parts}
    if not all(ways.values()):
        return
    left = [(upright_wire(wire, y),) for wire in task.wires if wire.side == "left"]
    right = [(upright_wire(wire, y),) for wire in task.wires if wire.side != "left"]
    for sequence in _sequences(task, order):
        placed = first_fit([*left, *(ways[part.name] for part in sequence)])
        if placed:
            edge = round(max(x for part in placed for x, _ in part.leads) / HOLE)
            placed = first_fit(right, placed, edge)
        if placed:
            yield _gridded(task, y, placed)


def _sequences(task: BoardTask, order: Sequence[str]) -> Iterator[list[BoardPart]]:
    """Orders in which to place the parts: those on the gate first, then the bulky, the long, by lane, and shuffles."""
    level = {lane: n for n, lane in enumerate(order)}
    low = {part.name: min(level[lane] for lane in part.lanes) for part in task.parts}
    span = {part.name: max(level[lane] for lane in part.lanes) - low[part.name] for part in task.parts}
    bulky = sorted(task.parts, key=lambda part: (-part.size.length * part.size.width, part.name))
    found = [
        bulky,
        sorted(bulky, key=lambda part: -span[part.name]),
        sorted(bulky, key=lambda part: low[part.name]),
    ]
    shuffle = random.Random(11)
    for _ in range(_SHUFFLED):
        mixed = list(bulky)
        shuffle.shuffle(mixed)
        found.append(mixed)
    for sequence in found:
        yield sorted(sequence, key=lambda part: not set(part.lanes) & set(task.gate))
    yield bulky


def _gridded(task: BoardTask, y: Mapping[str, float], placed: Sequence[Placed]) -> Candidate:
    """The board cut out between its holes, with the strips' cuts: a gate's strip ends behind its last lead."""
    boxes = [bounds(part.body()) for part in placed]
    left = floor(min(box[0] for box in boxes) / HOLE + 0.5)
    low = min(floor(min(box[1] for box in boxes) / HOLE + 0.5), 0)
    right = floor(max(box[2] for box in boxes) / HOLE + 0.5) + 1
    top = max(max(box[3] for box in boxes), max(y.values()))
    high = floor(top / HOLE + 0.5 - 1e-6) + 1
    left, right = min(left, 0), max(right, 1 + round(max(x for part in placed for x, _ in part.leads) / HOLE))
    shift = ((0.5 - left) * HOLE, (0.5 - low) * HOLE)
    parts = tuple(part.moved(*shift) for part in placed)
    at = {lane: round(height + shift[1], 6) for lane, height in y.items()}
    grid = (right - left, high - low)
    width, height = round(grid[0] * HOLE, 6), round(grid[1] * HOLE, 6)
    lanes = straight_lanes(task.method, at, parts, task.gate, task.guard)
    cuts: list[PointMm] = []
    spare: list[Strip] = []
    if task.method.key == "stripboard":
        lanes, cuts, spare = _strips(task, lanes, at, grid)
    return Candidate(
        lanes, parts, width, height, task.guard, *_gate(task, lanes), grid=grid, cuts=tuple(cuts), spare=tuple(spare)
    )


def _strips(
    task: BoardTask, lanes: Sequence[Lane], at: Mapping[str, float], grid: tuple[int, int]
) -> tuple[tuple[Lane, ...], list[PointMm], list[Strip]]:
    """Lanes as strips from edge to edge, the cuts, and the copper that no lane uses."""
    end = round(grid[0] * HOLE, 6)
    rows = {round(height / HOLE - 0.5): node for node, height in at.items()}
    made, cuts, spare = [], [], []
    for lane in lanes:
        (_, y), (last, _) = lane.strips[0]
        column = round(last / HOLE - 0.5) + 1  # of the first hole behind the last lead
        if lane.node in task.gate and column < grid[0]:
            place = (round((column + 0.5) * HOLE, 6), y)
            cuts.append(place)
            made.append(replace(lane, strips=(((0.0, y), (round(place[0] - CUT / 2, 6), y)),)))
            spare.append(((round(place[0] + CUT / 2, 6), y), (end, y)))
        else:
            made.append(replace(lane, strips=(((0.0, y), (end, y)),)))
    for row in range(grid[1]):
        if row not in rows:
            y = round((row + 0.5) * HOLE, 6)
            spare.append(((0.0, y), (end, y)))
    return tuple(made), sorted(cuts, key=lambda place: (-place[1], place[0])), spare


CUT = 2.2  # mm of strip that a cut takes away: a drill of 3 to 4 mm turned in the hole; common practice, no source


# -- plug-in breadboard -------------------------------------------------------------------------------------------
def _plugged(task: BoardTask, order: Sequence[str], y: Mapping[str, float], pitch: float) -> Iterator[Candidate]:
    rows, holes = plug_in_holes(order, task.parts, pitch)
    spots = {part.name: spots_of(part, holes) for part in task.parts}
    task = replace(task, guard=_guard(task, sorted(rows, key=rows.__getitem__)))
    spots |= {wire.name: wire_spots(wire, holes) for wire in task.wires}
    sequences, done = list(_sequences(task, order)), 0
    shuffle = random.Random(5)
    while len(sequences) < _PLUGGED:
        sequences.append(shuffle.sample(task.parts, len(task.parts)))
    for sequence in sequences:
        if done == _PLUGGED_ENOUGH:
            return
        placed = pack(sequence, task.wires, spots)
        if placed is not None:
            done += 1
            lanes = plug_in_lanes(order, rows, placed)
            top = (0.0, max(rows.values()))
            yield _bounded(task, lanes, placed, top, columns=rows_needed(rows))


# -- what all share -----------------------------------------------------------------------------------------------
def _bounded(
    task: BoardTask, lanes: Sequence[Lane], placed: Sequence[Placed], hole_a: PointMm | None = None, **more
) -> Candidate:
    """The board with a margin round everything, moved to its own lower left corner."""
    margin, half = task.method.margin, task.method.width / 2
    boxes = [bounds(part.body()) for part in placed]
    corners = [corner for lane in lanes for strip in (*lane.strips, *lane.links) for corner in strip]
    left = min(min(box[0] for box in boxes), min(x for x, _ in corners)) - margin
    right = max(max(box[2] for box in boxes), max(x for x, _ in corners)) + margin
    low = min(min(box[1] for box in boxes), min(y for _, y in corners) - half) - margin
    high = max(max(box[3] for box in boxes), max(y for _, y in corners) + half) + margin
    moved = tuple(part.moved(-left, -low) for part in placed)
    lanes = tuple(lane.moved(-left, -low) for lane in lanes)
    if hole_a is not None:
        more["hole_a"] = (hole_a[0] - left, hole_a[1] - low)
    return Candidate(lanes, moved, right - left, high - low, task.guard, *_gate(task, lanes), **more)


def _gate(task: BoardTask, lanes: Sequence[Lane]) -> tuple[float, float]:
    """Length of the gate's lanes and their distance to supply and output, edge to edge, mm."""
    half = task.method.width / 2
    own = [strip for lane in lanes if lane.node in task.gate for strip in lane.strips]
    others = [
        strip for lane in lanes if lane.node in task.away and lane.node not in task.gate for strip in lane.strips
    ]
    length = sum(abs(b[0] - a[0]) + abs(b[1] - a[1]) for a, b in own)
    apart = []
    for a, b in own:
        for c, d in others:
            dx = max(min(c[0], d[0]) - max(a[0], b[0]), min(a[0], b[0]) - max(c[0], d[0]), 0.0)
            dy = max(min(c[1], d[1]) - max(a[1], b[1]) - 2 * half, min(a[1], b[1]) - max(c[1], d[1]) - 2 * half, 0.0)
            apart.append((dx * dx + dy * dy) ** 0.5)
    return round(length, 3), round(min(apart, default=0.0), 3)
