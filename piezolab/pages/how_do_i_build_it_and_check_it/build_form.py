"""What the maker chooses beside the chain: board, switch, meter, currency. The sheet of a chain with these."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from piezolab.chain import SignalChain
from piezolab.pages.how_do_i_build_it_and_check_it.lazy_sheet import LazySheet
from piezolab.pages.kit.form import Field, FieldError, Form
from piezolab.pages.kit.keepsake import Keepsake
from piezolab.pages.kit.page_state import PageState
from piezolab.quantity import QuantityError, parse
from piezolab.sheets.prices import PriceError, read_prices
from piezolab.sheets.sheet_data import SWITCHES, SheetOptions
from piezolab.studies.board.layout import METHODS, LayoutError, Options
from piezolab.studies.metering.instrument import Meter

_ORDERS = ("D G S", "S G D", "G D S", "G S D", "D S G", "S D G")
FIELDS = (
    Field("method", "board", value="stripboard", options=tuple((key, method.title) for key, method in METHODS.items())),
    Field("meter_r", "meter's resistance, DC volts", "Ω", "10M", "10M in most digital meters, 1M in some small ones."),
    Field(
        "counts", "meter's digits", value="2000",
        options=(("2000", "3½ (to 1999)"), ("4000", "3¾ (to 3999)"), ("6000", "to 5999"), ("20000", "4½ (to 19999)")),
    ),
    Field("currency", "currency", "", "EUR", "A label for the demo prices, which are invented; nothing is converted."),
    Field(
        "switch", "battery switched by", value="toggle", more=True,
        options=(("toggle", "a switch"), ("ring", "the jack")),
    ),
    Field(
        "schottky", "Schottky diode against reversal", value="yes", more=True,
        options=(("yes", "yes"), ("no", "no")),
    ),
    Field(
        "pins", "transistor's legs, flat face to you", value="", more=True,
        options=(("", "usual for the type"), *((order, order) for order in _ORDERS)),
    ),
    Field("width", "board at most, width", "mm", "", "Empty: as small as it goes.", more=True),
    Field("height", "board at most, height", "mm", "", more=True),
    Field("percent", "meter's accuracy", "%", "1", "From its sheet, DC volts.", more=True),
    Field("beeps", "its beeper sounds below", "Ω", "50", more=True),
    Field(
        "ac", "its AC volts", value="yes", more=True,
        options=(("yes", "2 V range or finer"), ("no", "no such range")),
    ),
)  # fmt: skip
_LABELS = {field.name: field.label for field in FIELDS}
assert set(SWITCHES) == {"toggle", "ring"}


def chosen(texts: Mapping[str, str]) -> SheetOptions:
    """The options that were typed. Raises FieldError."""
    ohm = _number(texts, "meter_r", "ohm", 1e4, 1e12, "10 kΩ to 1 TΩ")
    beeps = _number(texts, "beeps", "ohm", 1, 1000, "1 to 1000 Ω")
    percent = _number(texts, "percent", "", 0, 20, "0 to 20 %")
    sides = [_number(texts, side, "", 5, 500, "5 to 500 mm") for side in ("width", "height") if texts[side]]
    if len(sides) == 1:
        missing = "width" if texts["height"] else "height"
        raise FieldError(missing, f"{_LABELS[missing]}: it is empty; allowed is 5 to 500 mm, or both sides empty.")
    meter = Meter(input_ohm=ohm, counts=int(texts["counts"]), accuracy=percent / 100)
    try:
        prices = read_prices(currency=texts["currency"])
    except PriceError as error:
        raise FieldError("currency", str(error)) from None
    try:
        return SheetOptions(
            layout=Options(texts["method"], board=tuple(sides) or None),
            pins=texts["pins"],
            schottky=texts["schottky"] == "yes",
            switch=texts["switch"],
            meter=meter if texts["ac"] == "yes" else replace(meter, ac_ranges=()),
            beeps_below=beeps,
            prices=prices,
        )
    except LayoutError as error:
        raise FieldError("", str(error)) from None


def _number(texts: Mapping[str, str], name: str, unit: str, low: float, high: float, allowed: str) -> float:
    try:
        value = parse(texts[name], unit, what=_LABELS[name])
    except QuantityError as error:
        raise FieldError(name, str(error)) from None
    if not low <= value <= high:
        raise FieldError(name, f"{_LABELS[name]}: {texts[name]} is out of range; allowed is {allowed}.")
    return value


class Settings:
    """The form, what it says now, and the sheets made with it; `widget` stands beside the chapter's controls."""

    def __init__(self, state: PageState) -> None:
        self._state = state
        self._keep: Callable[[Mapping[str, str]], None] = lambda texts: None
        self.widget = Form("What they are", FIELDS, "use these", self._use, "switch, legs, size, meter")
        self.options = chosen(self.widget.values)
        self._sheets: list[LazySheet] = []

    def sheet(self, chain: SignalChain) -> LazySheet:
        """The chain's sheet with these settings; the last few are kept."""
        for made in self._sheets:
            if made.chain == chain:
                return made
        self._sheets = [*self._sheets[-3:], LazySheet(chain, self.options)]
        return self._sheets[-1]

    def kept_in(self, keepsake: Keepsake) -> None:
        """Keep what was chosen in the visitor's browser, and take from there what was kept."""
        self._keep = lambda texts: keepsake.keep("build", dict(texts))
        keepsake.use("build", self._given)

    def _use(self, texts: Mapping[str, str]) -> str:
        options = chosen(texts)
        self._keep(texts)
        self._take(options)
        return "Board, readings and prices below are for these."

    def _given(self, texts: Mapping[str, str]) -> None:
        before = dict(self.widget.values)
        self.widget.fill(texts)
        try:
            self._take(chosen(self.widget.values))
        except FieldError:  # kept by another version of the page
            self.widget.fill(before)

    def _take(self, options: SheetOptions) -> None:
        self.options, self._sheets = options, []
        self._state.settled += 1
