"""The schematic of a chain: SVG with IEC 60617 symbols and, if wanted, the voltages at rest; and the same in words.

Lines and letters take the colour of the text around them, so the drawing suits a light and a dark page alike.
"""

from __future__ import annotations

from dataclasses import replace
from html import escape

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.assembly import Assembly
from piezolab.chain.parts import GROUND, Part
from piezolab.faces import FAMILY
from piezolab.quantity import letter_code, show
from piezolab.sheets.arrange import arrange, discs
from piezolab.sheets.drawing import Drawing, Text, around
from piezolab.sheets.lettering import SIZE, SMALL, Letterer, along, beside
from piezolab.sheets.symbols import LINE, UNIT, symbol_svg
from piezolab.studies.linear import LinearChain

_MARGIN = 0.35  # grid units
_GAPS = {"jfet": 0.15, "battery": 0.42, "disc": 0.46, "led": 1.0, "pair": 0.42, "diode": 0.44}
_END = 0.09  # radius of an open terminal, grid units


def schematic_svg(chain: SignalChain, *, live: bool = True, light: tuple[Part, ...] = ()) -> str:
    """The whole chain as one SVG element. live: with node voltages and currents at rest; light: resistor and LED of a
    build that has them, beside the battery.

    Raises ValueError where no drawing can show a stage's parts.
    """
    linear = LinearChain.of(chain.values)
    drawing = lettered(linear, live=live, light=light)
    points = [point for symbol in drawing.symbols for point in (symbol.box[:2], symbol.box[2:])]
    points += [point for wire in drawing.wires for point in wire]
    points += [corner for text in drawing.texts for corner in (text.box[:2], text.box[2:])]
    left, low, right, high = around(points)
    left, low, right, high = left - _MARGIN, low - _MARGIN, right + _MARGIN, high + _MARGIN
    wide, tall = (right - left) * UNIT, (high - low) * UNIT
    body = [symbol_svg(symbol) for symbol in drawing.symbols]
    body += [f'<polyline class="wire" points="{_points(wire)}"/>' for wire in _cut(drawing)]
    body += [_circle("joint", point, 3.0) for point in drawing.joints]
    body += [_circle("end", point, _END * UNIT) for point in drawing.ends]
    body += [_text(text) for text in drawing.texts]
    return (
        f'<svg class="schematic" xmlns="http://www.w3.org/2000/svg" role="img" width="{wide:.0f}" height="{tall:.0f}" '
        f'viewBox="{left * UNIT:.1f} {-high * UNIT:.1f} {wide:.1f} {tall:.1f}" '
        f'font-family="{FAMILY}" font-size="{SIZE}">'
        f"<title>{escape(_title(chain))}</title><desc>{escape(schematic_text(chain, live=live, light=light))}</desc>"
        f'<g fill="none" stroke="currentColor" stroke-width="{LINE}" stroke-linecap="round">{"".join(body)}</g></svg>'
    )


def schematic_text(chain: SignalChain, *, live: bool = True, light: tuple[Part, ...] = ()) -> str:
    """The schematic in sentences: what joins which nodes, and the voltages at rest."""
    linear = LinearChain.of(chain.values)
    assembly = linear.assembly
    sentences = [_title(chain) + "."]
    for name, (ceramic, brass) in discs(assembly):
        sentences.append(
            f"{_disc_name(name)}, {_code(assembly.values.pickup_c, 'F')}: "
            f"ceramic side to {_node(ceramic)}, brass to {_node(brass)}."
        )
    for part in (*assembly.parts, *light):
        if part.where == "pickup":
            continue
        if part.kind == "jfet":
            drain, gate, source = (_node(node) for node in part.nodes)
            sentences.append(
                f"{part.name}, {part.label} {assembly.type_of(part).type_number}: drain to {drain}, gate to {gate}, "
                f"source to {source}."
            )
        else:
            ends = " to ".join(_node(node) for node in part.nodes)
            what = catalogue.clamps()[chain.clamp_part].type_number if part.kind == "clamp" else _amount(part)
            sentences.append(f"{part.name}, {part.label} {what}: {ends}.")
    if live:
        told = [f"{_node(node)} {show(volt, 'V')}" for node, volt in _voltages(linear).items()]
        if told:
            sentences.append(f"Voltages to ground at rest: {', '.join(told)}.")
        if linear.transistor is not None:
            sentences.append(f"Drain current {show(float(linear.transistor.i_d), 'A')}.")
    return " ".join(sentences)


def lettered(linear: LinearChain, *, live: bool, light: tuple[Part, ...] = ()) -> Drawing:
    """The chain's drawing with its texts placed."""
    assembly = replace(linear.assembly, parts=(*linear.assembly.parts, *light))
    drawing = arrange(assembly)
    letterer = Letterer(drawing)
    parts = {part.name: part for part in assembly.parts}
    for symbol in drawing.symbols:
        lines = _lines(assembly, parts.get(symbol.name), symbol.name)
        if symbol.kind == "jfet" and live:
            lines.append((show(float(linear.point.jfets[symbol.name].i_d), "A"), "live"))
        gap = _GAPS.get(symbol.kind, 0.34)
        spots = beside(symbol.terminals, gap)
        if not letterer.place(lines, spots):
            letterer.place([(" ".join(words for words, _ in lines), "part")], spots)
    if live:
        _letter_voltages(linear, assembly, drawing, letterer)
    return drawing


def _letter_voltages(linear: LinearChain, assembly: Assembly, drawing: Drawing, letterer: Letterer) -> None:
    voltages = _voltages(linear)
    nodes = {part.name: part.nodes for part in assembly.parts}
    nodes |= dict(discs(assembly))
    for net in drawing.nets():
        owners = {
            node
            for symbol in drawing.symbols
            for node, point in zip(nodes[symbol.name], symbol.terminals, strict=True)
            if point in net
        }
        for node in owners & voltages.keys():
            pieces = [(a, b) for a, b in drawing.segments() if a in net]
            letterer.place([(show(voltages[node], "V"), "live")], along(pieces))


def _voltages(linear: LinearChain) -> dict[str, float]:
    """Voltage of each node that shows in the drawing; none where nothing is powered."""
    assembly = linear.assembly
    if not assembly.stage.powered:
        return {}
    shown = {node for part in assembly.parts if part.where != "pickup" for node in part.nodes} - {GROUND}
    # a tenth of a millivolt is less than any meter of a workshop shows
    return {
        node: float(np.round(linear.point.voltage(node), 4)) + 0.0 for node in linear.point.voltages if node in shown
    }


def _lines(assembly: Assembly, part: Part | None, name: str) -> list[tuple[str, str]]:
    """Name and value of a symbol, a line each."""
    values = assembly.values
    if part is None:
        turned = [("reversed", "value")] if _turned(assembly, name) else []
        return [(_disc_name(name), "part"), (_code(values.pickup_c, "F"), "value"), *turned]
    if part.kind == "jfet":
        return [(name, "part"), (assembly.type_of(part).type_number, "value")]
    if part.kind == "clamp":
        return [(name, "part"), (catalogue.clamps()[values.clamp_part].type_number, "value")]
    feed = "adapter" if values.supply == "adapter" else name
    words = {"C_lead": "lead", "C_cable": "cable", "C_in": "input", "R_in": "input", "B1": feed}.get(name, name)
    return [(words, "part"), (_amount(part), "value")]


def _amount(part: Part) -> str:
    return f"{part.value:g} V" if part.kind in ("battery", "led") else _code(part.value, part.unit)


def _code(value: float, unit: str) -> str:
    return letter_code(float(f"{float(value):.4g}"), unit)


def _turned(assembly: Assembly, name: str) -> bool:
    return bool(assembly.drive["E_p" + name.removeprefix("disc")] < 0)


def _disc_name(name: str) -> str:
    return "disc " + name.removeprefix("disc") if name != "disc" else "disc"


def _node(node: str) -> str:
    return {
        "pickup": "the pickup's hot side", "supply": "the supply lane", "battery": "the supply's plus",
        "jack": "the jack",
    }.get(node, node)  # fmt: skip


def _title(chain: SignalChain) -> str:
    stage = chain.topology
    return f"Schematic: piezo pickup, {stage.title}, cable and input"


def _points(wire: tuple[tuple[float, float], ...]) -> str:
    return " ".join(f"{x * UNIT:g},{-y * UNIT:g}" for x, y in wire)


def _circle(role: str, point: tuple[float, float], radius: float) -> str:
    fill = ' fill="currentColor"' if role == "joint" else ""
    return f'<circle class="{role}" cx="{point[0] * UNIT:g}" cy="{-point[1] * UNIT:g}" r="{radius:g}"{fill}/>'


def _cut(drawing: Drawing) -> list[tuple[tuple[float, float], ...]]:
    """The wires, with a gap where an open terminal's circle sits on one."""
    found = []
    for wire in drawing.wires:
        piece = [wire[0]]
        for a, b in zip(wire, wire[1:], strict=False):
            for x, y in drawing.ends:
                if a[1] == b[1] == y and a[0] < x < b[0]:
                    found.append((*piece, (x - _END, y)))
                    piece = [(x + _END, y)]
            piece.append(b)
        found.append(tuple(piece))
    return found


def _text(text: Text) -> str:
    base, _, sub = text.words.partition("_")
    inside = escape(base)
    if sub:
        inside += f'<tspan dy="{0.18 * SIZE:g}" font-size="{SMALL * SIZE:g}">{escape(sub)}</tspan>'
    x, y = text.box[0] * UNIT, -(text.box[1] + 0.25 * (text.box[3] - text.box[1])) * UNIT
    style = {"live": ' font-style="italic"', "part": ' font-weight="bold"'}.get(text.role, "")
    return f'<text class="{text.role}" x="{x:.1f}" y="{y:.1f}" fill="currentColor" stroke="none"{style}>{inside}</text>'
