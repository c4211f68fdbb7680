"""The build sheet: one self-contained HTML page that prints on one or two sheets of A4 or US Letter."""

from __future__ import annotations

from html import escape
from importlib import resources

from piezolab.chain import SignalChain
from piezolab.chain.link import whole_query
from piezolab.faces import embedded
from piezolab.quantity import show
from piezolab.sheets import build_steps as steps
from piezolab.sheets import meter_steps as meter
from piezolab.sheets.build_steps import BuildStep
from piezolab.sheets.layout_svg import layout_svg, scale_bar_svg
from piezolab.sheets.schematic import schematic_svg
from piezolab.sheets.sheet_data import SheetData
from piezolab.sheets.tables import NOT_PRICED, PartRow, lane_rows, ohm_matrix, part_rows, reading_rows, total
from piezolab.sheets.wiring_svg import template_svg, wiring_svg, wiring_words
from piezolab.studies.board.layout import Layout
from piezolab.studies.board_as_built import BoardAsBuilt

_TALL = 105.0  # mm: a higher board has a page of its own
_UPRIGHT = 45.0  # mm: beside a higher one there is room for its scale
_DENSE_PARTS = 9  # on the board; from here up the print is set smaller
_COLOURS = {
    "black": "#000000", "brown": "#7a4a1e", "red": "#d22020", "orange": "#f28500", "yellow": "#f2d400",
    "green": "#1e8c3a", "blue": "#2050c8", "violet": "#8030a0", "grey": "#888888", "white": "#ffffff",
    "gold": "#b8902c", "silver": "#c0c0c0", "pink": "#f0a0b8",
}  # fmt: skip  (the colours that IEC 60062 names; their shades are ours)


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
    """The sheet's two pages as one element."""
    dense = " dense" if len(data.items) + data.phantom >= _DENSE_PARTS else ""  # phantom: a step more
    pages = f'<section class="page">{_first(data)}</section>{_second(data)}{_further(data)}'
    return f'<main class="sheet{dense}">{pages}</main>'


def _first(data: SheetData) -> str:
    chain = data.chain
    known = "" if chain.transistor_measured or not data.powered else " Measure your transistor (below)."
    parts = [
        f"<h1>Build sheet: {escape(data.assembly.stage.title)}</h1>",
        f'<p class="link">configuration: {escape(whole_query(chain))}</p>',
        f"<p>{escape(data.what_and_why)} Estimates from typical data, not a certificate; local electrical rules decide "
        f"about anything on the mains.{known}</p>",
        f'<div class="scroll">{schematic_svg(chain, light=data.led.parts if data.led else ())}</div>',
        "<h2>Parts</h2>",
        _parts_table(data),
        _types(data),
        f'<h2>Wiring</h2><div class="scroll">{wiring_svg(data)}</div>{_small(wiring_words(data))}',
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
        left, right = (drawn + scale, "") if data.layout.height < _UPRIGHT else (drawn, scale)
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


def _parts_table(data: SheetData) -> str:
    rows = part_rows(data)
    prices = data.prices
    body = "".join(_part(row, data) for row in rows)
    note = " (demo prices, invented)" if prices.invented else ""
    note += "; without what is not priced" if any(row.price is None for row in rows) else ""
    return (
        '<div class="scroll"><table class="parts"><tr><th></th><th>part</th><th>what</th><th>value</th><th>marking</th>'
        f'<th>note</th><th class="number">{escape(prices.currency)}</th></tr>{body}'
        f'<tr><td></td><td colspan="5"><b>together</b>{note}</td><td class="number"><b>{total(rows):.2f}</b></td></tr>'
        "</table></div>"
    )


def _part(row: PartRow, data: SheetData) -> str:
    count = f"{row.count} × " if row.count > 1 else ""
    price = NOT_PRICED if row.price is None else f"{row.price * row.count:.2f}"
    return (
        f'<tr><td><span class="tick"></span></td><td class="reference">{escape(row.reference)}</td>'
        f"<td>{count}{escape(row.what)}</td>"
        f'<td class="value">{escape(row.value)}</td><td>{_bands(row.bands)}{escape(row.marking)}</td>'
        f'<td>{escape(row.note)}</td><td class="number">{price}</td></tr>'
    )


def _bands(colours: tuple[str, ...]) -> str:
    """A small resistor with its bands."""
    if not colours:
        return ""
    stripes = "".join(
        f'<rect x="{1.5 + 1.7 * n + (0.8 if n == len(colours) - 1 else 0):g}" y="0.1" width="1" height="2.6" '
        f'fill="{_COLOURS[colour]}" stroke="#000" stroke-width="0.08"/>'
        for n, colour in enumerate(colours)
    )
    return (
        '<svg class="bands" xmlns="http://www.w3.org/2000/svg" aria-hidden="true" width="12mm" height="2.8mm" '
        'viewBox="0 0 12 2.8"><rect x="0.6" y="0.1" width="10.8" height="2.6" rx="0.8" fill="#f3e6cf" stroke="#000" '
        f'stroke-width="0.12"/>{stripes}</svg> '
    )


def _types(data: SheetData) -> str:
    if not data.powered:
        return ""
    chain = data.chain
    others = [name for name in data.types if name not in (chain.jfet, chain.type_number)]
    own = "" if {chain.jfet, chain.type_number} & set(data.types) or chain.transistor_measured else (
        f" Not every {escape(chain.type_number)} does: measure before you solder."
    )
    told = ", ".join(others) if others else "none of the catalogue"
    return (
        '<p class="small">4k7 is 4.7 kΩ, 330R 330 Ω, 2u2 2.2 µF. Electrolytic capacitors: the long lead is +, the '
        "stripe −. Other types of which 95 % or more "
        f"fit this chain as it is (check the order of the legs): {escape(told)}.{own}</p>"
    )


def _small(sentences: tuple[str, ...]) -> str:
    return f'<p class="small">{escape(" ".join(sentences))}</p>' if sentences else ""


def _further(data: SheetData) -> str:
    """What is cut out or held beside the work, on pages of its own."""
    return (
        f'<section class="page"><h2>Drilling template, true size</h2>{template_svg(data)}{_box(data)}{scale_bar_svg()}'
        "</section>"
    )


def _box(data: SheetData) -> str:
    said = ["Drill from the template; deburr."]
    if data.adapter:
        said.append("The socket is of plastic: its contacts touch neither box nor foil.")
    return f"<p>{' '.join(said)}</p>"


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
        '<p class="small">Ohms, healthy board, over part spread, on the lowest range that shows a number; 1. (OL on '
        "some): over range.</p>"
    )
