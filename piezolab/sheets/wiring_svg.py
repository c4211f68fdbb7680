"""How discs, supply, switch, light and jack are wired to the board, and the drilling template at its true size (mm).

Which contact of a disc goes where is read off the chain's own nodes. Wires that leave the board are those of
`board_parts`; what sits in the plus lead, and the light, come from the build.
"""

from __future__ import annotations

from html import escape

from piezolab import catalogue
from piezolab.chain.assembly import GROUND, PICKUP
from piezolab.faces import FAMILY
from piezolab.quantity import letter_code
from piezolab.sheets.arrange import discs
from piezolab.sheets.sheet_data import SheetData
from piezolab.sheets.wiring_canvas import Canvas, Point
from piezolab.sheets.words import fed_by, part_name, wire_name
from piezolab.studies.board.box import box

_FONT = f'font-family="{FAMILY}"'
# bushes of the usual panel parts, mm; common practice, no source
_HOLES = {"jack": 9.5, "switch": 6.2, "socket": 8.0, "lead": 4.0, "LED": 5.0}
_PLUS, _MINUS, _HOT, _MIDDLE, _COLD, _BACK, _SCREEN, _TIP, _RING, _UNDER = 10, 20, 26, 28.3, 51, 31, 36, 34, 42, 55.5
_DISCS_X, _DISC_Y = (14.0, 42.0), 39.0
_LEAD, _BOARD, _JACK = (61.0, 81.0), (88.0, 112.0), 146.0


def wiring_svg(data: SheetData) -> str:
    """Every wire from the discs to the jack, each end on its contact.

    A dot is a joint or a place to solder; where a wire crosses another it hops over.
    """
    canvas = Canvas()
    hot, cold = _discs(canvas, data)
    _lead(canvas, data)
    told = " ".join(wiring_words(data))
    if not data.powered:
        x = 92.0
        _jack(canvas, x, {"tip": _HOT, "sleeve": _BACK}, 42.0)
        canvas.wire("signal", *hot, (x, _HOT))
        canvas.wire("ground", *cold, (x, _BACK))
        left = 0.0 if len(discs(data.assembly)) > 1 else 30.0
        return canvas.svg((left, 20.0, 128.0, 54.0), "Wiring: disc to jack", told)
    left, right = _BOARD
    canvas.rect((left, 5.0, right, 46.0))
    canvas.text((left + right) / 2, 42.0, "board", "middle", bold=True)
    canvas.wire("signal", *hot, _pad(canvas, data, "pickup hot", left, _HOT))
    canvas.wire("ground", *cold, _pad(canvas, data, "pickup screen", left, _BACK))
    lugs = {"sleeve": _HOT, "tip": _TIP} | ({"ring": _RING} if data.build.ring else {})
    _jack(canvas, _JACK, lugs, 49.6 if data.build.ring else 43.0)
    canvas.text(62, 50, "dot: solder; thick: +, broken: ground, thin: signal" + ", dotted: −" * data.build.ring)
    canvas.wire("ground", _pad(canvas, data, "jack sleeve", right, _HOT), (_JACK, _HOT))
    canvas.wire("signal", _pad(canvas, data, "jack tip", right, _TIP), (_JACK, _TIP))
    _supply(canvas, data)
    if data.led is not None:
        _light(canvas, data)
    title = fed_by("Wiring: battery, ", data.adapter) + ("ring contact" if data.build.ring else "switch")
    return canvas.svg((0.0, 0.0, 182.0, 57.5 if data.build.ring else 53.0), f"{title}, disc, board and jack", told)


def wiring_words(data: SheetData) -> tuple[str, ...]:
    """How to read the drawing, and what else must be known of it."""
    said = []
    if data.chain.lead_m and data.build.lead == "two":
        said.append("The second core is the way back; the screen is joined at one end only.")
    if data.powered and data.build.ring:
        said.append(
            fed_by("Only a plug of two contacts joins battery − to ground. ", data.adapter)
            + "A balanced plug (three contacts) leaves the stage dead: for such cables take a switch, or a jack whose "
            "own, isolated switch closes with the plug."
        )
    return tuple(said)


def _discs(canvas: Canvas, data: SheetData) -> list[tuple[Point, ...]]:
    """The discs; the way of the hot and of the cold wire from the first disc through the lead, which others join."""
    found = discs(data.assembly)
    ends: dict[str, list[Point]] = {}
    for x, (name, nodes) in zip(_DISCS_X[-len(found) :], found, strict=True):
        canvas.circle(x, _DISC_Y, 9.0)
        canvas.circle(x, _DISC_Y, 5.8, 'stroke-width="0.35" stroke-dasharray="0.8 0.5"')
        places = {"ceramic": (x, _DISC_Y), "brass": (x + 7.4, _DISC_Y)}
        for node, (contact, place) in zip(nodes, places.items(), strict=True):
            ends.setdefault(node, []).append(canvas.terminal(name, contact, *place))
        up = nodes[0] != GROUND
        canvas.text(x, _DISC_Y + (3.2 if up else -1.6), "ceramic", "middle")
        canvas.text(x + 9.6, _DISC_Y + 0.8, "brass")
        canvas.text(x - 10.0, 49.2, name.replace("disc", "disc "), bold=True)
    ways = []
    for node, kind, level in ((PICKUP, "signal", _HOT), (GROUND, "ground", _COLD)):
        first, *others = ends.pop(node)
        turn = () if node == PICKUP else ((58.6, float(level)), (58.6, float(_BACK)))
        ways.append((first, (first[0], float(level)), *turn))
        for x, y in others:
            canvas.wire(kind, (x, y), canvas.joint(x, level))
    for first, second in ends.values():
        canvas.wire("signal", first, (first[0], _MIDDLE), (second[0], _MIDDLE), second)
    return ways


def _lead(canvas: Canvas, data: SheetData) -> None:
    """The screened lead round the two wires; of one with two cores the screen, joined at its right end only."""
    (left, right), two = _LEAD, data.build.lead == "two"
    metres = data.chain.lead_m
    if metres:
        canvas.rect((left, 22.6, right, 38.0 if two else 33.0), 'stroke-width="0.3"')
        middle = (left + right) / 2
        names = ("core 1", "core 2", "screen") if two else ("core", "screen")
        for words, y in zip(names, (_HOT, _BACK, _SCREEN), strict=False):
            canvas.text(middle, y - 0.8, words, "middle")
        canvas.text(left, 41.0 if two else 36.0, f"screened lead, {metres:g} m")
        if two:
            cut = canvas.terminal("lead", "screen", left + 2.0, _SCREEN, free=True)
            canvas.wire("ground", cut, (right + 3.0, _SCREEN), canvas.joint(right + 3.0, _BACK))
            canvas.text(left, 43.8, "screen cut back here")
    else:
        canvas.text(left, 36.0, "wires, twisted")


def _pad(canvas: Canvas, data: SheetData, wire: str, x: float, y: float) -> Point:
    """A place on the board's edge for one of its wires."""
    at_left = x == _BOARD[0]
    words = wire_name(wire, data.adapter)
    canvas.text(x + 1.8 if at_left else x - 1.8, y + 0.8, words, "start" if at_left else "end")
    return canvas.terminal("board", wire, x, y)


def _jack(canvas: Canvas, x: float, lugs: dict[str, float], foot: float) -> None:
    """The jack from its soldering side, a lug for each contact, and how to tell them."""
    top, low = min(lugs.values()) - 4, max(lugs.values()) + 4
    canvas.rect((x + 6, top, x + 24, low))
    canvas.circle(x + 19, (top + low) / 2, min(4.0, (low - top) / 2 - 1.5))
    for name, y in lugs.items():
        canvas.rect((x - 1, y - 1.2, x + 6, y + 1.2))
        canvas.text(x + 7, y + 0.8, name)
        canvas.terminal("jack", name, x, y)
    canvas.text(x - 8, foot, "jack, from its soldering side", bold=True)
    canvas.text(x - 8, foot + 2.9, "tip: the longest spring" + (", ring: the next" if "ring" in lugs else ""))
    canvas.text(x - 8, foot + 5.8, "sleeve: beeps to the bush")


def _supply(canvas: Canvas, data: SheetData) -> None:
    """Battery or socket, and all that sits in its two leads."""
    ring, minus_x = data.build.ring, 6.0 if data.build.ring else 26.0
    canvas.rect((6, 5, 26, 23.5))
    canvas.text(16, 15.6, fed_by("battery", data.adapter), "middle", bold=True)
    canvas.text(24.2, _PLUS + 0.8, "+", "end")
    canvas.text(*((7.8, _MINUS + 0.8, "−") if ring else (24.2, _MINUS + 0.8, "−", "end")))
    at = canvas.terminal("supply", "+", 26, _PLUS)
    if not ring:
        canvas.rect((34, 6.5, 46, 13.5))
        canvas.path(f"M 36 {_PLUS} L 44 7.6")
        canvas.text(40, 5.4, "S1, switch", "middle")
        canvas.wire("plus", at, canvas.terminal("S1", "1", 34, _PLUS))
        at = canvas.terminal("S1", "2", 46, _PLUS)
    if data.build.guarded:
        _diode(canvas, 59, _PLUS)
        canvas.text(59, 5.4, "D1, band to board", "middle")
        canvas.wire("plus", at, canvas.terminal("D1", "plain", 54, _PLUS))
        at = canvas.terminal("D1", "band", 64, _PLUS)
    canvas.wire("plus", at, _pad(canvas, data, "battery +", _BOARD[0], _PLUS))
    minus = canvas.terminal("supply", "-", minus_x, _MINUS)
    if ring:
        canvas.wire("minus", minus, (2.5, _MINUS), (2.5, _UNDER), (134, _UNDER), (134, _RING), (_JACK, _RING))
        canvas.text(62, _UNDER - 1.8, fed_by("battery −: only a plug joins ring to sleeve", data.adapter))
    else:
        canvas.wire("ground", minus, _pad(canvas, data, "battery -", _BOARD[0], _MINUS))


def _diode(canvas: Canvas, x: float, y: float) -> None:
    """A Schottky diode (IEC 60617), pointing right, with its leads."""
    canvas.path(f"M {x - 5} {y} H {x - 2} M {x - 2} {y - 1.8} V {y + 1.8} L {x + 1.5} {y} Z M {x + 1.5} {y} H {x + 5}")
    canvas.path(f"M {x + 2.2} {y - 1.4} V {y - 1.9} H {x + 1.5} V {y + 1.9} H {x + 0.8} V {y + 1.4}")


def _light(canvas: Canvas, data: SheetData) -> None:
    """The LED and its resistor, from the plus lead behind switch and diode to the wire of the sleeve."""
    resistor, light = data.led.parts
    x = 126.0
    canvas.wire("plus", canvas.joint(72, _PLUS), (72, 2.5), (x, 2.5), canvas.terminal("R_led", "1", x, 4.5))
    canvas.rect((x - 1.2, 5.6, x + 1.2, 10.6))
    canvas.path(f"M {x} 4.5 V 5.6 M {x} 10.6 V 11.6")
    canvas.wire("plus", canvas.terminal("R_led", "2", x, 11.6), canvas.terminal("LED", "long leg", x, 14.5))
    canvas.path(f"M {x} 14.5 V 16 M {x - 1.8} 16 H {x + 1.8} L {x} 19.2 Z M {x - 1.8} 19.2 H {x + 1.8} M {x} 19.2 V 21")
    canvas.path(f"M {x - 2.4} 17.6 l -2 1.4 m 0.2 -0.9 l -0.2 0.9 l 0.9 -0.1")
    canvas.wire("ground", canvas.terminal("LED", "short leg", x, 21), canvas.joint(x, _HOT))
    canvas.text(x + 2.6, 8.9, f"{part_name(resistor.name)} {letter_code(resistor.value, 'ohm')}")
    canvas.text(x + 2.6, 15.3, f"{light.label}: long leg")
    canvas.text(x + 2.6, 21.8, "short leg, flat side")


def template_svg(data: SheetData) -> str:
    """Holes for jack, switch, the adapter's socket and lead, 1:1, with their centres."""
    names = ["jack"]
    if data.powered:
        names += ["switch"] if not data.build.ring else []
        names += ["socket"] if data.adapter else []
        names += ["LED"] if data.led else []
    names.append("lead")
    each = min(28.0, 180.0 / len(names))  # mm
    width = each * len(names)
    lines = [
        f'<rect x="0.2" y="0.2" width="{width - 0.4:g}" height="23.6" fill="none" stroke="currentColor" '
        'stroke-width="0.2" stroke-dasharray="2 1"/>'
    ]
    for n, name in enumerate(names):
        x, y, d = each * (n + 0.5), 10.0, _HOLES[name]
        lines.append(
            f'<circle class="hole" data-name="{name}" cx="{x:g}" cy="{y}" r="{d / 2:g}" fill="none" '
            'stroke="currentColor" stroke-width="0.25"/>'
            f'<path d="M {x - 7:g} {y} H {x + 7:g} M {x:g} {y - 7} V {y + 7}" stroke="currentColor" '
            'stroke-width="0.15" fill="none"/>'
        )
        lines.append(_label(x, 21.5, f"{name}: {d:g} mm"))
    return _svg(width, 24, "Drilling template, true size", lines)


def box_inside(data: SheetData) -> tuple[float, float, float] | None:
    """Least inside of a box in mm for all that goes into it: length, width, depth; None with no board."""
    if data.layout is None:
        return None
    panel = ["jack", *(["switch"] if not data.build.ring else []), *(["socket"] if data.adapter else [])]
    found = box(
        (data.layout.width, data.layout.height),
        data.layout.method.key,
        None if data.adapter else catalogue.batteries()[data.chain.supply],
        tuple(panel),
    )
    return found.length, found.width, found.depth


def _svg(width: float, height: float, title: str, lines: list[str]) -> str:
    return (
        f'<svg class="template" xmlns="http://www.w3.org/2000/svg" role="img" width="{width:g}mm" '
        f'height="{height:g}mm" viewBox="0 0 {width:g} {height:g}" {_FONT} font-size="2.5">'
        f"<title>{escape(title)}</title>{''.join(lines)}</svg>"
    )


def _label(x: float, y: float, words: str) -> str:
    return f'<text x="{x}" y="{y}" text-anchor="middle" fill="currentColor">{escape(words)}</text>'
