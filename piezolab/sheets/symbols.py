"""Symbols of IEC 60617, drawn by schemdraw as SVG fragments in the colour of the surrounding text."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import Any

from piezolab.sheets.drawing import Point, Symbol

UNIT = 44.0  # pixels for one grid unit
LINE = 1.6  # pixels


@contextmanager
def _without_matplotlib() -> Iterator[None]:
    """schemdraw imports matplotlib wherever that is installed, even for SVG: 0.5 s and 40 MB in each kernel."""
    if "matplotlib" in sys.modules:
        yield
        return
    sys.modules["matplotlib"] = None  # type: ignore[assignment]  # lets the import fail, as without matplotlib
    try:
        yield
    finally:
        del sys.modules["matplotlib"]


def _library() -> tuple[Any, Any]:
    with _without_matplotlib():
        import schemdraw
        from schemdraw import elements
    return schemdraw, elements


def symbol_svg(symbol: Symbol) -> str:
    """The SVG group of a symbol. Raises ValueError for a kind without a symbol, or terminals that it does not fit."""
    x, y = symbol.terminals[0]
    offsets = tuple((px - x, py - y) for px, py in symbol.terminals[1:])
    inside = _fragment(symbol.kind, offsets, symbol.stray, symbol.polarised)
    places = " ".join(f"{px:g},{py:g}" for px, py in symbol.terminals)
    return (
        f'<g class="symbol" data-part="{symbol.name}" data-terminals="{places}" '
        f'transform="translate({x * UNIT:g},{-y * UNIT:g})">{inside}</g>'
    )


@cache
def _fragment(kind: str, offsets: tuple[Point, ...], stray: bool, polarised: bool) -> str:
    """Drawn once for each shape: the first terminal at the origin."""
    schemdraw, elements = _library()
    drawing = schemdraw.Drawing(canvas="svg", show=False, inches_per_unit=UNIT / 72, lw=LINE, color="currentColor")
    line = {"ls": "--"} if stray else {}
    if kind == "jfet":
        _jfet(drawing, elements, *offsets)
    else:
        makers = {
            "resistor": elements.ResistorIEC,
            "capacitor": elements.Capacitor,
            "disc": elements.Crystal,
            "battery": elements.BatteryCell,
            "inductor": elements.Inductor,
            "source": elements.SourceV,
            "led": elements.LED,
            "diode": elements.Diode,
            "pair": elements.DiodeTVS,
        }
        if kind not in makers:
            raise ValueError(f"a part of kind {kind!r} has no symbol")
        drawing.add(makers[kind]().endpoints((0, 0), offsets[0]).style(**line))
        if polarised:
            _plus(drawing, elements, offsets[0])
    whole = drawing.get_imagedata("svg").decode()
    inside = whole[whole.index(">") + 1 : whole.rindex("</svg>")]
    inside = inside.replace("stroke-dasharray:-;", "").replace("stroke-dasharray:7.4,3.2", "stroke-dasharray:2.5,2.5")
    return re.sub(r"<defs>.*?</defs>", "", inside)


def _plus(drawing: Any, elements: Any, end: Point) -> None:
    """The plus sign beside the plate of the first terminal."""
    half = (end[0] ** 2 + end[1] ** 2) ** 0.5 / 2
    along = (end[0] / half / 2, end[1] / half / 2)
    across = (along[1], -along[0]) if along[0] == 0 else (-along[1], along[0])
    x, y = (along[n] * (half - 0.22) + abs(across[n]) * (-0.32 if along[0] == 0 else 0.32) for n in (0, 1))
    for dx, dy in ((0.07, 0), (0, 0.07)):
        drawing.add(elements.Line().at((x - dx, y - dy)).to((x + dx, y + dy)))


def _jfet(drawing: Any, elements: Any, gate: Point, source: Point) -> None:
    """Drain at the origin, source below it, gate at one side, level with the source's end of the channel."""
    if not (source[0] == 0 and source[1] < gate[1] < 0):
        raise ValueError("a transistor stands upright: drain above source, the gate between them at one side")
    element = elements.JFetN().theta(0)
    reach = 0.9167  # of the library's gate lead, both across and below the drain
    drawing.add((element.reverse() if gate[0] < 0 else element).at((0, gate[1] + reach)))
    for name, point in (("drain", (0, 0)), ("source", source), ("gate", gate)):
        drawing.add(elements.Line().at(element.absanchors[name]).to(point))
