"""The stage's corner of the schematic: its symbols and wires, where signal, supply and ground meet it.

Checked here: the stage's own wires must join each node's leads and no two nodes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from piezolab.chain.assembly import Assembly
from piezolab.chain.parts import GROUND, Part
from piezolab.chain.stages.stage import INPUT, SUPPLY
from piezolab.sheets.drawing import Drawing, Point, Symbol

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
    return Symbol(part.name, part.kind, places, part.name in STRAY, polarised)


def plan_of(assembly: Assembly) -> StagePlan:
    """The plan of a chain's stage. Raises ValueError naming stage and node where its drawing contradicts its parts."""
    parts = assembly.where("board")
    if not parts:
        return StagePlan()
    wires = assembly.stage.wires(assembly.values)
    if any(part.place is None for part in parts):
        parts, wires = hung(parts, assembly.jack)
    drawing = Drawing(
        [symbol_of(part, part.place) for part in parts],
        [tuple((float(x), float(y)) for x, y in wire) for wire in wires],
    )
    owner = {
        point: node
        for part, symbol in zip(parts, drawing.symbols, strict=True)
        for node, point in zip(part.nodes, symbol.terminals, strict=True)
    }
    nets: dict[str, list[set[Point]]] = {}
    for net in drawing.nets():
        names = {owner[point] for point in net if point in owner} | {GROUND for _, y in net if y == 0}
        if len(names) != 1:
            told = " and ".join(sorted(names)) or "nothing"
            raise ValueError(f"stage {assembly.stage.key!r}: one wire of its schematic joins {told}")
        nets.setdefault(names.pop(), []).append(net)
    for node, found in nets.items():
        if node not in (GROUND, SUPPLY) and len(found) > 1:
            raise ValueError(f"stage {assembly.stage.key!r}: its schematic leaves node {node!r} in {len(found)} pieces")
    for node in (INPUT, assembly.jack):
        if node not in nets:
            raise ValueError(f"stage {assembly.stage.key!r}: nothing in its schematic is at node {node!r}")
    every = [point for found in nets.values() for net in found for point in net]
    return StagePlan(
        tuple(drawing.symbols),
        tuple(drawing.wires),
        entry=min(nets[INPUT][0]),
        exit=max(nets[assembly.jack][0]),
        heads=tuple(max(net, key=lambda point: (point[1], point[0])) for net in nets.get(SUPPLY, ())),
        feet=tuple(
            point
            for net in nets.get(GROUND, ())
            for point in sorted(net)
            if point[1] == 0 or (point == min(net, key=lambda p: (p[1], p[0])) and all(y > 0 for _, y in net))
        ),
        top=max(y for _, y in every),
    )


def hung(parts: tuple[Part, ...], jack: str) -> tuple[tuple[Part, ...], tuple[tuple[Point, ...], ...]]:
    """Places for parts that have none: each node a level lane, the parts upright between them, one after the other."""
    nodes = list(dict.fromkeys(node for part in parts for node in part.nodes))
    order = [node for node in nodes if node not in (SUPPLY, GROUND)]
    order.sort(key=lambda node: (node != INPUT, node == jack))
    lanes = {node: 3.0 * (n + 1) for n, node in enumerate(reversed(order))}
    lanes |= {GROUND: 0.0, SUPPLY: 3.0 * (len(order) + 1)}
    placed, wires, touched = [], [], {node: [] for node in lanes}
    x = 1.0
    for part in parts:
        if len(part.nodes) == 3:
            x += 2.0
            upper = lanes[part.nodes[0]]
            place: tuple[Point, ...] = ((x, upper - 0.5), (x - 1.5, upper - 2.0), (x, upper - 2.5))
        else:
            upper = max(lanes[part.nodes[0]], lanes[part.nodes[1]])
            place = ((x, upper - 0.5), (x, upper - 2.5))
            if lanes[part.nodes[0]] < lanes[part.nodes[1]]:
                place = place[::-1]
        for node, (at, y) in zip(part.nodes, place, strict=True):
            lane = lanes[node]
            if len(part.nodes) == 3 and y == upper - 2.5 and lane > y:  # the source's lane runs above: lead it round
                wires.append(((at, y), (at + 0.8, y), (at + 0.8, lane)))
                touched[node].append(at + 0.8)
            else:
                wires.append(((at, y), (at, lane)))
                touched[node].append(at)
        placed.append(replace(part, place=place))
        x += 2.3
    for node, xs in touched.items():
        if xs and node != GROUND:
            start = 0.0 if node == INPUT else min(xs)
            wires.append(((start, lanes[node]), (x if node == jack else max(xs), lanes[node])))
    return tuple(placed), tuple(wires)
