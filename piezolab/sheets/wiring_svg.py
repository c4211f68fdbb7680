"""How battery, switch and jack are wired to the board, and the drilling template at its true size (mm)."""

from __future__ import annotations

from html import escape

from piezolab.faces import FAMILY
from piezolab.sheets.sheet_data import SheetData

_FONT = f'font-family="{FAMILY}"'
# bushes of the usual panel parts, mm; common practice, no source
_HOLES = {"jack": 9.5, "switch": 6.2, "lead": 4.0}
_BATTERY_MM = {"9 V block": (48.5, 26.5, 17.5)}  # 6LR61 of IEC 60086-2, largest; from memory


def wiring_svg(data: SheetData) -> str:
    """Battery, switch or ring contact, diode, board and jack, with every wire named."""
    ring = data.build.ring
    lines: list[str] = []
    if not data.powered:
        lines += [_box(4, 12, 20, 12, "disc"), _box(70, 12, 24, 12, "jack")]
        lines += [_wire((24, 15), (70, 15)), _label(47, 14, "core: ceramic side to tip")]
        lines += [_wire((24, 21), (70, 21)), _label(47, 24.5, "screen: brass side to sleeve")]
        return _svg(98, 32, "Wiring: disc to jack", lines, 0.9)
    lines += [_box(4, 6, 18, 24, "battery"), _box(56, 4, 20, 44, ""), _box(100, 10, 22, 32, "jack")]
    lines += [_label(20, 11, "+", "end"), _label(20, 27, "−", "end")]
    plus = [(22, 10)]
    if not ring:
        lines.append(_box(26, 6.5, 9, 7, "S1"))
        lines.append(_wire((22, 10), (26, 10)))
        plus = [(35, 10)]
    if data.build.guarded:
        lines.append(_diode(42, 10))
        lines.append(_wire(plus[0], (40, 10)))
        plus = [(44.5, 10)]
    lines += [_wire(*plus, (56, 10)), _label(57, 11, "batt +", "start")]
    lines += [_label(57, 36, "pickup", "start"), _label(57, 43, "screen", "start")]
    lines += [_bold(66, 29, "board"), _label(75, 17, "tip", "end"), _label(75, 33, "sleeve", "end")]
    lines += [_wire((76, 16), (100, 16)), _label(101, 17, "tip", "start")]
    lines += [_wire((76, 32), (100, 32)), _label(101, 33, "sleeve", "start")]
    lines += [_box(4, 34, 18, 12, "disc"), _wire((22, 35), (56, 35)), _wire((22, 42), (56, 42))]
    lines += [_label(28, 34, "core: ceramic side", "start"), _label(28, 45, "screen: brass side", "start")]
    if ring:
        lines += [_wire((22, 26), (25, 26), (25, 51), (92, 51), (92, 24), (100, 24)), _label(101, 25, "ring", "start")]
        lines += [_label(58, 53.5, "battery −: only a plug joins ring to sleeve")]
        lines += [_label(57, 25, "batt −: empty", "start")]
    else:
        lines += [_wire((22, 26), (56, 26)), _label(57, 25, "batt −", "start")]
    title = "Wiring: battery, " + ("ring contact" if ring else "switch") + ", board and jack"
    return _svg(126, 54, title, lines, 0.76)


def template_svg(data: SheetData) -> str:
    """Holes for jack, switch and lead, 1:1, with their centres."""
    names = ["jack", "lead"] if not data.powered or data.build.ring else ["jack", "switch", "lead"]
    width = 28 * len(names)
    lines = [
        f'<rect x="0.2" y="0.2" width="{width - 0.4:g}" height="23.6" fill="none" stroke="currentColor" '
        'stroke-width="0.2" stroke-dasharray="2 1"/>'
    ]
    for n, name in enumerate(names):
        x, y, d = 14 + 28 * n, 10.0, _HOLES[name]
        lines.append(
            f'<circle class="hole" data-name="{name}" cx="{x}" cy="{y}" r="{d / 2:g}" fill="none" '
            'stroke="currentColor" stroke-width="0.25"/>'
            f'<path d="M {x - 7} {y} H {x + 7} M {x} {y - 7} V {y + 7}" stroke="currentColor" '
            'stroke-width="0.15" fill="none"/>'
        )
        lines.append(_label(x, 21.5, f"{name}: {d:g} mm"))
    return _svg(width, 24, "Drilling template, true size", lines, kind="template")


def box_inside(data: SheetData) -> tuple[float, float, float] | None:
    """Least inside of a box in mm for board and battery side by side: length, width, depth; None with no board."""
    if data.layout is None:
        return None
    board = sorted((data.layout.width, data.layout.height), reverse=True)
    cell = (0.0, 0.0, 0.0)
    if data.chain.supply != "adapter":
        cell = _BATTERY_MM["9 V block"]
    # 3 mm of air round each, 15 mm for the jack's own depth, 20 mm over the board
    return max(board[0], cell[0]) + 6, board[1] + cell[1] + 9, max(20.0, cell[2] + 6)


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


def _wire(*points: tuple[float, float]) -> str:
    path = " ".join(f"{x},{y}" for x, y in points)
    return f'<polyline points="{path}" fill="none" stroke="currentColor" stroke-width="0.5"/>'


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
