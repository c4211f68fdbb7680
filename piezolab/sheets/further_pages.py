"""Pages of the printed sheet that are held beside the work or cut out: the board larger, what is too wide for the text
turned, as large as the paper allows, and the templates."""

from __future__ import annotations

import re

from piezolab.sheets.board_pages import height_to_cut, numbered, to_cut
from piezolab.sheets.layout_svg import scale_bar_svg
from piezolab.sheets.lettering import SIZE
from piezolab.sheets.schematic import schematic_svg
from piezolab.sheets.sheet_data import SheetData
from piezolab.sheets.wiring_svg import template_svg, wiring_svg

LEAST = 2.0  # mm, of any letter in print
_WIDE, _TALL = 186.0, 248.0  # mm that a turned drawing may take of A4 and of US Letter alike
_BESIDE = 184.0, 65.0  # mm that the style sheet leaves a schematic in the text
_ROOM = 195.0  # mm: the box's template has the rest of a page


def further_pages(data: SheetData) -> str:
    """All of them, each a section of its own; the templates last."""
    layout = data.layout
    drawings = {} if schematic_fits(data) else {"Schematic": schematic(data)}
    drawings |= {"Wiring": wiring_svg(data)} if data.build.lettering == "large" else {}
    pages = [] if layout is None else [numbered(data, layout)]
    pages += [f'<h2>{name}</h2><div class="turned">{turned(svg)}</div>' for name, svg in drawings.items()]
    board, box = "" if layout is None else to_cut(data, layout), _template(data)
    if board and height_to_cut(layout) > _ROOM:
        pages.append(board + scale_bar_svg())
        board = ""
    pages.append(board + box)
    return "".join(f'<section class="page further">{page}</section>' for page in pages)


def schematic(data: SheetData) -> str:
    """The schematic, the build's light with it."""
    return schematic_svg(data.chain, light=data.led.parts if data.led else ())


def schematic_fits(data: SheetData) -> bool:
    """Whether it stands in the text with letters that can be read; else it has a page of its own, turned."""
    if data.build.lettering == "large":
        return False
    wide, tall = (float(side) for side in re.search(r'viewBox="\S+ \S+ (\S+) (\S+)"', schematic(data)).groups())
    return SIZE * min(_BESIDE[0] / wide, _BESIDE[1] / tall) >= LEAST


def turned(svg: str) -> str:
    """A drawing with a view box, turned by a quarter to fill a page."""
    left, top, wide, tall = map(float, re.search(r'viewBox="([^"]+)"', svg)[1].split())
    scale = min(_TALL / wide, _WIDE / tall)
    svg = re.sub(r' width="[^"]+" height="[^"]+"', f' width="{tall * scale:.1f}mm" height="{wide * scale:.1f}mm"', svg,
                 count=1)  # fmt: skip
    svg = re.sub(r'viewBox="[^"]+"', f'viewBox="0 0 {tall:g} {wide:g}"', svg, count=1)
    svg = re.sub(r'class="\w+"', 'class="whole"', svg, count=1)  # another size than in its place in the text
    start, end = svg.index("</desc>") + len("</desc>"), svg.rindex("</svg>")
    inside = f'<g transform="translate({top + tall:g},{-left:g}) rotate(90)">{svg[start:end]}</g>'
    return svg[:start] + inside + svg[end:]


def _template(data: SheetData) -> str:
    said = ["Drill from the template; deburr."]
    if data.adapter:
        said.append("The socket is of plastic: its contacts touch neither box nor foil.")
    return (
        f'<h2>Drilling template for the box, true size</h2><div class="scroll">{template_svg(data)}</div>'
        f"<p>{' '.join(said)}</p>"
        f'<div class="scroll">{scale_bar_svg()}</div>'
    )
