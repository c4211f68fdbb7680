"""The build sheet: one self-contained HTML page that prints on one or two sheets of A4 or US Letter."""

from __future__ import annotations

import re
from html import escape
from importlib import resources

from piezolab.chain import SignalChain
from piezolab.chain.link import whole_query
from piezolab.faces import embedded
from piezolab.quantity import show
from piezolab.sheets import build_steps as steps
from piezolab.sheets import meter_steps as meter
from piezolab.sheets.build_steps import BuildStep
from piezolab.sheets.further_pages import further_pages, schematic, schematic_fits
from piezolab.sheets.layout_svg import layout_svg, scale_bar_svg
from piezolab.sheets.parts_html import parts_html
from piezolab.sheets.sheet_data import SheetData
from piezolab.sheets.tables import lane_rows, ohm_matrix, reading_rows
from piezolab.sheets.wiring_svg import wiring_svg, wiring_words
from piezolab.sheets.words import whose_part
from piezolab.studies.board.layout import Layout
from piezolab.studies.board_as_built import BoardAsBuilt

_TALL = 62.0  # mm: a higher board has a page of its own
_USUAL = 36.0  # mm: beside a higher one the print is set smaller
_UPRIGHT = 45.0  # mm: beside a higher one there is room for its scale,
_NARROW = 100.0  # mm: unless its drawing is wider
_ELSEWHERE = "<p>The {} is drawn on a page of its own, at the end.</p>"
# copper in black ink: the style sheet gives it to the lanes
_HATCH = (
    '<svg class="hatch" xmlns="http://www.w3.org/2000/svg" aria-hidden="true" width="0" height="0"><defs><pattern '
    'id="pz-hatch" patternUnits="userSpaceOnUse" width="0.9" height="0.9" patternTransform="rotate(45)">'
    '<rect width="0.2" height="0.9" fill="#000"/></pattern></defs></svg>'
)
_DENSE_PARTS = 7  # on the board; from here up the print is set smaller


def build_sheet(chain: SignalChain, build: BoardAsBuilt | None = None) -> str:
    """The sheet of a chain as a whole HTML document that needs nothing else."""
    return sheet_page(SheetData(chain, build))


def sheet_page(data: SheetData) -> str:
    """The document of a sheet."""
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>Build sheet: {escape(data.assembly.stage.title)}</title><style>{style()}</style></head>"
        f"<body>{sheet_body(data)}</body></html>"
    )


def style() -> str:
    """The style sheet, with the text face."""
    return embedded() + resources.files("piezolab.sheets").joinpath("build_sheet.css").read_text("utf-8")


def sheet_body(data: SheetData) -> str:
    """The sheet's two pages, what shows the board larger, and what is cut out, as one element."""
    looks = [*(["large"] if data.build.lettering == "large" else []), *(["black"] if data.build.ink == "black" else [])]
    if _dense(data) and "large" not in looks:
        looks.append("dense")
    pages = f'<section class="page">{_first(data)}</section>{_second(data)}{further_pages(data)}'
    pages = _HATCH + pages if "black" in looks else pages
    return f'<main class="{" ".join(["sheet", *looks])}">{pages}</main>'


def _dense(data: SheetData) -> bool:
    """Whether there is so much to say that it is set smaller."""
    high = data.layout is not None and data.layout.height > _USUAL
    return high or len(data.items) + data.phantom + 2 * data.build.lit >= _DENSE_PARTS  # phantom: a step more


def _first(data: SheetData) -> str:
    chain = data.chain
    large = data.build.lettering == "large"  # the drawings then have pages of their own
    known = "" if chain.transistor_measured or not data.powered else " Measure your transistor (below)."
    parts = [
        f"<h1>Build sheet: {escape(data.assembly.stage.title)}</h1>",
        f'<p class="link">configuration: {escape(whole_query(chain))}</p>',
        f"<p>{escape(data.what_and_why)} Estimates from typical data, not a certificate; local electrical rules decide "
        f"about anything on the mains.{known}</p>",
        f'<div class="scroll">{schematic(data)}</div>' if schematic_fits(data) else _ELSEWHERE.format("schematic"),
        "<h2>Parts</h2>",
        parts_html(data),
        "<h2>Wiring</h2>",
        _ELSEWHERE.format("wiring") if large else f'<div class="scroll">{wiring_svg(data)}</div>',
        _small(wiring_words(data)),
    ]
    if data.powered:
        parts += ["<h2>The transistor by itself, before it is soldered</h2>", _steps(meter.transistor_steps(data))]
    else:
        parts += ["<h2>Build</h2>", _steps(steps.build_steps(data)), _plain_check(data)]
        parts += ["<h2>Into the box</h2>", _steps(steps.boxing_steps(data))]
    return "".join(parts)


def _second(data: SheetData) -> str:
    if not data.powered:
        return ""
    parts = []
    tall = data.layout is not None and data.layout.height > _TALL
    if data.layout is not None and not tall:
        drawn, scale = _layout(data.layout, data.adapter), _scale(data.layout)
        wide = float(re.search(r'<svg class="layout"[^>]*? width="([\d.]+)mm"', drawn)[1])
        below = data.layout.height < _UPRIGHT or wide > _NARROW
        left, right = (drawn + scale, "") if below else (drawn, scale)
        parts.append(f'<div class="beside"><div class="fixed">{left}</div><div>{_lanes(data)}{right}</div></div>')
    else:
        parts.append(_lanes(data))
    if data.layout_problem:
        parts.append(f'<p class="caution">{escape(data.layout_problem)}</p>')
    parts += [
        "<h2>Build</h2>",
        _steps(steps.build_steps(data)),
        "<h2>Power off</h2>",
        _steps(meter.power_off_steps(data)),
        _matrix(data),
        "<h2>First power</h2>",
        _steps(meter.first_power_steps(data)),
        "<h2>Power on</h2>",
        _steps(meter.power_on_steps(data)),
        "<h2>Into the box</h2>",
        _steps(steps.boxing_steps(data)),
    ]
    pages = f'<section class="page">{"".join(parts)}</section>'
    alone = f'<section class="page">{_layout(data.layout, data.adapter)}{_scale(data.layout)}</section>' if tall else ""
    return pages + alone


def _layout(layout: Layout, adapter: bool) -> str:
    columns = f", {layout.columns} columns" if layout.columns else ""
    return (
        f"<h2>Layout, true size: {layout.method.title}, {layout.width:.0f} × {layout.height:.0f} mm{columns}</h2>"
        f"{layout_svg(layout, adapter)}"
    )


def _scale(layout: Layout) -> str:
    behind = "; the copper lies behind" if layout.method.key == "stripboard" else ""
    return f'{scale_bar_svg()}<p class="small">Seen from the side of the parts{behind}.</p>'


def _lanes(data: SheetData) -> str:
    """What lands on each lane, and what the meter reads there."""
    leads = dict(lane_rows(data))
    readings = {lane: (volt, tone) for lane, _, _, volt, tone in reading_rows(data)}
    rows = []
    for lane in [*leads, *(lane for lane in readings if lane not in leads)]:
        volt, tone = readings.get(lane, ("–", "–"))
        heard = f'<td class="nowrap">{escape(tone)}</td>' if data.tone_shows else ""
        rows.append(
            f'<tr><td><span class="tick"></span></td><th>{escape(lane)}</th><td>{escape(leads.get(lane, ""))}</td>'
            f'<td class="nowrap">{escape(volt)}</td>{heard}</tr>'
        )
    return (
        "<h2>Lanes: what lands on each, what it reads to ground</h2>"
        '<div class="scroll"><table><tr><th></th><th>lane</th><th>leads</th><th>DC volts</th>'
        f"{'<th>AC volts, tone on</th>' if data.tone_shows else ''}</tr>{''.join(rows)}</table></div>"
    )


def _small(sentences: tuple[str, ...]) -> str:
    return f'<p class="small">{escape(" ".join(sentences))}</p>' if sentences else ""


def _plain_check(data: SheetData) -> str:
    values = data.chain.values
    farad = f"{show(float(values.pickup_c), 'F')}"
    return (
        "<h2>Check with the meter</h2>"
        + _steps(
            (
                BuildStep("Beeper: ceramic side to tip, brass side and screen to sleeve; tip to sleeve must not beep."),
                BuildStep("Ohms tip to sleeve: over range once the disc has charged; tapping moves the reading."),
                BuildStep(f"Capacitance tip to sleeve: about {farad} for each disc and a little for the lead."),
            )
        )
    )


def _steps(found: tuple[BuildStep, ...]) -> str:
    items = "".join(
        f"<li>{escape(step.words)}" + (f' <span class="caution">{escape(step.caution)}</span>' if step.caution else "")
        + "</li>"
        for step in found
    )  # fmt: skip
    return f'<ol class="steps">{items}</ol>'


def _matrix(data: SheetData) -> str:
    lanes, cells = ohm_matrix(data)
    head = "".join(f"<th>{escape(data.lane(lane))}</th>" for lane in lanes)
    body = "".join(
        f"<tr><th>{escape(data.lane(lane))}</th>{''.join(f'<td>{escape(cell)}</td>' for cell in row)}</tr>"
        for lane, row in zip(lanes, cells, strict=True)
    )
    return (
        f'<div class="scroll"><table class="matrix"><tr><th>red ↓ black →</th>{head}</tr>{body}</table></div>'
        f'<p class="small">Ohms, healthy board, {whose_part(data.chain)}, on the lowest range that shows a number; 1. '
        "(OL on some): over range.</p>"
    )
