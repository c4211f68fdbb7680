"""What further pages of the build sheet show of the board: larger with its leads numbered, its copper side, a template.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from html import escape
from math import ceil

from piezolab.sheets import board_words as say
from piezolab.sheets.layout_svg import board_template_svg, copper_svg, layout_svg
from piezolab.sheets.sheet_data import SheetData
from piezolab.sheets.words import part_name
from piezolab.studies.board.layout import Layout

_WIDE, _TALL = 186.0, 200.0  # mm of paper
_BETWEEN = 6.0  # mm from drawing to drawing, side by side
_HEAD, _LINE, _ROW = 7.2, 3.4, 4.1  # mm that a heading, a line of text and a table's row take at most, in usual print
_LETTERS = 125  # of such a line


@dataclass(frozen=True)
class PaperBlock:
    """What stays together on a page; tall: mm that it takes at most in usual print."""

    html: str
    tall: float


def size_mm(svg: str) -> tuple[float, float]:
    """Width and height of a drawing, mm."""
    wide, tall = (float(re.search(rf'{side}="([\d.]+)mm"', svg)[1]) for side in ("width", "height"))
    return wide, tall


def board_file(data: SheetData, side: str = "parts") -> tuple[str, str]:
    """The board as an SVG file in mm, its layers named, and "", or "" and the sentence why there is none.

    side: parts, copper or template.
    """
    if data.layout is None:
        return "", data.layout_problem
    draw = {"parts": layout_svg, "copper": copper_svg, "template": board_template_svg}[side]
    named = re.sub(r'<g class="layer ([a-z]+)">', r'<g id="\1" class="layer \1">', draw(data.layout, data.adapter))
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{named}\n', ""


def numbered(data: SheetData, layout: Layout) -> PaperBlock:
    """The board larger, its leads numbered and listed, and what the eye can find on it before any power."""
    scale = 2.0 if 2 * layout.width + 60 < _WIDE and layout.height < 66 else 1.4 if layout.height < 95 else 1.0
    said = [say.why(layout), say.guard_words(layout, data.adapter), *say.doing(layout, data.build.base, data.adapter)]
    said.append(say.place_words(layout))
    said.append(say.plugged_words(data.chain, layout))
    notes = "".join(f"<li>{escape(words)}</li>" for words in said if words)
    times = "at twice its size" if scale == 2 else f"at {scale:g} times its size" if scale != 1 else "at true size"
    drawn = layout_svg(layout, data.adapter, scale, numbers=True)
    if data.build.lettering == "large":
        drawn = as_large_as_paper(drawn)
        times = "as large as the paper takes it"
    compared = _compared(data, layout)
    ticks = "".join(f"<li>{escape(each)}</li>" for each in compared)
    lines = sum(ceil(len(words) / _LETTERS) for words in said)
    rows = ceil(sum(len(part.leads) * (2 if layout.crossings else 1) for part in layout.parts) / 2) + 1
    tall = size_mm(drawn)[1] + 2 * _HEAD + _LINE * lines + _ROW * (rows + ceil(len(compared) / 2) + 1)
    return PaperBlock(
        f"<h2>The board {times}, its leads numbered in the order of work</h2>"
        f'<div class="scroll">{drawn}</div>'
        f'<ul class="notes">{notes}</ul>{_leads(data, layout)}'
        f'<h2>Hold your board beside this picture, before first power</h2><ol class="steps">{ticks}</ol>',
        tall,
    )


def as_large_as_paper(svg: str) -> str:
    """A drawing in millimetres, its sides as long as the paper goes."""
    wide, tall = size_mm(svg)
    times = min(_WIDE / wide, _TALL / tall)
    svg = re.sub(r'width="[\d.]+mm"', f'width="{wide * times:.1f}mm"', svg, count=1)
    return re.sub(r'height="[\d.]+mm"', f'height="{tall * times:.1f}mm"', svg, count=1)


def _compared(data: SheetData, layout: Layout) -> list[str]:
    """What to look for on the board, one thing each."""
    plugged = layout.hole_a is not None
    found = [
        "Every lead sits fast in its hole; no bare leads touch."
        if plugged
        else "Every joint is smooth and shines; no whisker, no crumb between lanes.",
        f"{'The transistor’s' if len(data.assembly.transistors) < 2 else 'The transistors’'} legs, flat face towards "
        f"you: {data.legs}; each in its lane.",
        *(f"{part_name(item.name)}: its + at {data.lane(item.positive)}." for item in data.items if item.positive),
    ]
    if layout.sleeved:
        found.append(f"Sleeved: {', '.join(map(part_name, layout.sleeved))}.")
    if data.build.guarded:
        found.append("D1: the band towards the board.")
    if data.led is not None:
        found.append("LED: the flat side towards the sleeve.")
    found.append("Both sides photographed in daylight: the photograph shows what the eye passes over.")
    return found


def _leads(data: SheetData, layout: Layout) -> str:
    found = say.lead_rows(layout, data.adapter)
    heeded = any(row[-1] for row in found)
    rows = "".join(
        f'<tr><td><span class="tick"></span></td><td>{number}</td><th>{escape(part)}</th><td>{escape(lane)}</td>'
        f'<td class="nowrap">{escape(where)}</td>{f"<td>{escape(heed)}</td>" if heeded else ""}</tr>'
        for number, part, lane, where, heed in found
    )
    place = "from the left edge" if layout.grid is None and layout.hole_a is None else "where"
    last = "<th>heed</th>" if heeded else ""
    head = f"<tr><th></th><th>no.</th><th>lead</th><th>lane</th><th>{place}</th>{last}</tr>"
    return f'<div class="leads"><table>{head}{rows}</table></div>'


def to_cut(data: SheetData, layout: Layout) -> PaperBlock | None:
    """Copper side, list of tape and template; None for a breadboard, of which nothing is cut."""
    if layout.hole_a is not None:
        return None
    drawings = {}
    if not layout.method.one_face:  # else the template alone shows the strips as they lie
        drawings["Copper side, true size, mirrored: as you solder"] = copper_svg(layout, data.adapter)
    rows = say.cutting_rows(layout, data.adapter)
    side = "from the copper side" if layout.grid is not None else "from the parts' side"
    shown = "joints, cuts" if layout.cuts else "strips, joints" if rows else "joints"
    drawings[f"Template, true size, {side}: the board's edges, {shown}"] = board_template_svg(layout, data.adapter)
    table, tall = "", 0.0
    if rows:
        head = "<tr><th>strip</th><th>length</th><th>left edge at</th><th>lower edge at</th></tr>"
        body = "".join(f"<tr>{''.join(f'<td>{escape(cell)}</td>' for cell in row)}</tr>" for row in rows)
        table = f"<h2>Cut the tape</h2><table>{head}{body}</table><p>{escape(say.tape_words(layout))}</p>"
        tall = _HEAD + _ROW * (len(rows) + 2)
    sizes = [size_mm(svg) for svg in drawings.values()]
    beside = sum(wide for wide, _ in sizes) + _BETWEEN * (len(sizes) - 1) <= _WIDE
    tall += (max if beside else sum)(2 * _HEAD + high for _, high in sizes)  # a narrow heading takes two lines
    found = "".join(f"<div><h2>{title}</h2>{svg}</div>" for title, svg in drawings.items())
    return PaperBlock(table + (f'<div class="pair">{found}</div>' if beside else found), tall)
