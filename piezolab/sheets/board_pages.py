"""Further pages of the build sheet: the board larger with its leads numbered, its copper side, a template."""

from __future__ import annotations

import re
from html import escape

from piezolab.sheets import board_words as say
from piezolab.sheets.layout_svg import board_template_svg, copper_svg, layout_svg, scale_bar_svg
from piezolab.sheets.sheet_data import SheetData
from piezolab.studies.board.layout import Layout

_WIDE = 186.0  # mm of paper


def board_file(data: SheetData, side: str = "parts") -> tuple[str, str]:
    """The board as an SVG file in mm, its layers named, and "", or "" and the sentence why there is none.

    side: parts, copper or template.
    """
    if data.layout is None:
        return "", data.layout_problem
    draw = {"parts": layout_svg, "copper": copper_svg, "template": board_template_svg}[side]
    named = re.sub(r'<g class="layer ([a-z]+)">', r'<g id="\1" class="layer \1">', draw(data.layout, data.adapter))
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{named}\n', ""


def board_pages(data: SheetData) -> str:
    """The pages; none where there is no board."""
    layout = data.layout
    if layout is None:
        return ""
    pages = (_numbered(data, layout), _copper(data, layout))
    return "".join(f'<section class="page further">{page}</section>' for page in pages)


def _numbered(data: SheetData, layout: Layout) -> str:
    scale = 2.0 if 2 * layout.width + 60 < _WIDE and layout.height < 66 else 1.4 if layout.height < 95 else 1.0
    said = [say.why(layout), say.guard_words(layout, data.adapter), *say.doing(layout, data.build.base, data.adapter)]
    said.append(say.plugged_words(data.chain, layout))
    notes = "".join(f"<li>{escape(words)}</li>" for words in said if words)
    times = "twice its size" if scale == 2 else f"{scale:g} times its size" if scale != 1 else "true size"
    return (
        f"<h2>The board at {times}, its leads numbered in the order of work</h2>"
        f'<div class="scroll">{layout_svg(layout, data.adapter, scale, numbers=True)}</div>'
        f'<ul class="notes">{notes}</ul>{_leads(data, layout)}'
    )


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


def _copper(data: SheetData, layout: Layout) -> str:
    parts = []
    if layout.hole_a is None:
        behind = not layout.method.one_face
        title = "Copper side, true size, mirrored: as you solder" if behind else "The strips alone, true size"
        parts.append(f"<h2>{title}</h2>{copper_svg(layout, data.adapter)}")
        rows = say.cutting_rows(layout, data.adapter)
        if rows:
            head = "<tr><th>strip</th><th>length</th><th>left edge at</th><th>lower edge at</th></tr>"
            body = "".join(f"<tr>{''.join(f'<td>{escape(cell)}</td>' for cell in row)}</tr>" for row in rows)
            parts.append(f"<h2>Cut the tape</h2><table>{head}{body}</table><p>{escape(say.tape_words(layout))}</p>")
    side = "from the copper side" if layout.grid is not None else "from the parts' side"
    parts.append(f"<h2>Template, true size, {side}: edges, joints, cuts</h2>{board_template_svg(layout, data.adapter)}")
    parts.append(scale_bar_svg())
    return "".join(parts)
