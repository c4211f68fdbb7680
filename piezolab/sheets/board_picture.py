"""A board's drawing, layer by layer: outline, copper, holes, cuts, links, parts, joints, lettering. Millimetres."""

from __future__ import annotations

from html import escape
from math import dist

from piezolab.faces import FAMILY
from piezolab.sheets.layout_lettering import LETTER, Lettering, around
from piezolab.sheets.lead_places import in_order_of_work, letter, row_of
from piezolab.sheets.words import lane_name, part_name, wire_name
from piezolab.studies.board.board_parts import HOLE
from piezolab.studies.board.candidates import CUT
from piezolab.studies.board.layout import Layout
from piezolab.studies.board.placed import Placed
from piezolab.studies.board.plug_in import LETTERS, RAILS

_ABOVE, _BELOW = 3.6, 4.4  # mm of room beside the board for its lettering
_COPPER, _SPARE = "#d9d9d9", "#efefef"


class Picture:
    """One view of a board. mirror: seen from the other side; scale: times true size; numbers: of the leads, in the
    order of work."""

    def __init__(self, layout: Layout, mirror: bool = False, scale: float = 1.0, numbers: bool = False) -> None:
        self.layout = layout
        self.mirror = mirror
        self.scale = scale
        self.numbers = numbers

    def at(self, point: tuple[float, float]) -> tuple[float, float]:
        """A place of the layout in the drawing."""
        x, y = point
        x = self.layout.width - x if self.mirror else x
        return x * self.scale, (self.layout.height - y) * self.scale

    def line(self, kind: str, a: tuple[float, float], b: tuple[float, float], wide: float, more: str = "") -> str:
        """A straight piece; wide: mm at true size."""
        (ax, ay), (bx, by) = self.at(a), self.at(b)
        return (
            f'<line class="{kind}" x1="{ax:.2f}" y1="{ay:.2f}" x2="{bx:.2f}" y2="{by:.2f}" '
            f'stroke-width="{wide * self.scale:g}"{more}/>'
        )

    def disc(self, kind: str, point: tuple[float, float], across: float, more: str = "") -> str:
        """A round spot; across: mm at true size."""
        x, y = self.at(point)
        return f'<circle class="{kind}" cx="{x:.2f}" cy="{y:.2f}" r="{across / 2 * self.scale:.3g}"{more}/>'

    # -- layers ---------------------------------------------------------------------------------------------------
    def board(self) -> str:
        """The outline."""
        wide, tall = self.layout.width * self.scale, self.layout.height * self.scale
        return (
            f'<rect class="board" x="0" y="0" width="{wide:.2f}" height="{tall:.2f}" fill="none" stroke="currentColor" '
            'stroke-width="0.25" stroke-dasharray="1.5 1"/>'
        )

    def copper(self) -> str:
        """Lanes, and copper that no lane uses."""
        wide = self.layout.method.width
        found = [self.line("spare", a, b, wide, f' stroke="{_SPARE}"') for a, b in self.layout.spare]
        for lane in self.layout.lanes:
            more = f' data-node="{escape(lane.node)}" stroke="{_COPPER}"'
            found += [self.line("lane", a, b, wide, more) for a, b in lane.strips]
        return "".join(found)

    def holes(self) -> str:
        """Every hole of a board with a grid; of a breadboard those of the rows in use."""
        found = []
        if self.layout.grid is not None:
            columns, rows = self.layout.grid
            places = [((c + 0.5) * HOLE, (r + 0.5) * HOLE) for r in range(rows) for c in range(columns)]
        elif self.layout.hole_a is not None:
            strips = [strip for lane in self.layout.lanes for strip in lane.strips if strip[0][1] == strip[1][1]]
            places = [(a[0] + n * HOLE, a[1]) for a, _ in strips for n in range(5)]
        else:
            return ""
        for place in places:
            found.append(self.disc("hole", place, 0.9, ' fill="#ffffff" stroke="#777777" stroke-width="0.12"'))
        return "".join(found)

    def cuts(self) -> str:
        """A cross in a gap of the strip for each cut."""
        found = []
        for x, y in self.layout.cuts:
            wide = self.layout.method.width + 0.1
            found.append(self.line("cut", (x - CUT / 2, y), (x + CUT / 2, y), wide, ' stroke="#ffffff"'))
            for dy in (-0.9, 0.9):
                found.append(self.line("cross", (x - 0.9, y - dy), (x + 0.9, y + dy), 0.35, ' stroke="currentColor"'))
        return "".join(found)

    def links(self) -> str:
        """Short wires that join pieces of a lane."""
        return "".join(
            self.line("link", a, b, 0.6, ' stroke="currentColor"') for lane in self.layout.lanes for a, b in lane.links
        )

    def parts(self) -> str:
        """Parts with bodies, leads, sleeves and joints."""
        return "".join(self._part(part) for part in self.layout.parts)

    def joints(self) -> str:
        """The joints alone."""
        return "".join(
            self.disc("joint", lead, 1.3, ' fill="currentColor"') for part in self.layout.parts for lead in part.leads
        )

    def crosses(self) -> str:
        """A fine cross at every joint, to prick or drill through."""
        found = []
        for part in self.layout.parts:
            for x, y in part.leads:
                found.append(self.line("drill", (x - 1, y), (x + 1, y), 0.12, ' stroke="currentColor"'))
                found.append(self.line("drill", (x, y - 1), (x, y + 1), 0.12, ' stroke="currentColor"'))
        return "".join(found)

    def outlines(self) -> str:
        """The edges of every lane."""
        half, found = self.layout.method.width / 2, []
        for lane in self.layout.lanes:
            for a, b in lane.strips:
                (left, high), (right, low) = self.at((min(a[0], b[0]), max(a[1], b[1]))), self.at(
                    (max(a[0], b[0]), min(a[1], b[1]))
                )
                left, right = min(left, right), max(left, right)
                wide = half * self.scale
                dx, dy = (wide, 0.0) if a[0] == b[0] else (0.0, wide)
                found.append(
                    f'<rect x="{left - dx:.2f}" y="{high - dy:.2f}" width="{right - left + 2 * dx:.2f}" '
                    f'height="{low - high + 2 * dy:.2f}" fill="none" stroke="#777777" stroke-width="0.15"/>'
                )
        return "".join(found)

    def _part(self, part: Placed) -> str:
        sleeved = {crossing.lead for crossing in self.layout.crossings if crossing.part == part.name}
        inside = []
        for n, a, b in part.segments():
            lead = f' data-lead="{n}" stroke="currentColor"'
            if n in sleeved:
                inside.append(self.line("sleeve", a, b, 1.6, lead))
                inside.append(self.line("bore", a, b, 1.2, ' stroke="#ffffff"'))
            inside.append(self.line("lead", a, b, 0.5, lead))
        inside.append(self._body(part))
        for n, lead in enumerate(part.leads):
            inside.append(self.disc("joint", lead, 1.3, f' data-lead="{n}" fill="currentColor"'))
        places = " ".join("{:.2f},{:.2f}".format(*self.at(lead)) for lead in part.leads)
        return f'<g class="part" data-part="{escape(part.name)}" data-leads="{places}">{"".join(inside)}</g>'

    def _body(self, part: Placed) -> str:
        outline = 'class="body" fill="#ffffff" fill-opacity="0.8" stroke="currentColor" stroke-width="0.25"'
        x, y = self.at(part.centre)
        if part.shape == "wire":
            return self.disc("eye", part.centre, 2.1, ' fill="none" stroke="currentColor" stroke-width="0.25"')
        if part.shape == "can":
            return f'<circle {outline} cx="{x:.2f}" cy="{y:.2f}" r="{part.length / 2 * self.scale:.3f}"/>'
        if part.shape == "half-round":
            s, f = self.scale, part.flat
            half, flat, back, top = 2.4 * s, y - f * 2 * s, y + f * 0.6 * s, y + f * 2 * s
            return (
                f'<path {outline} d="M {x - half:.2f} {flat:.2f} L {x - half:.2f} {back:.2f} '
                f'Q {x - half * 0.9:.2f} {top:.2f} {x:.2f} {top:.2f} Q {x + half * 0.9:.2f} {top:.2f} '
                f'{x + half:.2f} {back:.2f} L {x + half:.2f} {flat:.2f} Z"/>'
            )
        points = " ".join("{:.2f},{:.2f}".format(*self.at(corner)) for corner in part.body())
        return f'<polygon {outline} points="{points}"/>'

    # -- lettering ------------------------------------------------------------------------------------------------
    def busy(self, lettering: Lettering) -> None:
        """Tell the lettering where cuts, joints and leads lie."""
        for x, y in map(self.at, self.layout.cuts):
            r = 1.1 * self.scale
            lettering.busy.append((x - r, y - r, x + r, y + r))
        for part in self.layout.parts:
            spots = [self.at(lead) for lead in part.leads]
            r = 0.7 * self.scale
            lettering.busy += [(x - r, y - r, x + r, y + r) for x, y in spots]
            for _, a, b in part.segments():
                (ax, ay), (bx, by) = self.at(a), self.at(b)
                lettering.busy.append(
                    (min(ax, bx) - 0.3, min(ay, by) - 0.3, max(ax, bx) + 0.3, max(ay, by) + 0.3)
                )

    def names(self, lettering: Lettering) -> None:
        """Names of the parts on their bodies, of their legs beside the joints, numbers of the leads where wanted."""
        for part in self.layout.parts:
            if part.shape == "wire":
                continue
            name = part_name(part.name)
            (x, y), (ax, ay), (bx, by) = self.at(part.centre), self.at(part.leads[0]), self.at(part.leads[-1])
            turned = part.shape in ("bar", "box") and abs(by - ay) > abs(bx - ax)
            step = 0.4 * self.scale
            spots = [(x + dx * step, y + dy * step) for dy in (0, 1, -1, 2, -2) for dx in (0, 1, -1)]
            if part.shape == "half-round":  # its legs leave no room on it
                spots += around(x, y, 3.3 * self.scale, 4.3 * self.scale)
            lettering.put(name, spots, ' font-weight="bold" class="name"', turned)
        for part in self.layout.parts:
            for n, (label, lead) in enumerate(zip(part.labels, part.leads, strict=True)):
                if label and label != "-":
                    more = f' class="leg" data-part="{escape(part.name)}" data-lead="{n}" font-weight="bold"'
                    lettering.put(label, self._by(lead, 1.6, 2.6, at_own=True), more)
        if self.numbers:
            for each in in_order_of_work(self.layout):
                spots = self._by(each.part.leads[each.lead], 2.1, 4.2)
                lettering.put(str(each.number), spots, ' class="number"')

    def _by(
        self, lead: tuple[float, float], near: float, far: float, at_own: bool = False
    ) -> list[tuple[float, float]]:
        """Places for lettering by a joint, those that are clearly nearer to no other joint first; at_own: no others,
        where there are such."""
        own = self.at(lead)
        others = [self.at(point) for part in self.layout.parts for point in part.leads if point != lead]

        def astray(spot: tuple[float, float]) -> bool:
            return any(dist(spot, other) < dist(spot, own) + 0.15 for other in others)

        places = sorted(around(*own, near, far), key=astray)
        return [spot for spot in places if not (at_own and astray(spot))] or places

    def edges(self, lettering: Lettering, adapter: bool) -> None:
        """Letters of strips, numbers of columns and rows, names of lanes, and the wires that leave them."""
        layout = self.layout
        if layout.grid is not None:
            columns, rows = layout.grid
            for c in (0, *range(4, columns, 5)):
                x, _ = self.at(((c + 0.5) * HOLE, 0))
                lettering.put(str(c + 1), [(x, -1.6)], ' class="column"')
        if layout.hole_a is not None:
            for slot, name in (LETTERS | {slot: name.split()[1] for slot, name in RAILS.items()}).items():
                x, _ = self.at((layout.hole_a[0] + slot * HOLE, 0))
                lettering.put(name, [(x, -1.6)], ' class="column"')
        rails = []
        named = {}
        for lane in layout.lanes:
            (ax, ay), (bx, _) = lane.strips[0]
            words, more = self._beside(lane.node, adapter)
            if ax == bx:
                rails.append(f"{lane_name(lane.node, adapter)} rail" + (f": {more}" if more else ""))
                continue
            named[round(ay, 3)] = (words, more)
        if layout.grid is not None:
            for r in range(layout.grid[1]):
                named.setdefault(round((r + 0.5) * HOLE, 3), ("", ""))
        for y, (words, more) in named.items():
            place = ""
            if layout.grid is not None:
                place = letter(layout.grid[1] - 1 - round(y / HOLE - 0.5)) + " "
            elif layout.hole_a is not None:
                place = f"{row_of(layout, y)} "
            _, at = self.at((0, y))
            lettering.beside(-1, at, f"{words} {place}".strip(), end=True)
            if more:
                lettering.beside(layout.width * self.scale + 1, at, more)
        if rails:
            lettering.beside(0, layout.height * self.scale + 2.2, "; ".join(rails))

    def _beside(self, node: str, adapter: bool) -> tuple[str, str]:
        """A lane's name with the wires that enter at the left, and those that leave at the right."""
        left, right = [], []
        for part in self.layout.parts:
            if part.shape == "wire" and part.lanes == (node,):
                near = (part.centre[0] < self.layout.width / 2) != self.mirror
                (left if near else right).append(wire_name(part.name, adapter))
        words = lane_name(node, adapter)
        if self.layout.lane(node).strips[0][0][0] == self.layout.lane(node).strips[0][1][0]:
            return words, ", ".join(left + right)
        return (f"{', '.join(left)} → " if left else "") + words, f"→ {', '.join(right)}" if right else ""


def drawn(
    picture: Picture, layers: dict[str, str], lettering: Lettering, title: str, told: str, kind: str
) -> str:
    """The layers as one drawing, as large as its lettering asks."""
    layout, scale = picture.layout, picture.scale
    left = min([0.0, *(room[0] for room in lettering.taken)]) - 0.5
    right = max([layout.width * scale, *(room[2] for room in lettering.taken)]) + 0.5
    wide, tall = right - left, layout.height * scale + _ABOVE + _BELOW
    groups = "".join(f'<g class="layer {name}">{body}</g>' for name, body in layers.items() if body)
    about = f"<desc>{escape(told)}</desc>" if told else ""
    return (
        f'<svg class="{kind}" xmlns="http://www.w3.org/2000/svg" role="img" width="{wide:.2f}mm" height="{tall:.2f}mm" '
        f'viewBox="{left:.2f} {-_ABOVE:g} {wide:.2f} {tall:.2f}" font-family="{FAMILY}" font-size="{LETTER:g}">'
        f"<title>{escape(title)}</title>{about}{groups}</svg>"
    )
