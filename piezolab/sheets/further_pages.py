"""Pages of the printed sheet that are cut out or held beside the work: the picture to compare with, the template, and
in large print the drawings turned, as large as the paper allows."""

from __future__ import annotations

import re
from html import escape

from piezolab.sheets.layout_svg import layout_svg, scale_bar_svg
from piezolab.sheets.lettering import SIZE
from piezolab.sheets.schematic import schematic_svg
from piezolab.sheets.sheet_data import SheetData
from piezolab.sheets.wiring_svg import template_svg, wiring_svg
from piezolab.sheets.words import part_name

LEAST = 2.0  # mm, of any letter in print
_WIDE, _TALL = 186.0, 248.0  # mm that a turned or enlarged drawing may take of A4 and of US Letter alike
_BESIDE = 184.0, 65.0  # mm that the style sheet leaves a schematic in the text
_PICTURE = 110.0  # mm: what stands under it has its room
_TIMES = 2.5  # larger than this a board's picture says no more


def further_pages(data: SheetData) -> str:
    """All of them, each a section of its own."""
    drawings = {} if schematic_fits(data) else {"Schematic": schematic(data)}
    drawings |= {"Wiring": wiring_svg(data)} if data.build.lettering == "large" else {}
    pages = [f'<h2>{name}</h2><div class="turned">{turned(svg)}</div>' for name, svg in drawings.items()]
    pages.append((_compare(data) if data.layout is not None else "") + _template(data))
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


def enlarged(svg: str, times: float) -> str:
    """A drawing in millimetres, larger: by `times`, or as far as the paper goes."""
    wide, tall = (float(re.search(rf'{side}="([\d.]+)mm"', svg)[1]) for side in ("width", "height"))
    times = min(times, _WIDE / wide, _PICTURE / tall)
    svg = re.sub(r'width="[\d.]+mm"', f'width="{wide * times:.1f}mm"', svg, count=1)
    return re.sub(r'height="[\d.]+mm"', f'height="{tall * times:.1f}mm"', svg, count=1)


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


def _compare(data: SheetData) -> str:
    """The board's picture, and what the eye can find before any power."""
    found = [
        "Every joint is smooth and shines; no whisker, no crumb between lanes.",
        f"Q1's legs, flat face towards you: {data.board_options.pins}; each in its lane.",
        *(f"{part_name(item.name)}: its + at {data.lane(item.positive)}." for item in data.items if item.positive),
    ]
    if data.layout.sleeved:
        found.append(f"Sleeved: {', '.join(map(part_name, data.layout.sleeved))}.")
    if data.build.guarded:
        found.append("D1: the band towards the board.")
    if data.led is not None:
        found.append("LED: the flat side towards the sleeve.")
    found.append("Both sides photographed in daylight: the photograph shows what the eye passes over.")
    ticks = "".join(f"<li>{escape(each)}</li>" for each in found)
    return (
        "<h2>Hold your board beside this picture, before first power</h2>"
        f'<div class="scroll">{enlarged(layout_svg(data.layout, data.adapter), _TIMES)}</div>'
        f'<ol class="steps">{ticks}</ol>'
    )


def _template(data: SheetData) -> str:
    said = ["Drill from the template; deburr."]
    if data.adapter:
        said.append("The socket is of plastic: its contacts touch neither box nor foil.")
    return (
        f'<h2>Drilling template, true size</h2><div class="scroll">{template_svg(data)}</div><p>{" ".join(said)}</p>'
        f'<div class="scroll">{scale_bar_svg()}</div>'
    )
