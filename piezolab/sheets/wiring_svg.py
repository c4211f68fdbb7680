"""How battery, switch and jack are wired to the board, and the drilling template at its true size (mm)."""

from __future__ import annotations

from html import escape

from piezolab import catalogue
from piezolab.faces import FAMILY
from piezolab.sheets.sheet_data import SheetData
from piezolab.sheets.words import fed_by, wire_name
from piezolab.studies.board.box import box

_FONT = f'font-family="{FAMILY}"'
# bushes of the usual panel parts, mm; common practice, no source
_HOLES = {"jack": 9.5, "switch": 6.2, "socket": 8.0, "lead": 4.0}
Way = tuple[tuple[float, float], ...]
_HOP = 1.2  # mm, radius of a hop



def wiring_svg(data: SheetData) -> str:
    """Battery, switch or ring contact, diode, board and jack, with every wire named.

    A dot is a joint; where a wire crosses another it hops over.
    """
    ring = data.build.ring
    if not data.powered:
        lines = [_box(4, 12, 20, 12, "disc"), _box(70, 12, 24, 12, "jack")]
        lines += _wires([((24, 15), (70, 15)), ((24, 21), (70, 21))])
        lines += [_label(47, 14, "core: ceramic side to tip"), _label(47, 24.5, "screen: brass side to sleeve")]
        return _svg(98, 32, "Wiring: disc to jack", lines, 0.9)
    lines = [_box(4, 6, 18, 24, fed_by("battery", data.adapter))]
    terminals = ((11, "+"),) if ring else ((11, "+"), (27, "-"))
    lines += [_box(56, 4, 20, 44, ""), _box(100, 10, 22, 32, "jack")]
    lines += [_label(20, 11, "+", "end"), _label(20, 27, "−", "end"), *_inserted(data)]
    lines += [_label(57, y, wire_name(f"battery {sign}", data.adapter), "start") for y, sign in terminals]
    lines += [_label(57, 36, "pickup", "start"), _label(57, 43, "screen", "start")]
    lines += [_bold(66, 22.5, "board"), _label(75, 17, "tip", "end"), _label(75, 33, "sleeve", "end")]
    lines += [_label(101, 17, "tip", "start"), _label(101, 33, "sleeve", "start"), _box(4, 34, 18, 12, "disc")]
    lines += [_label(28, 34, "core: ceramic side", "start"), _label(28, 45, "screen: brass side", "start")]
    wires = _plus_lead(data)
    wires += [((76, 16), (100, 16)), ((76, 32), (100, 32)), ((22, 35), (56, 35)), ((22, 42), (56, 42))]
    if ring:
        wires.append(((22, 26), (25, 26), (25, 51), (92, 51), (92, 24), (100, 24)))
        told = fed_by("battery −: only a plug joins ring to sleeve", data.adapter)
        lines += [_label(101, 25, "ring", "start"), _label(58, 53.5, told)]
    else:
        wires.append(((22, 26), (56, 26)))
    title = fed_by("Wiring: battery, ", data.adapter) + ("ring contact" if ring else "switch") + ", board and jack"
    return _svg(126, 54, title, [*lines, *_wires(wires)], 0.76)


def _inserted(data: SheetData) -> list[str]:
    """What sits in the battery's plus lead."""
    found = [] if data.build.ring else [_box(26, 6.5, 9, 7, "S1")]
    return [*found, _diode(42, 10)] if data.build.guarded else found


def _plus_lead(data: SheetData) -> list[Way]:
    ends = [22.0, *([] if data.build.ring else [26.0, 35.0])]
    ends += [40.0, 44.5] if data.build.guarded else []
    ends.append(56.0)
    return [((a, 10.0), (b, 10.0)) for a, b in zip(ends[::2], ends[1::2], strict=True)]


def template_svg(data: SheetData) -> str:
    """Holes for jack, switch, the adapter's socket and lead, 1:1, with their centres."""
    names = ["jack"]
    if data.powered:
        names += ["switch"] if not data.build.ring else []
        names += ["socket"] if data.adapter else []
    names.append("lead")
    each = min(28.0, 86.0 / len(names))  # mm: beside the wiring there is no more
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
    return _svg(width, 24, "Drilling template, true size", lines, kind="template")


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


def _svg(width: float, height: float, title: str, lines: list[str], size: float = 1.0, kind: str = "wiring") -> str:
    return (
        f'<svg class="{kind}" xmlns="http://www.w3.org/2000/svg" role="img" width="{width * size:g}mm" '
        f'height="{height * size:g}mm" '
        f'viewBox="0 0 {width:g} {height:g}" {_FONT} font-size="2.5"><title>{escape(title)}</title>'
        f"{''.join(lines)}</svg>"
    )


def _box(x: float, y: float, w: float, h: float, words: str) -> str:
    return (
        f'<rect x="{x}" y="{y}" width="{w}" height="{h}" rx="1" fill="none" stroke="currentColor" stroke-width="0.35"/>'
        f'<text x="{x + w / 2}" y="{y + h / 2 + 0.9}" text-anchor="middle" font-weight="bold" fill="currentColor">'
        f"{escape(words)}</text>"
    )


def _wires(ways: list[Way]) -> list[str]:
    """Wires with a dot at each end; an upright one hops over each level one that it crosses."""
    level = [
        (min(a[0], b[0]), max(a[0], b[0]), a[1])
        for way in ways
        for a, b in zip(way, way[1:], strict=False)
        if a[1] == b[1]
    ]
    lines = []
    for way in ways:
        path = f"M {way[0][0]:g} {way[0][1]:g}"
        for (ax, ay), (bx, by) in zip(way, way[1:], strict=False):
            down = 1 if by > ay else -1
            low, high = min(ay, by), max(ay, by)
            crossed = [y for left, right, y in level if ax == bx and left < ax < right and low < y < high]
            for y in sorted(crossed, reverse=down < 0):
                path += f" V {y - down * _HOP:g} A {_HOP:g} {_HOP:g} 0 0 {int(down > 0)} {ax:g} {y + down * _HOP:g}"
            path += f" L {bx:g} {by:g}"
        points = " ".join(f"{x:g},{y:g}" for x, y in way)
        lines.append(
            f'<path class="wire" data-points="{points}" d="{path}" fill="none" stroke="currentColor" '
            'stroke-width="0.5"/>'
        )
        ends = (way[0], way[-1])
        lines += [f'<circle class="joint" cx="{x:g}" cy="{y:g}" r="0.8" fill="currentColor"/>' for x, y in ends]
    return lines


def _label(x: float, y: float, words: str, anchor: str = "middle") -> str:
    return f'<text x="{x}" y="{y}" text-anchor="{anchor}" fill="currentColor">{escape(words)}</text>'


def _bold(x: float, y: float, words: str) -> str:
    return f'<text x="{x}" y="{y}" text-anchor="middle" font-weight="bold" fill="currentColor">{escape(words)}</text>'


def _diode(x: float, y: float) -> str:
    """A Schottky diode (IEC 60617), pointing right."""
    return (
        f'<path d="M {x - 2} {y - 1.8} V {y + 1.8} L {x + 1.5} {y} Z M {x + 1.5} {y} H {x + 2.5}" fill="none" '
        f'stroke="currentColor" stroke-width="0.35"/>'
        f'<path d="M {x + 2.2} {y - 1.4} V {y - 1.9} H {x + 1.5} V {y + 1.9} H {x + 0.8} V {y + 1.4}" fill="none" '
        'stroke="currentColor" stroke-width="0.35"/>'
        f'<text x="{x}" y="{y - 2.6}" text-anchor="middle" fill="currentColor">D1</text>'
    )
