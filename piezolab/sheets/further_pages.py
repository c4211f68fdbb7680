"""Pages of the printed sheet that are held beside the work or cut out: the board larger, what is too wide for the text
turned, as large as the paper allows, and the templates."""

from __future__ import annotations

import re

from piezolab.sheets.board_pages import PaperBlock, numbered, size_mm, to_cut
from piezolab.sheets.layout_svg import scale_bar_svg
from piezolab.sheets.lettering import SIZE
from piezolab.sheets.schematic import schematic_svg
from piezolab.sheets.sheet_data import SheetData
from piezolab.sheets.wiring_svg import template_svg, wiring_svg

LEAST = 2.0  # mm, of any letter in print
_WIDE, _TALL = 186.0, 248.0  # mm that a turned drawing may take of A4 and of US Letter alike
_BESIDE = 184.0, 65.0  # mm that the style sheet leaves a schematic in the text
_TALL_LARGE = 234.0  # likewise below a large heading
_PAGE = 256.0  # mm of a page that blocks share, on both
_BAR = 'class="scale"'


def further_pages(data: SheetData) -> str:
    """All of them, in sections that hold as much as they have room for, the templates last; in large letters all runs
    on, and what fills a page comes last."""
    layout, large = data.layout, data.build.lettering == "large"
    drawings = {} if schematic_fits(data) else {"Schematic": schematic(data)}
    drawings |= {"Wiring": wiring_svg(data)} if large else {}
    high = _TALL_LARGE if large else _TALL
    alone = [
        PaperBlock(f'<h2>{name}</h2><div class="turned">{turned(svg, high)}</div>', _PAGE)
        for name, svg in drawings.items()
    ]
    blocks = [] if layout is None else [*filter(None, (numbered(data, layout), to_cut(data, layout)))]
    blocks.append(_template(data))
    blocks = [*blocks, *alone] if large else [*alone, *blocks]
    pages: list[list[PaperBlock]] = []
    for block in blocks:
        if pages and not large and sum(each.tall for each in (*pages[-1], block)) <= _PAGE:
            pages[-1].append(block)
        else:
            pages.append([block])
    held = ["".join(block.html for block in page) + ("" if large else _scale(page)) for page in pages]
    return "".join(f'<section class="page further">{page}</section>' for page in held)


def _scale(page: list[PaperBlock]) -> str:
    """A scale bar below what is cut out, where the page has none."""
    true = any("Template" in block.html for block in page) and not any(_BAR in block.html for block in page)
    return scale_bar_svg() if true else ""


def schematic(data: SheetData) -> str:
    """The schematic, the build's light with it."""
    return schematic_svg(data.chain, light=data.led.parts if data.led else ())


def schematic_fits(data: SheetData) -> bool:
    """Whether it stands in the text with letters that can be read; else it has a page of its own, turned."""
    if data.build.lettering == "large":
        return False
    wide, tall = (float(side) for side in re.search(r'viewBox="\S+ \S+ (\S+) (\S+)"', schematic(data)).groups())
    return SIZE * min(_BESIDE[0] / wide, _BESIDE[1] / tall) >= LEAST


def turned(svg: str, high: float = _TALL) -> str:
    """A drawing with a view box, turned by a quarter to fill a page; high: mm that it may take."""
    left, top, wide, tall = map(float, re.search(r'viewBox="([^"]+)"', svg)[1].split())
    scale = min(high / wide, _WIDE / tall)
    svg = re.sub(r' width="[^"]+" height="[^"]+"', f' width="{tall * scale:.1f}mm" height="{wide * scale:.1f}mm"', svg,
                 count=1)  # fmt: skip
    svg = re.sub(r'viewBox="[^"]+"', f'viewBox="0 0 {tall:g} {wide:g}"', svg, count=1)
    svg = re.sub(r'class="\w+"', 'class="whole"', svg, count=1)  # another size than in its place in the text
    start, end = svg.index("</desc>") + len("</desc>"), svg.rindex("</svg>")
    inside = f'<g transform="translate({top + tall:g},{-left:g}) rotate(90)">{svg[start:end]}</g>'
    return svg[:start] + inside + svg[end:]


def _template(data: SheetData) -> PaperBlock:
    said = ["Drill from the template; deburr."]
    if data.adapter:
        said.append("The socket is of plastic: its contacts touch neither box nor foil.")
    drawn, bar = template_svg(data), scale_bar_svg()
    return PaperBlock(
        f'<h2>Drilling template for the box, true size</h2><div class="scroll">{drawn}</div>'
        f"<p>{' '.join(said)}</p>"
        f'<div class="scroll">{bar}</div>',
        size_mm(drawn)[1] + size_mm(bar)[1] + 13.0,  # a heading and a line
    )
