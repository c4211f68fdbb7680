"""The schematic says what the network is: read back from the finished SVG, for random chains and every option."""

from __future__ import annotations

import re
import subprocess
import sys
from collections import defaultdict
from itertools import combinations
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.chain.link import from_link
from piezolab.chain.parts import GROUND, Part
from piezolab.chain.stages import Stage
from piezolab.chain.stages.common_parts import model
from piezolab.faces import embedded
from piezolab.sheets.drawing import Drawing, overlap
from piezolab.sheets.one_transistor import places_and_wires
from piezolab.sheets.schematic import lettered, schematic_svg, schematic_text
from piezolab.sheets.stage_plan import plan_of
from piezolab.sheets.symbols import UNIT
from piezolab.studies.linear import LinearChain
from tests.chain import own_stages
from tests.sheets.chains import chains

SVG = "{http://www.w3.org/2000/svg}"
OPTIONS = (
    "",
    "stage=direct",
    "stage=direct&discs=2s&pad=100k,10k&lead_m=0&cable_m=0",
    "stage=gain",
    "stage=gain&drain_r=0&return=divider&discs=2p",
    "stage=gain&source_r=0",
    "stage=gain&return=tap&bypass_part=0.7&supply_c=0",
    "stage=gain&return=tap&bypass_part=0.2&gate_stop=1k",
    "stage=gain&return=divider&divider_c=0&bypass_c=0",
    "return=tap&gate_stop=1k&drain_r=1k&supply_r=1k",
    "return=divider&gate_stop=1k&discs=2sx&pad=10k,1k",
    "return=divider&divider_c=0&gate_stop=1k&bypass_c=10u&bypass_part=0.5",
    "source_r=0&gate_stop=2k2&supply_r=100&discs=2px&resonance=3k,20,0.3",
    "bypass_c=10u",
)


def read_back(svg: str) -> dict[str, list[int]]:
    """Part -> number of the net at each of its terminals, from wires, terminals and open ends of the picture alone."""
    root = ElementTree.fromstring(svg)
    parts: dict[str, list[tuple[float, float]]] = {}
    for group in root.iter(f"{SVG}g"):
        if "data-part" in group.attrib:
            pairs = [tuple(map(float, pair.split(","))) for pair in group.attrib["data-terminals"].split()]
            parts[group.attrib["data-part"]] = [(x * UNIT, -y * UNIT) for x, y in pairs]
    pieces = []
    for line in root.iter(f"{SVG}polyline"):
        points = [tuple(map(float, pair.split(","))) for pair in line.attrib["points"].split()]
        pieces += list(zip(points, points[1:], strict=False))
    for circle in root.iter(f"{SVG}circle"):
        if circle.attrib["class"] == "end":
            x, y, r = (float(circle.attrib[key]) for key in ("cx", "cy", "r"))
            pieces.append(((x - r, y), (x + r, y)))
    spots = [spot for places in parts.values() for spot in places] + [end for piece in pieces for end in piece]
    parent = list(range(len(pieces)))

    def root_of(n: int) -> int:
        while parent[n] != n:
            n = parent[n]
        return n

    for spot in spots:  # whatever has an end, corner or lead on a wire is joined to it; a mere crossing is not
        touching = [n for n, piece in enumerate(pieces) if _touches(spot, piece)]
        for n in touching[1:]:
            parent[root_of(n)] = root_of(touching[0])
    nets: dict[str, list[int]] = {}
    lone: dict[tuple[int, int], int] = {}
    for name, places in parts.items():
        nets[name] = []
        for spot in places:
            touching = [n for n, piece in enumerate(pieces) if _touches(spot, piece)]
            key = (round(spot[0]), round(spot[1]))
            nets[name].append(root_of(touching[0]) if touching else lone.setdefault(key, -1 - len(lone)))
    return nets


def _touches(spot: tuple[float, float], piece: tuple[tuple[float, float], tuple[float, float]]) -> bool:
    (x, y), ((ax, ay), (bx, by)) = spot, piece
    near = 0.3  # pixel
    return min(ax, bx) - near <= x <= max(ax, bx) + near and min(ay, by) - near <= y <= max(ay, by) + near


def network_of(chain: SignalChain) -> dict[str, tuple[str, ...]]:
    """Part -> its nodes, straight from the chain's parts; a disc is its ceramic and its brass side."""
    assembly = assemble(chain.values)
    nodes = {part.name: part.nodes for part in assembly.parts if part.where != "pickup"}
    for part in assembly.parts:
        if part.name.startswith("R_p") and part.where == "pickup":
            mark = part.name[3:]
            nodes[f"disc{mark}"] = part.nodes[::-1] if assembly.drive[f"E_p{mark}"] < 0 else part.nodes
    return nodes


def faults_of_connection(svg: str, nodes: dict[str, tuple[str, ...]]) -> list[str]:
    nets = read_back(svg)
    faults = [f"{name} is missing" for name in nodes.keys() - nets.keys()]
    faults += [f"{name} is not in the network" for name in nets.keys() - nodes.keys()]
    of_node, of_net = defaultdict(set), defaultdict(set)
    for name in nodes.keys() & nets.keys():
        for node, net in zip(nodes[name], nets[name], strict=True):
            of_node[node].add(net)
            of_net[net].add(node)
    faults += [f"node {node} is in {len(found)} pieces" for node, found in of_node.items() if len(found) > 1]
    faults += [f"{sorted(found)} are joined" for found in of_net.values() if len(found) > 1]
    return faults


def faults_of_layout(drawing: Drawing) -> list[str]:
    """Boxes that overlap: symbols, texts, and wires that run through either."""
    boxes = [(symbol.name, _shrunk(symbol.box)) for symbol in drawing.symbols]
    boxes += [(repr(text.words), _shrunk(text.box, 0.02)) for text in drawing.texts]
    faults = [f"{a} and {b}" for (a, one), (b, other) in combinations(boxes, 2) if overlap(one, other) > 0]
    for (ax, ay), (bx, by) in drawing.segments():
        line = (min(ax, bx) - 0.01, min(ay, by) - 0.01, max(ax, bx) + 0.01, max(ay, by) + 0.01)
        faults += [f"a wire through {name}" for name, box in boxes if overlap(box, line) > 0]
    return faults


def _shrunk(box: tuple[float, float, float, float], by: float = 0.03) -> tuple[float, float, float, float]:
    return box[0] + by, box[1] + by, box[2] - by, box[3] - by


def missing_voltages(drawing: Drawing, nodes: dict[str, tuple[str, ...]]) -> int:
    """How many nets with wires have no voltage beside them, ground and the point between two discs aside."""
    owner = {
        point: node
        for symbol in drawing.symbols
        for node, point in zip(nodes[symbol.name], symbol.terminals, strict=True)
    }
    ends = {point for piece in drawing.segments() for point in piece}
    wired = {owner.get(point) for net in drawing.nets() for point in net if net & ends}
    shown = [text for text in drawing.texts if text.role == "live"]
    transistors = sum(symbol.kind == "jfet" for symbol in drawing.symbols)
    return len(wired - {None, GROUND, "between discs"}) - (len(shown) - transistors)


@pytest.mark.parametrize("link", OPTIONS)
def test_every_option_is_drawn_as_its_network(link: str) -> None:
    chain = from_link(link)
    assert faults_of_connection(schematic_svg(chain), network_of(chain)) == []
    assert faults_of_layout(lettered(LinearChain.of(chain.values), live=True)) == []


@given(chains())
def test_random_chains_are_drawn_as_their_network(chain: SignalChain) -> None:
    svg = schematic_svg(chain)
    assert faults_of_connection(svg, network_of(chain)) == []
    drawing = lettered(LinearChain.of(chain.values), live=True)
    assert faults_of_layout(drawing) == []
    named = {text.words for text in drawing.texts}
    assert {part.name for part in assemble(chain.values).where("board")} <= named


@given(chains())
@settings(max_examples=25)
def test_every_node_shows_its_voltage(chain: SignalChain) -> None:
    drawing = lettered(LinearChain.of(chain.values), live=True)
    if chain.topology.powered:
        assert missing_voltages(drawing, network_of(chain)) == 0
    else:
        assert not [text for text in drawing.texts if text.role == "live"]


def test_voltages_are_those_of_the_operating_point() -> None:
    chain = from_link("stage=gain&supply_r=1k")
    point = LinearChain.of(chain.values).point
    svg = schematic_svg(chain)
    assert f">{float(point.voltage('drain')):.2f} V<" in svg
    assert f">{float(point.voltage('source')) * 1000:.0f} mV<" in svg
    assert 'class="live"' not in schematic_svg(chain, live=False)


def test_leads_of_the_drawn_symbols_reach_their_terminals() -> None:
    for link in OPTIONS:
        root = ElementTree.fromstring(schematic_svg(from_link(link)))
        for group in root.iter(f"{SVG}g"):
            if "data-part" not in group.attrib:
                continue
            x0, y0 = map(float, re.findall(r"-?[\d.]+", group.attrib["transform"]))
            drawn = []
            for path in group.iter(f"{SVG}path"):
                numbers = list(map(float, re.findall(r"-?\d+(?:\.\d+)?(?:e-?\d+)?", path.attrib["d"])))
                drawn += [(x0 + x, y0 + y) for x, y in zip(numbers[::2], numbers[1::2], strict=True)]
            for pair in group.attrib["data-terminals"].split():
                x, y = (float(number) * UNIT for number in pair.split(","))
                assert min((x - px) ** 2 + (-y - py) ** 2 for px, py in drawn) < 0.25, group.attrib["data-part"]


def test_colours_are_those_of_the_page() -> None:
    svg = schematic_svg(from_link(OPTIONS[10]))
    assert set(re.findall(r"(?:stroke|fill)[:=]\"?([#\w]+)", svg)) <= {"currentColor", "currentcolor", "none"}


def test_words_and_title_for_readers_who_do_not_see_it() -> None:
    chain = from_link("stage=gain&gate_stop=1k")
    text = schematic_text(chain)
    assert "R_G, gate resistor 4M7: the pickup's hot side to ground." in text
    assert f"Q1, transistor {chain.values.jfet}: drain to drain, gate to gate, source to source." in text
    assert "Voltages to ground at rest: " in text
    root = ElementTree.fromstring(schematic_svg(chain))
    assert root.attrib["role"] == "img"
    assert root.find(f"{SVG}title").text and root.find(f"{SVG}desc").text == text
    assert "Voltages" not in schematic_text(from_link("stage=direct"))


# -- stages of others -------------------------------------------------------------------------------------------------
def resistor(name: str, *nodes: str) -> Part:
    return Part(name, "resistor", "resistor", nodes, 1e5)


def stage_of(*parts: Part) -> type[Stage]:
    """A stage of the parts given."""
    return type("Made", (Stage,), {"key": "made", "title": "made here", "parts": lambda self, values: parts})


@given(chains())
def test_stages_with_one_transistor_are_drawn_as_people_know_them(chain: SignalChain) -> None:
    assembly = assemble(chain.values)
    board = assembly.where("board")
    drawn = {symbol.name: symbol.terminals for symbol in plan_of(assembly).symbols}
    if chain.stage not in ("follower", "gain"):  # of others their own tests tell
        return
    assert drawn == places_and_wires(board)[0]
    (drain_x, drain_y), (gate_x, gate_y), source = drawn["Q1"]
    assert source == (drain_x, drain_y - 2) and (gate_x, gate_y) == (drain_x - 1.5, source[1] + 0.5)
    (far, _), (near, _) = drawn["C_out"][::-1]
    assert min(x for x, _ in drawn["R_G"]) < drain_x < near < far  # in on the left, out on the right


@pytest.mark.parametrize("stage", own_stages.ALL)
def test_a_new_stage_needs_no_drawing_of_its_own(stage: type[Stage]) -> None:
    with own_stages.known(stage):
        chain = SignalChain(stage=stage.key)
        assert faults_of_connection(schematic_svg(chain), network_of(chain)) == []
        assert faults_of_layout(lettered(LinearChain.of(chain.values), live=True)) == []
        assert (places_and_wires(assemble(chain.values).where("board")) is not None) == (stage is own_stages.Halves)


HANGING = (Part("C_out", "capacitor", "capacitor", ("source", "jack"), 1e-6), resistor("R_bleed", "jack", GROUND))


@pytest.mark.parametrize(
    "parts",
    [
        (resistor("R_G", "pickup", GROUND), resistor("R_S", "other", GROUND), resistor("R_D", "supply", "other")),
        (resistor("R_G", "pickup", "tap"), resistor("R_S", "source", GROUND), resistor("R_2", "tap", GROUND)),
        (resistor("R_G", "supply", "pickup"), resistor("R_S", "source", GROUND)),
        (resistor("R_G", "pickup", GROUND), resistor("R_S1", "source", "tap"), resistor("R_S2", "tap", "pickup")),
    ],
)
def test_known_names_joined_otherwise_are_hung_between_lanes(parts: tuple[Part, ...]) -> None:
    q = Part("Q1", "transistor", "jfet", ("supply", "pickup", "source"), model(SignalChain().values))
    with own_stages.known(stage_of(q, *parts, *HANGING)):
        chain = SignalChain(stage="made")
        assert faults_of_connection(schematic_svg(chain, live=False), network_of(chain)) == []


@st.composite
def any_parts(draw: st.DrawFn) -> tuple[Part, ...]:
    """Up to nine parts, three of them transistors, between nodes that they bring along or meet."""
    inner = ["pickup", "jack", "supply", "a", "b", "c"]
    jfet = model(SignalChain().values)
    parts = [resistor("R_in_out", "pickup", "jack"), resistor("R_load", "supply", GROUND)]
    for n in range(draw(st.integers(0, 3))):
        drain, gate, source = (draw(st.sampled_from(inner)), draw(st.sampled_from(inner)), draw(st.sampled_from(inner)))
        parts.append(Part(f"Q{n}", "transistor", "jfet", (drain, gate, draw(st.sampled_from([source, GROUND]))), jfet))
    for n in range(draw(st.integers(0, 4))):
        ends = draw(st.lists(st.sampled_from([*inner, GROUND]), min_size=2, max_size=2, unique=True))
        parts.append(resistor(f"R_{n}", *ends))
    return tuple(draw(st.permutations(parts)))


@given(any_parts())
def test_whatever_parts_a_stage_has_are_drawn_as_they_are_joined(parts: tuple[Part, ...]) -> None:
    with own_stages.known(stage_of(*parts)):
        chain = SignalChain(stage="made")
        assert faults_of_connection(schematic_svg(chain, live=False), network_of(chain)) == []


def test_a_stage_without_a_way_out_is_refused() -> None:
    with own_stages.known(stage_of(resistor("R_G", "pickup", GROUND), resistor("R_load", "supply", GROUND))):
        with pytest.raises(ValueError, match="stage 'made': nothing in its schematic is at node 'jack'"):
            schematic_svg(SignalChain(stage="made"), live=False)


def test_checkers_see_faults() -> None:
    chain = SignalChain()
    nodes = network_of(chain)
    assert faults_of_connection(schematic_svg(chain), {**nodes, "R_S": ("source", "drain")}) != []
    assert faults_of_connection(schematic_svg(chain), {**nodes, "C_out": ("pickup", "jack")}) != []
    drawing = lettered(LinearChain.of(chain.values), live=True)
    drawing.wire((0, 1), (30, 1))
    assert any("through" in fault for fault in faults_of_layout(drawing))


def test_drawing_library_needs_no_plot_library_but_would_load_one() -> None:
    """Once the second half fails, the detour in `symbols` can go."""
    code = "import sys; {}; print('matplotlib' in sys.modules)"
    ours = (
        "from piezolab.chain import SignalChain; from piezolab.sheets.schematic import schematic_svg; "
        "schematic_svg(SignalChain())"
    )

    def loaded(what: str) -> bool:
        run = subprocess.run([sys.executable, "-c", code.format(what)], capture_output=True, text=True, check=True)
        return run.stdout.strip() == "True"

    assert not loaded(ours)
    assert loaded("import schemdraw")


@pytest.mark.browser
def test_lettering_in_a_browser_keeps_clear(browser) -> None:
    page = browser.new_page()
    try:
        for link in OPTIONS:
            page.set_content(f"<meta charset=utf-8><style>{embedded()}</style>{schematic_svg(from_link(link))}")
            page.evaluate("""Promise.all(["", "bold "].map((w) => document.fonts.load(w + '1em "piezolab text"')))""")
            boxes = page.evaluate(
                """() => [...document.querySelectorAll('svg text')].map(t => {
                    const b = t.getBBox(); return [t.textContent, b.x, b.y, b.x + b.width, b.y + b.height] })"""
            )
            shapes = page.evaluate(
                """() => [...document.querySelectorAll('svg .symbol path, svg .wire')].flatMap(e => {
                    const inv = document.querySelector('svg > g').getCTM().inverse();
                    const n = e.getTotalLength(), out = [];
                    for (let s = 0; s <= n; s += 2) {
                        const p = e.getPointAtLength(s).matrixTransform(e.getCTM()).matrixTransform(inv);
                        out.push([p.x, p.y]) }
                    return out })"""
            )
            for (a, *one), (b, *other) in combinations(boxes, 2):
                assert overlap(_pull(one), _pull(other)) == 0, (link, a, b)
            for words, *box in boxes:
                left, top, right, bottom = _pull(box)
                assert not [1 for x, y in shapes if left < x < right and top < y < bottom], (link, words)
    finally:
        page.close()


def _pull(box: list[float]) -> tuple[float, float, float, float]:
    """Without the room above and below the letters that a font's line has."""
    left, top, right, bottom = box
    return left + 0.5, top + 2.5, right - 0.5, bottom - 2.5
