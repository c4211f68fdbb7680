"""Board layouts: read back from the picture, nothing overlaps, leads keep their pitch, what is too small is said."""

from __future__ import annotations

import math
from collections import defaultdict
from itertools import combinations, permutations
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.chain.link import from_link
from piezolab.chain.parts import GROUND, Part
from piezolab.chain.stages import Stage
from piezolab.sheets.layout_svg import layout_svg, layout_text
from piezolab.studies.board.board_parts import BoardPart, Size, board_parts, lanes_of, size_of, soldered
from piezolab.studies.board.lane_order import best_orders, cost
from piezolab.studies.board.layout import METHODS, Layout, LayoutError, Options, layout, smallest_sentence
from piezolab.studies.board.shapes import bar, collide, disc
from tests.chain.own_stages import known
from tests.sheets.chains import chains

SVG = "{http://www.w3.org/2000/svg}"
LINKS = (
    "",
    "stage=gain",
    "return=divider&gate_stop=1k&drain_r=1k&supply_r=1k&bypass_c=10u&bypass_part=0.5",
    "return=tap&stage=gain&bypass_part=0.7&supply_r=100&gate_stop=1k",
    "source_r=0&out_c=100u&supply_c=1m",
)


def read_back(svg: str, reach: float) -> dict[str, list[int]]:
    """Part -> net of each lead, from conductors, links and joints of the picture; reach: half a lane's width, mm."""
    root = ElementTree.fromstring(svg)
    pieces = []
    for line in root.iter(f"{SVG}line"):
        kind = line.attrib.get("class")
        if kind in ("lane", "link"):
            x1, y1, x2, y2 = (float(line.attrib[key]) for key in ("x1", "y1", "x2", "y2"))
            pieces.append((kind, (x1, y1), (x2, y2)))
    nets = list(range(len(pieces)))
    for n, (kind, *ends) in enumerate(pieces):  # only the ends of a link are bare
        if kind == "link":
            for end in ends:
                for m, (other, a, b) in enumerate(pieces):
                    if other == "lane" and _far(end, a, b) < reach:
                        old, new = nets[m], nets[n]
                        nets = [new if net == old else net for net in nets]
    found = {}
    for group in root.iter(f"{SVG}g"):
        if "data-part" in group.attrib:
            leads = [tuple(map(float, pair.split(","))) for pair in group.attrib["data-leads"].split()]
            drawn = {
                (float(c.attrib["cx"]), float(c.attrib["cy"]))
                for c in group.iter(f"{SVG}circle")
                if c.attrib.get("class") == "joint"
            }
            assert set(leads) == drawn
            found[group.attrib["data-part"]] = [_net(lead, pieces, nets, reach) for lead in leads]
    return found


def _net(lead, pieces, nets, reach) -> int:
    touched = {nets[n] for n, (kind, a, b) in enumerate(pieces) if kind == "lane" and _far(lead, a, b) < reach}
    assert len(touched) == 1, f"a lead lands on {len(touched)} lanes"
    return touched.pop()


def _far(point, a, b) -> float:
    (x, y), (ax, ay), (bx, by) = point, a, b
    length = math.hypot(bx - ax, by - ay)
    along = ((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / length**2
    along = min(max(along, 0), 1)
    return math.hypot(x - ax - along * (bx - ax), y - ay - along * (by - ay))


def faults_of_connection(found: Layout, chain: SignalChain, pins: str = "D G S") -> list[str]:
    nets = read_back(layout_svg(found), found.method.width / 2)
    assembly = assemble(chain.values)
    nodes = {part.name: part.nodes for part in soldered(assembly)}
    for name, of_letters in list(nodes.items()):
        if len(of_letters) == 3:
            nodes[name] = tuple(dict(zip("DGS", of_letters, strict=True))[pin] for pin in pins.split())
    nodes |= {"pickup hot": ("pickup",), "pickup screen": (GROUND,), "jack sleeve": (GROUND,)}
    nodes |= {"jack tip": (assembly.jack,)}
    for part in assembly.parts:
        if part.kind == "battery":
            nodes |= {"battery +": part.nodes[:1], "battery -": part.nodes[1:]}
    faults = [] if nodes.keys() == nets.keys() else [f"parts differ: {nodes.keys() ^ nets.keys()}"]
    of_node, of_net = defaultdict(set), defaultdict(set)
    for name in nodes.keys() & nets.keys():
        for node, net in zip(nodes[name], nets[name], strict=True):
            of_node[node].add(net)
            of_net[net].add(node)
    faults += [f"{node} in {len(found)} pieces" for node, found in of_node.items() if len(found) > 1]
    return faults + [f"{sorted(found)} joined" for found in of_net.values() if len(found) > 1]


def faults_of_room(found: Layout) -> list[str]:
    """Bodies that overlap or leave the board, joints too close, leads through bodies: by points, unlike the search."""
    faults = []
    for part in found.parts:
        for x, y in (*part.body(), *part.leads):
            if not (-0.01 <= x <= found.width + 0.01 and -0.01 <= y <= found.height + 0.01):
                faults.append(f"{part.name} leaves the board")
    for one, other in combinations(found.parts, 2):
        for a, b in ((one, other), (other, one)):
            shape = b.body()
            if any(_inside(point, shape) for point in _points(a.body())):
                faults.append(f"{a.name} in {b.name}")
            for lead in a.wires():
                if any(_inside(point, shape) for point in _points(lead)):
                    faults.append(f"a lead of {a.name} in {b.name}")
        for p in one.leads:
            for q in other.leads:
                if math.dist(p, q) < 2.5:
                    faults.append(f"{one.name} and {other.name} share a hole")
    return sorted(set(faults))


def _points(shape) -> list[tuple[float, float]]:
    ring = list(zip(shape, (*shape[1:], shape[0]), strict=True)) if len(shape) > 2 else [tuple(shape)]
    return [
        (a[0] + (b[0] - a[0]) * n / 20, a[1] + (b[1] - a[1]) * n / 20) for a, b in ring for n in range(21)
    ] + [tuple(np.mean(shape, axis=0))]


def _inside(point, shape) -> bool:
    x, y = point
    turns = [
        (b[0] - a[0]) * (y - a[1]) - (b[1] - a[1]) * (x - a[0])
        for a, b in zip(shape, (*shape[1:], shape[0]), strict=True)
    ]
    return all(turn > 0.05 for turn in turns) or all(turn < -0.05 for turn in turns)


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("link", LINKS)
def test_layout_is_the_network(link: str, method: str) -> None:
    chain = from_link(link)
    found = layout(chain, Options(method=method))
    assert faults_of_connection(found, chain) == []
    assert faults_of_room(found) == []


@given(chains(), st.sampled_from(list(METHODS)), st.permutations("DGS"))
@settings(max_examples=25)
def test_random_chains_are_laid_out_as_their_network(chain: SignalChain, method: str, pins: list[str]) -> None:
    found = layout(chain, Options(method=method, pins=" ".join(pins)))
    if not chain.topology.powered:
        assert found is None
        return
    assert faults_of_connection(found, chain, " ".join(pins)) == []
    assert faults_of_room(found) == []
    for part in found.parts:
        if part.shape in ("bar", "box", "can"):
            size = next(p.size for p in board_parts(assemble(chain.values))[0] if p.name == part.name)
            assert size.pitch - 0.11 <= math.dist(*part.leads) <= size.reach


def test_same_chain_same_board() -> None:
    assert layout(from_link("stage=gain")) == layout(from_link("stage=gain"))


def test_board_that_is_too_small() -> None:
    chain = from_link("stage=gain")
    free = layout(chain)
    assert free.fits
    small = layout(chain, Options(board=(20, 20)))
    assert not small.fits
    told = smallest_sentence(small, (20, 20))
    assert told.startswith("A board of 20 × 20 mm is too small for stripboard")
    wide, tall = sorted((small.width, small.height), reverse=True)
    assert f"{wide:.1f} × {tall:.1f} mm." in told
    would_do = (math.ceil(tall * 10) / 10, math.ceil(wide * 10) / 10)  # the other way round
    assert layout(chain, Options(board=would_do)).fits


def test_wider_tape_makes_a_higher_board() -> None:
    narrow = layout(SignalChain(), Options(method="tape", lane_width=4))
    wide = layout(SignalChain(), Options(method="tape", lane_width=8))
    assert wide.height > narrow.height
    assert {strip[0][1] for lane in wide.lanes for strip in lane.strips} != set()


def test_leads_over_foreign_lanes_are_named_only_where_they_can_touch() -> None:
    assert layout(from_link(LINKS[2]), Options(method="stripboard")).sleeved == ()
    taped = layout(from_link(LINKS[2]), Options(method="tape"))
    names = {part.name for part in taped.parts}
    assert taped.sleeved and set(taped.sleeved) <= names


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"method": "glue"}, "(method): 'glue' is not known; allowed is tape, stripboard, wire or breadboard."),
        ({"board": (2, 30)}, "(board): '2x30' is out of range; allowed is width x height, each 5 to 500 mm"),
        ({"lane_width": 0.1}, "(lane_width): '0.1 mm' is out of range; allowed is 1 to 20 mm."),
        ({"gap": 30}, "gap between lanes (gap): '30 mm' is out of range; allowed is 0.5 to 20 mm."),
        ({"pins": "D D S"}, "(pins): 'D D S' is no order of legs; allowed is D G S, D S G, G D S"),
    ],
)
def test_options_are_checked(options, message) -> None:
    with pytest.raises(LayoutError) as raised:
        Options(**options)
    assert message in str(raised.value)


class _Endless(Stage):
    key = "endless"
    title = "more resistors on one node than a breadboard's column has holes"

    def parts(self, values):
        parts = [Part(f"R_{n}", "resistor", "resistor", ("pickup", f"n{n}"), 1e5) for n in range(12)]
        parts += [Part(f"R_{n}x", "resistor", "resistor", (f"n{n}", "jack"), 1e5) for n in range(12)]
        return (*parts, Part("R_s", "supply load", "resistor", ("supply", GROUND), 1e5))


def test_a_method_that_cannot_hold_the_parts_is_refused() -> None:
    with known(_Endless):
        with pytest.raises(LayoutError, match="has no room for the parts of this chain; allowed is tape, strip"):
            layout(SignalChain(stage="endless"), Options(method="breadboard"))
        assert faults_of_connection(layout(SignalChain(stage="endless")), SignalChain(stage="endless")) == []


def _random_parts(draw: st.DrawFn, lanes: list[str]) -> list[BoardPart]:
    two = st.lists(st.sampled_from(lanes), min_size=2, max_size=2, unique=True)
    sizes = st.sampled_from([size_of("resistor", 1e3), size_of("capacitor", 1e-8), size_of("capacitor", 1e-5)])
    count = draw(st.integers(2, 8))
    return [BoardPart(f"p{n}", "x", tuple(draw(two)), ("", ""), draw(sizes)) for n in range(count)]


@given(st.data())
@settings(max_examples=20)
def test_no_order_of_lanes_is_cheaper(data) -> None:
    lanes = list("abcdef")
    parts = _random_parts(data.draw, lanes)
    chosen = best_orders(lanes, parts, 5.08)[0]
    price = float(cost(np.array([chosen.index(lane) for lane in lanes]), lanes, parts, 5.08))
    for order in permutations(lanes):
        assert price <= float(cost(np.array([order.index(lane) for lane in lanes]), lanes, parts, 5.08)) + 1e-9


def test_search_over_many_lanes_comes_near_the_best() -> None:
    """Eight lanes in a ring of film capacitors: the best order is known by trying all 40320."""
    lanes = list("abcdefgh")
    size = Size("box", 5.08, 17.8, 7.2, 3.5)
    parts = [BoardPart(f"C{n}", "capacitor", (lanes[n], lanes[(n * 3 + 1) % 8]), ("", ""), size) for n in range(8)]
    every = np.array(list(permutations(range(8))))
    best = float(cost(every, lanes, parts, 5.08).min())
    found = best_orders(lanes, parts, 5.08)[0]
    price = float(cost(np.array([found.index(lane) for lane in lanes]), lanes, parts, 5.08))
    assert price <= 1.1 * best + 1e-9


@given(st.tuples(*[st.floats(-10, 10)] * 4), st.tuples(*[st.floats(-10, 10)] * 2), st.floats(0.5, 6))
def test_shapes_collide_where_they_share_points(ends, centre, across) -> None:
    a, b = ends[:2], ends[2:]
    if math.dist(a, b) < 0.1:
        return
    one, other = bar(a, b, 6.5, 2.5), disc(centre, across)
    grid = [
        (centre[0] + across / 2 * r * math.cos(t), centre[1] + across / 2 * r * math.sin(t))
        for r in (0, 0.5, 0.98)
        for t in np.linspace(0, 2 * math.pi, 25)
    ]
    if any(_inside(point, one) for point in grid):
        assert collide(one, other) and collide(other, one)
    middle = ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
    if math.dist(middle, centre) > math.hypot(6.5, 2.5) / 2 + across / 2 / math.cos(math.pi / 12) + 0.01:
        assert not collide(one, other)


def test_words_tell_the_lanes() -> None:
    found = layout(SignalChain())
    text = layout_text(found)
    assert "Source lane: " in text and "Q1 (S)" in text
    assert lanes_of(*board_parts(assemble(SignalChain().values))) and "CC" not in text


def test_checkers_see_faults() -> None:
    chain = from_link("")
    found = layout(chain)
    other = from_link("stage=gain")
    assert faults_of_connection(found, other) != []
    from dataclasses import replace

    part = found.parts[3]
    pushed = replace(part, leads=found.parts[4].leads, centre=found.parts[4].centre)
    broken = replace(found, parts=(*found.parts[:3], pushed, *found.parts[4:]))
    assert faults_of_room(broken) != []
