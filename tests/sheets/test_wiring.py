"""The wiring drawing, read back by an eye of its own: every wire followed along its path, its ends laid on contacts.

Nothing of the drawing's own code is used. What must come out is said here anew, from the chain's parts and the build.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from itertools import product
from xml.etree import ElementTree

import pytest

from piezolab.chain.link import from_link
from piezolab.sheets.sheet_data import SheetData
from piezolab.sheets.wiring_svg import wiring_svg, wiring_words
from piezolab.studies.board.board_parts import board_parts
from piezolab.studies.board_as_built import BoardAsBuilt

Point = tuple[float, float]
Contact = tuple[str, str]
NEAR = 1e-6


# -- the reader --------------------------------------------------------------------------------------------------------
def corners(path: str) -> list[Point]:
    """Points of a path of M, L, V, H and A (a hop, whose end lies on the line that it interrupts)."""
    found: list[Point] = []
    for letter, rest in re.findall(r"([A-Za-z])([^A-Za-z]*)", path):
        numbers = [float(number) for number in rest.replace(",", " ").split()]
        match letter:
            case "M" | "L":
                found.append((numbers[0], numbers[1]))
            case "V":
                found.append((found[-1][0], numbers[0]))
            case "H":
                found.append((numbers[0], found[-1][1]))
            case "A":
                found.append((numbers[5], numbers[6]))
            case _:
                raise AssertionError(f"the reader knows no {letter!r}")
    return found


def touches(point: Point, a: Point, b: Point) -> bool:
    (x, y), (ax, ay), (bx, by) = point, a, b
    off = abs((bx - ax) * (y - ay) - (by - ay) * (x - ax))
    inside = min(ax, bx) - NEAR <= x <= max(ax, bx) + NEAR and min(ay, by) - NEAR <= y <= max(ay, by) + NEAR
    return off < NEAR and inside


def connections(svg: str, board: Iterable[tuple[str, str]] = ()) -> set[frozenset[Contact]]:
    """Sets of contacts that the drawn wires join; a contact by itself is a set of its own.

    board: name and lane of each wire that leaves it: those of one lane are joined by copper.
    """
    drawing = ElementTree.fromstring(svg)

    def of(kind: str) -> Iterator[ElementTree.Element]:
        return (each for each in drawing.iter() if each.get("class") == kind)

    def middle(each: ElementTree.Element) -> Point:
        return float(each.get("cx")), float(each.get("cy"))

    contacts = {middle(each): (each.get("data-item"), each.get("data-contact")) for each in of("terminal")}
    dots = [*contacts, *(middle(each) for each in of("joint"))]
    wires = [corners(each.get("d")) for each in of("wire")]
    group = {n: {n} for n in range(len(wires) + len(dots))}
    for d, dot in enumerate(dots, len(wires)):
        for w, wire in enumerate(wires):
            pieces = zip(wire, wire[1:], strict=False)
            on = any(touches(dot, a, b) for a, b in pieces) if dot not in contacts else dot in (wire[0], wire[-1])
            if on and group[d] is not group[w]:
                merged = group[d] | group[w]
                for member in merged:
                    group[member] = merged
    lanes = dict(board)
    for (d, dot), (e, other) in product(enumerate(dots, len(wires)), repeat=2):
        (item, name), (item2, name2) = contacts.get(dot, ("", "")), contacts.get(other, ("", ""))
        if item == item2 == "board" and lanes[name] == lanes[name2] and group[d] is not group[e]:
            merged = group[d] | group[e]
            for member in merged:
                group[member] = merged
    by_dot = {contacts[dot]: group[d] for d, dot in enumerate(dots, len(wires)) if dot in contacts}
    assert len(by_dot) == len(contacts), "two contacts of one name"
    return {frozenset(c for c, members in by_dot.items() if members is mine) for mine in by_dot.values()}


# -- what must come out ------------------------------------------------------------------------------------------------
def wanted(data: SheetData) -> set[frozenset[Contact]]:
    """From the chain's parts and the build: contacts by their node."""
    nodes: dict[Contact, str] = {}
    assembly, build = data.assembly, data.build
    for part in assembly.parts:
        if part.name.startswith("R_p") and part.where == "pickup":
            mark = part.name.removeprefix("R_p")
            sides = ("ceramic", "brass") if assembly.drive[f"E_p{mark}"] > 0 else ("brass", "ceramic")
            nodes |= {(f"disc{mark}", side): node for side, node in zip(sides, part.nodes, strict=True)}
    nodes |= {("jack", "tip"): assembly.jack, ("jack", "sleeve"): "ground"}
    if data.chain.lead_m and build.lead == "two":
        nodes["lead", "screen"] = "ground"
    if data.powered:
        plus = next(part.nodes[0] for part in assembly.parts if part.name == "B1")
        nodes |= {
            ("board", "pickup hot"): "pickup", ("board", "pickup screen"): "ground", ("board", "jack tip"): "jack",
            ("board", "jack sleeve"): "ground", ("board", "battery +"): plus,
        }  # fmt: skip
        nodes["supply", "-"] = "through the plug" if build.switch == "ring" else "ground"
        if build.switch == "ring":
            nodes["jack", "ring"] = "through the plug"
        else:
            nodes["board", "battery -"] = "ground"
        inline = [] if build.switch == "ring" else [(("S1", "1"), ("S1", "2"))]
        inline += [] if build.diode == "none" else [(("D1", "plain"), ("D1", "band"))]
        before = ("supply", "+")
        for number, (way_in, way_out) in enumerate(inline):
            nodes[before] = nodes[way_in] = f"plus {number}"
            before = way_out
        nodes[before] = plus
        if build.led != "none":
            nodes |= {("R_led", "1"): plus, ("R_led", "2"): "led", ("LED", "long leg"): "led"}
            nodes["LED", "short leg"] = "ground"
    return {frozenset(c for c, node in nodes.items() if node == each) for each in nodes.values()}


def read(data: SheetData, svg: str | None = None) -> set[frozenset[Contact]]:
    """What a sheet's drawing, or one made of it, connects."""
    _, wires = board_parts(data.assembly, ring=data.build.ring)
    return connections(wiring_svg(data) if svg is None else svg, [(wire.name, wire.lane) for wire in wires])


def sheet(discs: str, supply: str, powered: bool = True, **build: str) -> SheetData:
    link = f"discs={discs}&supply={supply}" + ("" if powered else "&stage=direct")
    return SheetData(from_link(link + "&lead_m=0.3"), BoardAsBuilt(**build))


DISCS, SUPPLIES = ("1", "2p", "2px", "2s", "2sx"), ("alkaline-9v", "adapter")


@pytest.mark.parametrize("discs", DISCS)
def test_the_drawn_wires_are_the_chains_and_the_builds(discs: str) -> None:
    for supply, switch, lead in product(SUPPLIES, ("toggle", "ring"), ("one", "two")):
        for led, diode in (("none", "1N5817"), ("red", "1N5817"), ("blue", "none"), ("none", "none")):
            data = sheet(discs, supply, switch=switch, lead=lead, led=led, diode=diode)
            assert read(data) == wanted(data), (supply, switch, lead, led, diode)
    for lead in ("one", "two"):
        data = sheet(discs, "alkaline-9v", False, lead=lead)
        assert read(data) == wanted(data)


def test_a_series_resistor_and_no_lead_change_no_wire() -> None:
    for link in ("supply_r=1k&stage=gain", "lead_m=0", "lead_m=0&discs=2sx&stage=direct"):
        data = SheetData(from_link(link), BoardAsBuilt(led="green"))
        assert read(data) == wanted(data)


def swapped(svg: str, item: str, one: str, other: str) -> str:
    """The drawing with the names of two contacts exchanged: the wires then go to the wrong ones."""
    first, second = (f'data-item="{item}" data-contact="{name}"' for name in (one, other))
    assert first in svg and second in svg
    return svg.replace(first, "@").replace(second, first).replace("@", second)


@pytest.mark.parametrize(
    ("discs", "build", "item", "one", "other"),
    [
        ("1", {"switch": "ring"}, "jack", "ring", "tip"),
        ("1", {"switch": "ring"}, "jack", "ring", "sleeve"),
        ("1", {}, "jack", "tip", "sleeve"),
        ("1", {}, "supply", "+", "-"),
        ("1", {}, "D1", "plain", "band"),
        ("1", {"led": "red"}, "LED", "long leg", "short leg"),
        ("1", {}, "board", "pickup hot", "pickup screen"),
        ("1", {}, "board", "battery +", "battery -"),
        *((discs, {}, "disc1", "ceramic", "brass") for discs in DISCS[1:]),
        *((discs, {}, "disc2", "ceramic", "brass") for discs in DISCS[1:]),
    ],
)
def test_the_reader_rejects_contacts_exchanged(discs: str, build: dict, item: str, one: str, other: str) -> None:
    data = sheet(discs, "alkaline-9v", **build)
    assert read(data, swapped(wiring_svg(data), item, one, other)) != wanted(data)


def test_the_reader_rejects_a_wire_lost_cut_short_joined_or_bent() -> None:
    data = sheet("2p", "alkaline-9v", led="red", lead="two")
    svg = wiring_svg(data)
    for path in re.findall(r'<path class="wire".*?/>', svg):
        assert read(data, svg.replace(path, "")) != wanted(data)
        x, y = corners(re.search(r' d="([^"]+)"', path)[1])[-1]
        short = path.replace(f'L {x:g} {y:g}"', f'L {x - 0.5:g} {y - 0.5:g}"')
        assert short != path and read(data, svg.replace(path, short)) != wanted(data)
    assert read(data, svg.replace('class="joint"', 'class="dot"', 1)) != wanted(data)
    more = '<path class="wire" d="M 146 26 L 146 34"/>'  # sleeve to tip
    assert read(data, svg.replace("</svg>", f"{more}</svg>")) != wanted(data)


def test_wires_cross_only_with_a_hop() -> None:
    """Where two wires cross without a joint, the upright one makes an arc; the shipped drawings need none but could."""
    for discs, switch, led in product(DISCS, ("toggle", "ring"), ("none", "red")):
        drawing = ElementTree.fromstring(wiring_svg(sheet(discs, "alkaline-9v", switch=switch, led=led)))
        wires = [corners(each.get("d")) for each in drawing.iter() if each.get("class") == "wire"]
        hops = sum(each.get("d").count("A") for each in drawing.iter() if each.get("class") == "wire")
        pieces = [(n, *piece) for n, way in enumerate(wires) for piece in zip(way, way[1:], strict=False)]
        crossings = sum(
            a[0] == b[0] and c[1] == d[1] and min(c[0], d[0]) < a[0] < max(c[0], d[0])
            and min(a[1], b[1]) < c[1] < max(a[1], b[1])
            for n, a, b in pieces for m, c, d in pieces if n != m
        )  # fmt: skip
        assert crossings == hops


def test_lines_differ_by_style_and_the_words_say_how() -> None:
    ring = sheet("1", "alkaline-9v", switch="ring")
    wire = r'data-kind="(\w+)" d="[^"]+" fill="none" stroke="currentColor" ([^>]+?)/>'
    styles = dict(re.findall(wire, wiring_svg(ring)))
    assert set(styles) == {"plus", "minus", "ground", "signal"} and len(set(styles.values())) == 4
    words = " ".join(wiring_words(ring))
    assert "leaves the stage dead" in words and "isolated switch" in words
    assert "dotted" in wiring_svg(ring) and "dotted" not in wiring_svg(sheet("1", "alkaline-9v"))
