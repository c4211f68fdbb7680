"""The sheet's options from what a maker writes: texts in, options and sentences about what was wrong out."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from piezolab.quantity import QuantityError, parse
from piezolab.sheets.prices import PriceError, read_prices
from piezolab.sheets.sheet_data import SheetOptions
from piezolab.studies.board.layout import LayoutError, Options
from piezolab.studies.metering.instrument import Meter

#: Key -> label, unit; every one may be left out.
TEXTS = {
    "method": ("method", ""),
    "board": ("board", "mm"),
    "lane_width": ("lane width", "mm"),
    "pins": ("pin order", ""),
    "switch": ("switch", ""),
    "meter_ohm": ("meter's input resistance", "ohm"),
    "beeps_below": ("beeper", "ohm"),
    "currency": ("currency", ""),
}


def read_sheet_options(
    texts: Mapping[str, str], schottky: bool = True, prices: Path | None = None
) -> tuple[SheetOptions, tuple[str, ...]]:
    """Options from texts by key (see TEXTS), and one sentence for each that cannot be used, whose default then stands.

    Empty texts count as left out. Raises KeyError on an unknown key.
    """
    problems: list[str] = []
    given = {key: text.strip() for key, text in texts.items() if text and text.strip()}
    for key in given:
        TEXTS[key]

    def tried(make: Any, *args: Any, **fields: Any) -> Any:
        try:
            return make(*args, **fields)
        except (LayoutError, PriceError, QuantityError, ValueError) as error:
            problems.append(str(error))
            return None

    layout = Options()
    for key, read in (("method", str), ("lane_width", _millimetres), ("board", _board)):
        if key in given and (value := tried(read, given[key])) is not None:
            layout = tried(_with, layout, **{key: value}) or layout
    options = SheetOptions(layout=layout, schottky=schottky)
    if "pins" in given:
        options = tried(_with, options, pins=_pins(given["pins"])) or options
    if "switch" in given:
        options = tried(_with, options, switch=given["switch"]) or options
    if "beeps_below" in given and (ohm := tried(parse, given["beeps_below"], "ohm", what="beeper")) is not None:
        options = tried(_with, options, beeps_below=ohm) or options
    if "meter_ohm" in given:
        ohm = tried(parse, given["meter_ohm"], "ohm", what=TEXTS["meter_ohm"][0])
        if ohm is not None and (meter := tried(Meter, input_ohm=ohm)) is not None:
            options = _with(options, meter=meter)
    if prices is not None or "currency" in given:
        found = tried(read_prices, prices, given.get("currency"))
        options = options if found is None else _with(options, prices=found)
    return options, tuple(problems)


def _with(options: Any, **fields: Any) -> Any:
    from dataclasses import replace

    return replace(options, **fields)


def _pins(text: str) -> str:
    return " ".join(text.upper().replace(" ", "").replace("-", ""))


def _millimetres(text: str) -> float:
    try:
        return float(text.lower().removesuffix("mm").replace(",", ".").strip())
    except ValueError:
        raise LayoutError(f"lane width: {text[:40]!r} cannot be read; allowed is millimetres, such as 5.") from None


def _board(text: str) -> tuple[float, float]:
    words = text.lower().replace("×", "x").removesuffix("mm").split("x")
    try:
        wide, tall = (float(word.replace(",", ".")) for word in words)
    except ValueError:
        raise LayoutError(f"board: {text[:40]!r} cannot be read; allowed is width x height, such as 60x40.") from None
    return wide, tall
