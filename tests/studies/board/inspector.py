"""A board judged by its finished picture alone: what is joined, what comes too near, what leaves the board.

Nothing of the search is used: copper, leads, bodies and joints are read from the lines of the SVG, joined where they
touch, and held against the parts of the chain. Millimetres. Clearances: common practice, no source.
"""

from __future__ import annotations

import math
import re
from collections import defaultdict
from dataclasses import dataclass, field
from itertools import combinations
from xml.etree import ElementTree

from piezolab.chain import SignalChain
from piezolab.chain.assembly import Assembly, assemble
from piezolab.chain.parts import GROUND

SVG = "{http://www.w3.org/2000/svg}"
TOUCH = 0.3  # copper nearer than this counts as joined
COPPER_GAP = {"tape": 2.0, "stripboard": 0.5, "wire": 1.0, "breadboard": 0.5}
OVER = 0.9  # a bare lead, or a body, from foreign copper of its own face
LEADS = 0.6  # bare leads of two nodes from each other
WITHIN = 0.4  # legs of one part from each other
GUARD_FROM = 22e6

Point = tuple[float, float]
Shape = list[Point]


@dataclass
class Drawn:
    """A part as drawn: leads: by number the bare pieces; joints: by number; legs: letters by the joint they stand at;
    sleeved: numbers of leads with a sleeve."""

    name: str
    joints: dict[int, Point] = field(default_factory=dict)
    leads: dict[int, list[Shape]] = field(default_factory=lambda: defaultdict(list))
    pins: dict[int, Point] = field(default_factory=dict)
    sleeved: set[int] = field(default_factory=set)
    body: Shape | None = None
    legs: dict[int, str] = field(default_factory=dict)
    flat: int = 0


@dataclass
class Picture:
    """What a picture shows. copper: pieces; links: pairs of ends; holes: middles."""

    board: Shape
    copper: list[Shape]
    links: list[tuple[Point, Point]]
    holes: list[Point]
    parts: dict[str, Drawn]


def read(svg: str) -> Picture:
    """A picture's shapes."""
    root = ElementTree.fromstring(svg)
    found = Picture([], [], [], [], {})
    letters: list[tuple[Point, str]] = []
    gaps: list[Shape] = []
    for element in root.iter():
        kind, tag = element.get("class", ""), element.tag.removeprefix(SVG)
        if kind == "board":
            wide, tall = float(element.get("width")), float(element.get("height"))
            found.board = [(0, 0), (wide, 0), (wide, tall), (0, tall)]
        elif tag == "line" and kind in ("lane", "spare"):
            found.copper.append(_strip(element))
        elif kind == "cut":
            gaps.append(_strip(element))
        elif kind == "link":
            found.links.append(_ends(element))
        elif kind == "hole":
            found.holes.append((float(element.get("cx")), float(element.get("cy"))))
        elif kind == "part":
            part = _part(element)
            found.parts[part.name] = part
        elif tag == "text" and kind == "leg":
            letters.append(((float(element.get("x")), float(element.get("y")) - 0.7), element.text))
    for gap in gaps:
        assert all(_apart(gap, piece) > -0.05 for piece in found.copper), "copper lies in a cut"
    for at, letter in letters:  # a letter belongs to the nearest joint
        part, n = min(
            ((part, n) for part in found.parts.values() for n in part.joints),
            key=lambda place: math.dist(place[0].joints[place[1]], at),
        )
        part.legs[n] = part.legs.get(n, "") + letter
    return found


def _part(group) -> Drawn:
    part = Drawn(group.get("data-part"))
    for element in group:
        kind = element.get("class", "")
        n = int(element.get("data-lead", -1))
        if kind == "joint":
            part.joints[n] = (float(element.get("cx")), float(element.get("cy")))
        elif kind == "lead":
            part.leads[n].append(_strip(element))
            part.pins.setdefault(n, _ends(element)[0])
        elif kind == "sleeve":
            part.sleeved.add(n)
        elif kind == "body":
            part.body, part.flat = _body(element)
    for n, joint in part.joints.items():  # a leg straight down under the body
        part.pins.setdefault(n, joint)
    return part


def _body(element) -> tuple[Shape, int]:
    """Outline, and for a transistor 1 where its flat face lies at the lower edge of the picture, -1 at the upper."""
    if element.get("r"):
        x, y, r = (float(element.get(key)) for key in ("cx", "cy", "r"))
        return [(x + r * math.cos(n * math.pi / 12), y + r * math.sin(n * math.pi / 12)) for n in range(24)], 0
    if element.get("points"):
        return [tuple(map(float, pair.split(","))) for pair in element.get("points").split()], 0
    numbers = [float(number) for number in re.findall(r"-?\d+\.\d+", element.get("d"))]
    points = list(zip(numbers[::2], numbers[1::2], strict=True))
    (left, flat), (right, other) = points[0], points[-1]  # closed by the straight line: the flat face
    assert flat == other and left < right
    middle = sum(y for _, y in points) / len(points)
    ys = [y for _, y in points]
    return [(left, min(ys)), (right, min(ys)), (right, max(ys)), (left, max(ys))], 1 if flat > middle else -1


def _ends(element) -> tuple[Point, Point]:
    x1, y1, x2, y2 = (float(element.get(key)) for key in ("x1", "y1", "x2", "y2"))
    return (x1, y1), (x2, y2)


def _strip(element) -> Shape:
    """A line over its full width."""
    (ax, ay), (bx, by) = _ends(element)
    half, length = float(element.get("stroke-width")) / 2, math.hypot(bx - ax, by - ay) or 1.0
    ux, uy = (bx - ax) / length * half, (by - ay) / length * half
    return [(ax - uy, ay + ux), (bx - uy, by + ux), (bx + uy, by - ux), (ax + uy, ay - ux)]


# -- distances ----------------------------------------------------------------------------------------------------
def _box(shape: Shape) -> tuple[float, float, float, float]:
    xs, ys = [x for x, _ in shape], [y for _, y in shape]
    return min(xs), min(ys), max(xs), max(ys)


def _apart(one: Shape, other: Shape, enough: float = 3.0) -> float:
    """Distance of two convex shapes; negative where they overlap; at least `enough` where it is more than that."""
    a, b = _box(one), _box(other)
    away = max(a[0] - b[2], b[0] - a[2], a[1] - b[3], b[1] - a[3])
    if away >= enough:
        return away
    if _overlap(one, other):
        return -1.0
    return min(_segments(p, q, r, s) for p, q in _sides(one) for r, s in _sides(other))


def _sides(shape: Shape):
    return list(zip(shape, (*shape[1:], shape[0]), strict=True))


def _overlap(one: Shape, other: Shape) -> bool:
    for shape in (one, other):
        for (ax, ay), (bx, by) in _sides(shape):
            nx, ny = ay - by, bx - ax
            size = math.hypot(nx, ny)
            if size < 1e-9:
                continue
            p = [(x * nx + y * ny) / size for x, y in one]
            q = [(x * nx + y * ny) / size for x, y in other]
            if max(p) <= min(q) + 0.02 or max(q) <= min(p) + 0.02:
                return False
    return True


def _segments(a: Point, b: Point, c: Point, d: Point) -> float:
    return min(_far(a, c, d), _far(b, c, d), _far(c, a, b), _far(d, a, b))


def _far(point: Point, a: Point, b: Point) -> float:
    (x, y), (ax, ay), (bx, by) = point, a, b
    length = (bx - ax) ** 2 + (by - ay) ** 2
    along = min(max(((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / length, 0), 1) if length else 0.0
    return math.hypot(x - ax - along * (bx - ax), y - ay - along * (by - ay))


# -- what is joined -----------------------------------------------------------------------------------------------
def _nets(picture: Picture) -> list[int]:
    """The net of each piece of copper: pieces that touch, or that a link joins, are one."""
    nets = list(range(len(picture.copper)))

    def join(a: int, b: int) -> None:
        old, new = nets[a], nets[b]
        for n, net in enumerate(nets):
            nets[n] = new if net == old else net

    for a, b in combinations(range(len(nets)), 2):
        if _apart(picture.copper[a], picture.copper[b], 1.0) < TOUCH:
            join(a, b)
    for ends in picture.links:
        places = [[n for n, piece in enumerate(picture.copper) if _in(end, piece)] for end in ends]
        assert all(places), "a link's end lies on no copper"
        for n in (*places[0][1:], *places[1]):
            join(places[0][0], n)
    return nets


def _in(point: Point, shape: Shape) -> bool:
    left, low, right, high = _box(shape)
    return left - 0.01 <= point[0] <= right + 0.01 and low - 0.01 <= point[1] <= high + 0.01


def _landed(picture: Picture, nets: list[int], faults: list[str]) -> dict[tuple[str, int], int]:
    found = {}
    for part in picture.parts.values():
        for n, joint in part.joints.items():
            on = {nets[m] for m, piece in enumerate(picture.copper) if _in(joint, piece)}
            if len(on) != 1:
                faults.append(f"lead {n} of {part.name} lands on {len(on)} conductors")
            else:
                found[part.name, n] = on.pop()
    return found


def _expected(assembly: Assembly, ring: bool) -> dict[str, tuple[str, ...]]:
    nodes = {
        part.name: part.nodes
        for part in assembly.where("board", "supply")
        if part.kind in ("resistor", "capacitor", "clamp", "jfet")
    }
    nodes |= {"pickup hot": ("pickup",), "pickup screen": (GROUND,), "jack sleeve": (GROUND,)}
    nodes |= {"jack tip": (assembly.jack,)}
    for part in assembly.parts:
        if part.kind == "battery":
            nodes["battery +"] = part.nodes[:1]
            if not ring:
                nodes["battery -"] = part.nodes[1:]
    return nodes


def _leads_of(part: Drawn, nodes: tuple[str, ...], pins: str, faults: list[str]) -> dict[int, str]:
    """The node that each drawn lead must have: a transistor's by the place of its leg seen from its flat face, a
    capacitor's with a plus by that."""
    if len(nodes) == 3:
        seen = sorted(part.pins, key=lambda n: part.flat * part.pins[n][0])
        letters = dict(zip(seen, pins.split(), strict=True))
        for n, letter in letters.items():
            if part.legs.get(n) != letter:
                faults.append(f"leg {n} of {part.name} says {part.legs.get(n)!r}, the pins say {letter}")
        return {n: dict(zip("DGS", nodes, strict=True))[letter] for n, letter in letters.items()}
    plus = [n for n, letter in part.legs.items() if letter == "+"]
    if plus and len(nodes) == 2:
        return {plus[0]: nodes[0], 1 - plus[0]: nodes[1]}
    return dict(enumerate(nodes))


# -- the verdict --------------------------------------------------------------------------------------------------
def faults_of(
    svg: str, chain: SignalChain, method: str, pins: str, *, one_face: bool | None = None, ring: bool = False,
    polar: frozenset[str] | None = None,
) -> list[str]:  # fmt: skip
    """Everything that is wrong with a picture of a chain's board. polar: capacitors that must show their plus."""
    picture = read(svg)
    assembly = assemble(chain.values)
    nets = _nets(picture)
    faults: list[str] = []
    landed = _landed(picture, nets, faults)
    faults += _netlist(picture, assembly, landed, pins, ring, polar)
    faults += _copper(picture, nets, method)
    faults += _room(picture)
    faults += _leads(picture, landed)
    if method == "tape" if one_face is None else one_face:
        faults += _over_copper(picture, nets, landed)
    if method in ("stripboard", "wire"):
        faults += _on_grid(picture)
    if method != "breadboard":
        faults += _guarded(picture, nets, landed, assembly, pins)
    return sorted(set(faults))


def _netlist(picture, assembly, landed, pins, ring, polar) -> list[str]:
    nodes = _expected(assembly, ring)
    faults = [f"not both drawn and in the chain: {name}" for name in nodes.keys() ^ picture.parts.keys()]
    of_node, of_net = defaultdict(set), defaultdict(set)
    for name in nodes.keys() & picture.parts.keys():
        part = picture.parts[name]
        if len(part.joints) != len(nodes[name]):
            faults.append(f"{name} has {len(part.joints)} leads")
            continue
        if polar and name in polar and "+" not in part.legs.values():
            faults.append(f"{name} shows no plus")
        for n, node in _leads_of(part, nodes[name], pins, faults).items():
            if (name, n) in landed:
                of_node[node].add(landed[name, n])
                of_net[landed[name, n]].add(node)
    faults += [f"node {node} is in {len(found)} pieces" for node, found in of_node.items() if len(found) > 1]
    return faults + [f"nodes {sorted(found)} are joined" for found in of_net.values() if len(found) > 1]


def _copper(picture, nets, method) -> list[str]:
    faults = []
    for a, b in combinations(range(len(nets)), 2):
        if nets[a] != nets[b] and _apart(picture.copper[a], picture.copper[b]) < COPPER_GAP[method] - 0.02:
            faults.append("two conductors lie too near each other")
    return faults


def _room(picture) -> list[str]:
    """Nothing outside the board, no body in a body, no joint under another's."""
    faults = []
    board = _box(picture.board)
    for piece in picture.copper:
        if not _within(piece, board):
            faults.append("copper leaves the board")
    for part in picture.parts.values():
        for shape in (part.body or [], *(piece for pieces in part.leads.values() for piece in pieces)):
            if not _within(shape, board):
                faults.append(f"{part.name} leaves the board")
        if not _within(list(part.joints.values()), board):
            faults.append(f"{part.name} leaves the board")
    parts = list(picture.parts.values())
    for one, other in combinations(parts, 2):
        if one.body and other.body and _apart(one.body, other.body) < 0.0:
            faults.append(f"{one.name} and {other.name} overlap")
        for p in one.joints.values():
            for q in other.joints.values():
                if math.dist(p, q) < 2.5:
                    faults.append(f"{one.name} and {other.name} share a place")
    return faults


def _within(shape: Shape, board) -> bool:
    return all(
        board[0] - 0.02 <= x <= board[2] + 0.02 and board[1] - 0.02 <= y <= board[3] + 0.02 for x, y in shape
    )


def _leads(picture, landed) -> list[str]:
    """Bare leads of two nodes keep apart, and none runs through another part's body or joint."""
    faults = []
    every = [(part, n, piece) for part in picture.parts.values() for n in part.leads for piece in part.leads[n]]
    for (one, n, piece), (other, m, second) in combinations(every, 2):
        if landed.get((one.name, n)) != landed.get((other.name, m)):
            least = LEADS if one is not other else WITHIN  # legs leave their body side by side
            if _apart(piece, second, least) < least:
                faults.append(f"leads of {one.name} and {other.name} come too near")
    for part, n, piece in every:
        for other in picture.parts.values():
            if other is not part and other.body and _apart(piece, other.body) < 0.0:
                faults.append(f"a lead of {part.name} runs through {other.name}")
            for m, joint in other.joints.items():
                if landed.get((part.name, n)) != landed.get((other.name, m)) and other is not part:
                    if _apart(piece, _spot(joint)) < LEADS - 0.3:
                        faults.append(f"a lead of {part.name} comes near a joint of {other.name}")
    return faults


def _spot(at: Point) -> Shape:
    x, y = at
    return [(x + 0.65 * math.cos(n * math.pi / 4), y + 0.65 * math.sin(n * math.pi / 4)) for n in range(8)]


def _over_copper(picture, nets, landed) -> list[str]:
    """On one face: no bare lead, and no body, over or near copper of another node, unless its sleeve is drawn."""
    faults = []
    for part in picture.parts.values():
        own = {landed.get((part.name, n)) for n in part.joints}
        for n, pieces in part.leads.items():
            for m, copper in enumerate(picture.copper):
                if nets[m] != landed.get((part.name, n)) and n not in part.sleeved:
                    if any(_apart(piece, copper) < OVER for piece in pieces):
                        faults.append(f"lead {n} of {part.name} lies bare over copper of another node")
        if part.body and not part.sleeved:
            for m, copper in enumerate(picture.copper):
                if nets[m] not in own and _apart(part.body, copper) < OVER:
                    faults.append(f"the body of {part.name} lies over copper of another node")
    return faults


def _on_grid(picture) -> list[str]:
    """Every joint in a hole, every two-lead part along the grid, every hole on the board's 2.54 mm raster."""
    faults = []
    for part in picture.parts.values():
        for joint in part.joints.values():
            if min(math.dist(joint, hole) for hole in picture.holes) > 0.02:
                faults.append(f"{part.name} lands beside its hole")
        if len(part.joints) == 2:
            (ax, ay), (bx, by) = part.joints[0], part.joints[1]
            if min(abs(ax - bx), abs(ay - by)) > 0.02:
                faults.append(f"{part.name} lies across the grid")
    (x0, y0) = picture.holes[0]
    for x, y in picture.holes:
        if any(abs(d / 2.54 - round(d / 2.54)) > 0.01 for d in (x - x0, y - y0)):
            faults.append("a hole lies off the raster")
    return faults


def _guarded(picture, nets, landed, assembly, pins) -> list[str]:
    """From 22 megohm on, the first conductor beyond the gate's lanes is the guard's, along their whole length."""
    first = next((part for part in assembly.parts if part.kind == "jfet"), None)
    gate = {"pickup", first.nodes[1]} if first else set()
    large = [part for part in assembly.where("board") if part.kind == "resistor" and gate & set(part.nodes)]
    if max((float(part.value) for part in large), default=0) < GUARD_FROM:
        return []
    guard = GROUND if assembly.stage.inverts else first.nodes[2]
    if guard in gate:
        return []
    nodes = _expected(assembly, False)
    net_of = {}
    for name, part in picture.parts.items():
        if name in nodes and len(part.joints) == len(nodes[name]):
            for n, node in _leads_of(part, nodes[name], pins, []).items():
                net_of[node] = landed.get((name, n))
    own = {net_of[node] for node in gate if node in net_of}
    used = set(landed.values())
    faults = []
    for n, copper in enumerate(picture.copper):
        if nets[n] not in own:
            continue
        left, low, right, high = _box(copper)
        for step in range(21):
            x = left + (right - left) * step / 20
            for up in (-1, 1):
                beyond = [
                    (abs(_box(other)[1] - low), nets[m])
                    for m, other in enumerate(picture.copper)
                    if nets[m] not in own and nets[m] in used and _box(other)[0] - 0.01 <= x <= _box(other)[2] + 0.01
                    and (_box(other)[1] - low) * up > 0
                ]  # fmt: skip
                if beyond and min(beyond)[1] != net_of[guard]:
                    faults.append("the gate's lane lies beside another one than its guard")
    return faults
