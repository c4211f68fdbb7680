"""The stage's corner of the schematic: its symbols and wires, where signal, supply and ground meet it.

A stage with one transistor is drawn as people know it; any other has its parts hung between level lanes, one for each
node. Either way the wires must join each node's leads and no two nodes: that is looked at before anything is drawn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from piezolab.chain.assembly import Assembly
from piezolab.chain.clamping import both_ways
from piezolab.chain.parts import GROUND, Part
from piezolab.chain.stages.stage import INPUT, SUPPLY
from piezolab.sheets.drawing import Drawing, Point, Symbol
from piezolab.sheets.one_transistor import Places, Wires, places_and_wires

STRAY = frozenset({"C_lead", "C_cable", "C_in", "R_in"})  # properties of lead, cable and input, not parts to solder
POLARISED_FROM = 1e-6  # F; from here up a maker usually takes an electrolytic one (common practice, no source)


@dataclass(frozen=True)
class StagePlan:
    """entry, exit: where the signal comes in and leaves; heads, feet: points to join to the supply and the ground rail;
    top: the height of the highest point."""

    symbols: tuple[Symbol, ...] = ()
    wires: tuple[tuple[Point, ...], ...] = ()
    entry: Point = (0.0, 2.0)
    exit: Point = (0.0, 2.0)
    heads: tuple[Point, ...] = ()
    feet: tuple[Point, ...] = ()
    top: float = 2.0


def symbol_of(part: Part, places: tuple[Point, ...]) -> Symbol:
    """The symbol of a part at these places."""
    polarised = part.kind == "capacitor" and part.name not in STRAY and part.value >= POLARISED_FROM
    kind = part.kind
    if kind == "clamp":
        kind = "pair" if both_ways(part.value) else "diode"
    return Symbol(part.name, kind, places, part.name in STRAY, polarised)


def plan_of(assembly: Assembly) -> StagePlan:
    """The plan of a chain's stage. Raises ValueError naming stage and node where no drawing can show its parts."""
    parts, jack = assembly.where("board"), assembly.jack
    if not parts:
        return StagePlan()
    known = places_and_wires(parts)
    if known is not None:
        drawing = _drawn(parts, *known)
        nets = _nets(parts, drawing)
        if not _contradiction(nets, jack):
            return _plan(drawing, nets, jack)
    drawing = _drawn(parts, *hung(parts, jack))
    nets = _nets(parts, drawing)
    wrong = _contradiction(nets, jack)
    if wrong:
        raise ValueError(f"stage {assembly.stage.key!r}: {wrong}")
    return _plan(drawing, nets, jack)


def _drawn(parts: Sequence[Part], places: Places, wires: Wires) -> Drawing:
    return Drawing(
        [symbol_of(part, places[part.name]) for part in parts],
        [tuple((float(x), float(y)) for x, y in wire) for wire in wires],
    )


def _nets(parts: Sequence[Part], drawing: Drawing) -> list[tuple[set[str], set[Point]]]:
    """What is joined in the drawing: the nodes whose leads it holds, and its points."""
    owner = {
        point: node
        for part, symbol in zip(parts, drawing.symbols, strict=True)
        for node, point in zip(part.nodes, symbol.terminals, strict=True)
    }
    return [
        ({owner[point] for point in net if point in owner} | {GROUND for _, y in net if y == 0}, net)
        for net in drawing.nets()
    ]


def _contradiction(nets: Sequence[tuple[set[str], set[Point]]], jack: str) -> str:
    """How the drawing contradicts the parts; empty where it does not."""
    seen: list[str] = []
    for names, _ in nets:
        if len(names) != 1:
            return f"one wire of its schematic joins {' and '.join(sorted(names)) or 'nothing'}"
        seen += names
    for node in dict.fromkeys(seen):
        if node not in (GROUND, SUPPLY) and seen.count(node) > 1:
            return f"its schematic leaves node {node!r} in {seen.count(node)} pieces"
    for node in (INPUT, jack):
        if node not in seen:
            return f"nothing in its schematic is at node {node!r}"
    return ""


def _plan(drawing: Drawing, nets: Sequence[tuple[set[str], set[Point]]], jack: str) -> StagePlan:
    def of(node: str) -> list[set[Point]]:
        return [net for names, net in nets if node in names]

    return StagePlan(
        tuple(drawing.symbols),
        tuple(drawing.wires),
        entry=min(of(INPUT)[0]),
        exit=max(of(jack)[0]),
        heads=tuple(max(net, key=lambda point: (point[1], point[0])) for net in of(SUPPLY)),
        feet=tuple(
            point
            for net in of(GROUND)
            for point in sorted(net)
            if point[1] == 0 or (point == min(net, key=lambda p: (p[1], p[0])) and all(y > 0 for _, y in net))
        ),
        top=max(y for _, net in nets for _, y in net),
    )


def hung(parts: Sequence[Part], jack: str) -> tuple[Places, Wires]:
    """Places by part name, and wires: each node a level lane, the parts upright between them, one after the other."""
    lanes = _lanes(parts, jack)
    places: Places = {}
    wires: list[tuple[Point, ...]] = []
    touched: dict[str, list[float]] = {node: [] for node in lanes}
    x = 1.0
    for part in parts:
        heights = [lanes[node] for node in part.nodes]
        if len(heights) == 3:
            x += 2.0
            upper = heights[0]
            place: tuple[Point, ...] = ((x, upper - 0.5), (x - 1.5, upper - 2.0), (x, upper - 2.5))
        else:
            upper = max(heights)
            place = ((x, upper - 0.5), (x, upper - 2.5))
            if heights[0] < heights[1]:
                place = place[::-1]
        for node, (at, y) in zip(part.nodes, place, strict=True):
            lane = lanes[node]
            if len(heights) == 3 and y == upper - 2.5 and lane > y:  # the source's lane runs above: lead it round
                wires.append(((at, y), (at + 0.8, y), (at + 0.8, lane)))
                touched[node].append(at + 0.8)
            else:
                wires.append(((at, y), (at, lane)))
                touched[node].append(at)
        places[part.name] = place
        x += 2.3
    for node, xs in touched.items():
        if xs and node != GROUND:
            start = 0.0 if node == INPUT else min(xs)
            wires.append(((start, lanes[node]), (x if node == jack else max(xs), lanes[node])))
    return places, tuple(wires)


def _lanes(parts: Sequence[Part], jack: str) -> dict[str, float]:
    """The height of each node's lane: the pickup's highest, the jack's lowest, between supply and ground."""
    nodes = list(dict.fromkeys(node for part in parts for node in part.nodes))
    order = [node for node in nodes if node not in (SUPPLY, GROUND)]
    order.sort(key=lambda node: (node != INPUT, node == jack))
    lanes = {node: 3.0 * (n + 1) for n, node in enumerate(reversed(order))}
    return lanes | {GROUND: 0.0, SUPPLY: 3.0 * (len(order) + 1)}
