"""What further pages of the build sheet show of the board: larger with its leads numbered, its copper side, a template.
"""

from __future__ import annotations

import re
from html import escape

from piezolab.sheets import board_words as say
from piezolab.sheets.layout_svg import board_template_svg, copper_svg, layout_svg
from piezolab.sheets.sheet_data import SheetData
from piezolab.sheets.words import part_name
from piezolab.studies.board.layout import Layout

_WIDE, _TALL = 186.0, 200.0  # mm of paper


def board_file(data: SheetData, side: str = "parts") -> tuple[str, str]:
    """The board as an SVG file in mm, its layers named, and "", or "" and the sentence why there is none.

    side: parts, copper or template.
    """
    if data.layout is None:
        return "", data.layout_problem
    draw = {"parts": layout_svg, "copper": copper_svg, "template": board_template_svg}[side]
    named = re.sub(r'<g class="layer ([a-z]+)">', r'<g id="\1" class="layer \1">', draw(data.layout, data.adapter))
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{named}\n', ""


def numbered(data: SheetData, layout: Layout) -> str:
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
    ticks = "".join(f"<li>{escape(each)}</li>" for each in _compared(data, layout))
    return (
        f"<h2>The board {times}, its leads numbered in the order of work</h2>"
        f'<div class="scroll">{drawn}</div>'
        f'<ul class="notes">{notes}</ul>{_leads(data, layout)}'
        f'<h2>Hold your board beside this picture, before first power</h2><ol class="steps">{ticks}</ol>'
    )


def as_large_as_paper(svg: str) -> str:
    """A drawing in millimetres, its sides as long as the paper goes."""
    wide, tall = (float(re.search(rf'{side}="([\d.]+)mm"', svg)[1]) for side in ("width", "height"))
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
        f"Q1's legs, flat face towards you: {data.board_options.pins}; each in its lane.",
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


def to_cut(data: SheetData, layout: Layout) -> str:
    """Copper side, list of tape and template; "" for a breadboard, of which nothing is cut."""
    if layout.hole_a is not None:
        return ""
    parts = []
    if not layout.method.one_face:  # else the template alone shows the strips as they lie
        copper = copper_svg(layout, data.adapter)
        parts.append(f"<h2>Copper side, true size, mirrored: as you solder</h2>{copper}")
    rows = say.cutting_rows(layout, data.adapter)
    if rows:
        head = "<tr><th>strip</th><th>length</th><th>left edge at</th><th>lower edge at</th></tr>"
        body = "".join(f"<tr>{''.join(f'<td>{escape(cell)}</td>' for cell in row)}</tr>" for row in rows)
        parts.append(f"<h2>Cut the tape</h2><table>{head}{body}</table><p>{escape(say.tape_words(layout))}</p>")
    side = "from the copper side" if layout.grid is not None else "from the parts' side"
    shown = "joints, cuts" if layout.cuts else "strips, joints" if rows else "joints"
    title = f"Template, true size, {side}: the board's edges, {shown}"
    parts.append(f"<h2>{title}</h2>{board_template_svg(layout, data.adapter)}")
    return "".join(parts)


def height_to_cut(layout: Layout) -> float:
    """How much of a page `to_cut` takes, mm, heads and tables with it."""
    drawings = 1 if layout.method.one_face else 2
    table = 12.0 + 4.5 * len(layout.lanes) if layout.method.key == "tape" else 0.0
    return drawings * (layout.height + 24.0) + table
