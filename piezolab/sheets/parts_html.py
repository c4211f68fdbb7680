"""The parts list of the printed sheet: what goes on the board with its marking, then all that goes with it."""

from __future__ import annotations

from html import escape

from piezolab.sheets.sheet_data import SheetData
from piezolab.sheets.tables import NOT_PRICED, PartRow, part_rows, total
from piezolab.sheets.words import part_name

_COLOURS = {
    "black": "#000000", "brown": "#7a4a1e", "red": "#d22020", "orange": "#f28500", "yellow": "#f2d400",
    "green": "#1e8c3a", "blue": "#2050c8", "violet": "#8030a0", "grey": "#888888", "white": "#ffffff",
    "gold": "#b8902c", "silver": "#c0c0c0", "pink": "#f0a0b8",
}  # fmt: skip  (the colours that IEC 60062 names; their shades are ours)


def parts_html(data: SheetData) -> str:
    """Both tables, their sum, and what the codes mean."""
    rows = part_rows(data)
    marked = tuple(row for row in rows if row.bands or row.reference in {part_name(item.name) for item in data.items})
    rest = tuple(row for row in rows if row not in marked)
    half = (len(rest) + 1) // 2
    currency = escape(data.prices.currency)
    first = ""
    if marked:
        body = "".join(_marked(row, data) for row in marked)
        first = (
            '<div class="scroll"><table class="parts"><tr><th></th><th>part</th><th>what</th><th>value</th>'
            f'<th>marking</th><th>note</th><th class="number">{currency}</th></tr>{body}</table></div>'
        )
    columns = "".join(f"<div><table>{''.join(map(_plain, some))}</table></div>" for some in (rest[:half], rest[half:]))
    note = " (demo prices, invented)" if data.prices.invented else ""
    note += "; without what is not priced" if any(row.price is None for row in rows) else ""
    together = f'<p class="sum"><b>together</b>{note}: <b>{total(rows):.2f} {currency}</b></p>'
    return f'{first}<div class="beside also">{columns}</div>{together}{_types(data)}'


def _marked(row: PartRow, data: SheetData) -> str:
    bands = "" if data.build.ink == "black" else _bands(row.bands)
    return (
        f'<tr><td><span class="tick"></span></td><td class="reference">{escape(row.reference)}</td>'
        f"<td>{_counted(row)}</td><td class=\"value\">{escape(row.value)}</td>"
        f'<td>{bands}{escape(row.marking)}</td><td>{escape(row.note)}</td><td class="number">{_price(row)}</td></tr>'
    )


def _plain(row: PartRow) -> str:
    told = ", ".join(each for each in (_counted(row), escape(row.marking), escape(row.note)) if each)
    return (
        f'<tr><td><span class="tick"></span></td><td class="reference">{escape(row.reference)}</td><td>{told}</td>'
        f'<td class="value">{escape(row.value)}</td><td class="number">{_price(row)}</td></tr>'
    )


def _counted(row: PartRow) -> str:
    return escape(f"{row.count} × {row.what}" if row.count > 1 else row.what)


def _price(row: PartRow) -> str:
    return NOT_PRICED if row.price is None else f"{row.price * row.count:.2f}"


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
