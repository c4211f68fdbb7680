"""A board layout as an SVG at its true size: one unit of its view box is a millimetre."""

from __future__ import annotations

from html import escape
from math import atan2, degrees

from piezolab.faces import FAMILY
from piezolab.sheets.words import fed_by, lane_name, part_name, wire_name
from piezolab.studies.board.layout import Layout
from piezolab.studies.board.packing import Placed
from piezolab.studies.board.shapes import bar, collide, line

_LETTER = 1.9  # mm
_LEFT, _RIGHT, _ABOVE, _BELOW = 23.0, 19.0, 1.0, 4.0  # mm of room beside the board for its lettering


def layout_svg(layout: Layout, adapter: bool = False) -> str:
    """The board from its parts' side, with the names of lanes and wires beside it. adapter: whether one feeds it."""
    body = [
        f'<rect class="board" x="0" y="0" width="{layout.width:.2f}" height="{layout.height:.2f}" rx="1" fill="none" '
        'stroke="currentColor" stroke-width="0.25" stroke-dasharray="1.5 1"/>'
    ]
    for lane in layout.lanes:
        for (ax, ay), (bx, by) in lane.strips:
            body.append(
                f'<line class="lane" data-node="{escape(lane.node)}" {_ends(layout, ax, ay, bx, by)} '
                f'stroke="#d9d9d9" stroke-width="{layout.method.width:g}" stroke-linecap="butt"/>'
            )
    for lane in layout.lanes:
        for (ax, ay), (bx, by) in lane.links:
            body.append(
                f'<line class="link" {_ends(layout, ax, ay, bx, by)} stroke="currentColor" stroke-width="0.6"/>'
            )
    body += [_part(layout, part) for part in layout.parts]
    body += _beside_board(layout, adapter)
    title = f"Layout on {layout.method.title}, {layout.width:.0f} × {layout.height:.0f} mm, seen from the parts' side"
    wide, tall = layout.width + _LEFT + _RIGHT, layout.height + _ABOVE + _BELOW
    return (
        f'<svg class="layout" xmlns="http://www.w3.org/2000/svg" role="img" width="{wide:.2f}mm" height="{tall:.2f}mm" '
        f'viewBox="{-_LEFT:g} {-_ABOVE:g} {wide:.2f} {tall:.2f}" '
        f'font-family="{FAMILY}" font-size="{_LETTER}">'
        f"<title>{escape(title)}</title><desc>{escape(layout_text(layout, adapter))}</desc>{''.join(body)}</svg>"
    )


def layout_text(layout: Layout, adapter: bool = False) -> str:
    """The layout in sentences: what lands on each lane, and where each part lies, in mm from the lower left corner."""
    sentences = [
        f"{lane_name(lane.node, adapter).capitalize()} lane: "
        + ", ".join(f"{fed_by(part_name(name), adapter)}{f' ({label})' if label else ''}" for name, label in lane.leads)
        + "."
        for lane in layout.lanes
    ]
    for part in layout.parts:
        places = " and ".join(f"{x:.1f}, {y:.1f}" for x, y in part.leads)
        sentences.append(f"{fed_by(part_name(part.name), adapter)} at {places} mm.")
    return " ".join(sentences)


def scale_bar_svg() -> str:
    """A bar of exactly 50 mm, with a mark at every centimetre."""
    # the outer marks stand inside the bar's ends, so that the bar is 50 mm from edge to edge
    places = [(x, 1 + min(max(x, 0.125), 49.875)) for x in range(0, 51, 10)]
    marks = "".join(
        f'<line x1="{at}" y1="1" x2="{at}" y2="{4 if x % 50 else 5}" stroke="currentColor" stroke-width="0.25"/>'
        for x, at in places
    )
    return (
        '<svg class="scale" xmlns="http://www.w3.org/2000/svg" role="img" width="80mm" height="6mm" viewBox="0 0 80 6" '
        f'font-family="{FAMILY}" font-size="2.6">'
        "<title>Scale bar, 50 mm: measure it on the paper</title>"
        '<rect class="fifty" x="1" y="1.6" width="50" height="1.4" fill="currentColor"/>'
        f'{marks}<text x="53" y="3.4" fill="currentColor">50 mm: measure it</text></svg>'
    )


def _ends(layout: Layout, ax: float, ay: float, bx: float, by: float) -> str:
    h = layout.height
    return f'x1="{ax:.2f}" y1="{h - ay:.2f}" x2="{bx:.2f}" y2="{h - by:.2f}"'


def _part(layout: Layout, part: Placed) -> str:
    h = layout.height
    inside = [
        f'<line {_ends(layout, *a, *b)} stroke="currentColor" stroke-width="0.5"/>' for a, b in part.wires()
    ]
    x, y = part.centre[0], h - part.centre[1]
    outline = 'fill="#ffffff" stroke="currentColor" stroke-width="0.25"'
    if part.shape == "can":
        inside.append(f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{part.length / 2:.2f}" {outline}/>')
    elif part.shape == "half-round":
        flat = y + part.width / 2
        inside.append(
            f'<path d="M {x - 2.4:.2f} {flat:.2f} A 2.5 2.5 0 0 1 {x - 2.4:.2f} {flat - 2.6:.2f} '
            f"A 2.6 2.6 0 0 1 {x + 2.4:.2f} {flat - 2.6:.2f} A 2.5 2.5 0 0 1 {x + 2.4:.2f} {flat:.2f} Z\" {outline}/>"
        )
    elif part.shape != "wire":
        points = " ".join(f"{px:.2f},{h - py:.2f}" for px, py in part.body())
        inside.append(f'<polygon points="{points}" {outline}/>')
    for (lx, ly), label in zip(part.leads, part.labels, strict=True):
        inside.append(f'<circle class="joint" cx="{lx:.2f}" cy="{h - ly:.2f}" r="0.65" fill="currentColor"/>')
        if label and label != "-":
            at = _beside_lead(layout, part, (lx, ly))
            inside.append(_words(at[0], h - at[1] + 0.65, label, "bold"))
    if part.shape == "wire":
        inside.append(f'<circle cx="{x:.2f}" cy="{y:.2f}" r="1.05" {outline.replace("#ffffff", "none")}/>')
    else:
        inside.append(_words(x, y + 0.65, part_name(part.name), "bold", _slope(part), (x, y)))
    places = " ".join(f"{px:.2f},{h - py:.2f}" for px, py in part.leads)
    return f'<g class="part" data-part="{escape(part.name)}" data-leads="{places}">{"".join(inside)}</g>'


def _beside_lead(layout: Layout, part: Placed, lead: tuple[float, float]) -> tuple[float, float]:
    """Where a lead's letter stands: beside it, away from bodies, other joints and leads if there is such a place."""
    x, y = lead
    own = [(x + dx, y + dy) for dx, dy in ((0, 1.75), (0, -1.75), (1.6, 0), (-1.6, 0), (1.4, 1.4), (-1.4, 1.4))]
    best, fewest = own[0], 99
    for px, py in own:
        box = bar((px - 0.1, py), (px + 0.1, py), 1.5, 1.5)
        names = [bar((cx - 0.1, cy), (cx + 0.1, cy), 4.0, 1.6) for cx, cy in (part.centre,)]
        touched = sum(collide(box, shape) for shape in names)
        for other in layout.parts:
            shapes = [line(a, b, 0.5) for a, b in other.wires()]
            shapes += [line(point, point, 1.3) for point in other.leads if point != lead]
            shapes += [other.body()] if other is not part and other.shape != "wire" else []
            touched += sum(collide(box, shape) for shape in shapes)
        if touched < fewest:
            best, fewest = (px, py), touched
    return best


def _slope(part: Placed) -> float:
    """Angle of lettering along a bar or box, degrees, readable from below or from the right."""
    if part.shape not in ("bar", "box"):
        return 0.0
    (ax, ay), (bx, by) = part.leads
    angle = degrees(atan2(-(by - ay), bx - ax))
    return (angle + 90) % 180 - 90 or (-90.0 if ax == bx else 0.0)


def _words(
    x: float, y: float, words: str, weight: str = "normal", turn: float = 0.0, about: tuple[float, float] = (0, 0)
) -> str:
    turned = f' transform="rotate({turn:.1f} {about[0]:.2f} {about[1]:.2f})"' if turn else ""
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" text-anchor="middle" fill="currentColor" font-weight="{weight}" '
        f'stroke="#ffffff" stroke-width="0.3" paint-order="stroke"{turned}>{escape(words)}</text>'
    )


def _beside_board(layout: Layout, adapter: bool) -> list[str]:
    """Names of lanes and of the wires that leave them: beside a lane across the board, below it for a rail."""
    found, rails = [], []
    wires = {part.name: part for part in layout.parts if part.shape == "wire"}
    for lane in layout.lanes:
        left, right = [], []
        for name, _ in lane.leads:
            if name in wires:
                side = left if wires[name].centre[0] < layout.width / 2 else right
                side.append(wire_name(name, adapter))
        (ax, ay), (bx, by) = lane.strips[0]
        if ax == bx:
            told = ", ".join(left + right)
            rails.append(f"{lane_name(lane.node, adapter)} rail{': ' if told else ''}{told}")
            continue
        y = layout.height - ay + 0.6
        words = lane_name(lane.node, adapter) + (f" ← {', '.join(left)}" if left else "")
        found.append(_note(-1, y, words, ' text-anchor="end"'))
        if right:
            words = f"→ {', '.join(right)}"
            found.append(_note(layout.width + 1, y, words))
    if rails:
        found.append(_note(0, layout.height + 2.8, "; ".join(rails)))
    return found


def _note(x: float, y: float, words: str, more: str = "") -> str:
    return f'<text class="beside" x="{x:.2f}" y="{y:.2f}" fill="currentColor"{more}>{escape(words)}</text>'
