"""Everything that a build sheet says, as numbers, for the page, the print and the JSON."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from functools import cached_property
from typing import Any

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.assembly import Assembly, assemble
from piezolab.chain.link import to_query
from piezolab.sheets.board_figures import board_figures
from piezolab.sheets.prices import Prices, read_prices
from piezolab.sheets.what_and_why import what_and_why
from piezolab.sheets.words import lane_name
from piezolab.studies.board.layout import Layout, LayoutError, Options, layout, smallest_sentence
from piezolab.studies.board_as_built import BoardAsBuilt
from piezolab.studies.build_options import SHEET_KEYS
from piezolab.studies.figures import plain
from piezolab.studies.led import Led, LedError, led
from piezolab.studies.metering.board_under_meter import BoardUnderMeter, under_meter
from piezolab.studies.metering.expected import (
    Expected,
    LaneOhms,
    LaneVolts,
    TransistorCheck,
    jig_volts,
    meter_ohms,
    meter_volts,
    transistor_check,
)
from piezolab.studies.metering.first_power import FirstPower, first_power
from piezolab.studies.metering.tone_on_board import Exchange, ToneVolts, exchange, tone_volts
from piezolab.studies.shopping import Item, other_types, shopping

JIG_OHM = (330.0, 4.7e3)


class SheetData:
    """One chain's sheet: each part is asked of the studies when something first looks at it, and once.

    A page shows some of it, the print all. The measured half (volts to exchange) is empty or None with no stage.
    """

    def __init__(
        self, chain: SignalChain, build: BoardAsBuilt | None = None, prices: Prices | None = None,
        search: Callable[[SignalChain, Options], Layout | None] = layout,
    ) -> None:
        """prices: of the parts list, those of the demonstration if None; search: finds the layout.

        Raises PriceError."""
        self._search = search
        self.chain = chain
        self.build = build or BoardAsBuilt()
        self.prices = prices or read_prices(currency=self.build.currency)

    @property
    def powered(self) -> bool:
        """Whether there is a stage to build."""
        return self.chain.topology.powered

    @property
    def adapter(self) -> bool:
        """Whether an adapter feeds the board, through a socket."""
        return self.powered and self.chain.supply == "adapter"

    def lane(self, node: str) -> str:
        """The lane of a node, in words."""
        return lane_name(node, self.adapter)

    @property
    def phantom(self) -> bool:
        """Whether an input of the chain can send phantom power up the cable."""
        return any(catalogue.inputs()[kind].phantom for kind in self.chain.input)

    @property
    def tone_shows(self) -> bool:
        """Whether there is a tone to read: a stage, and a meter with an AC range."""
        return self.powered and self.build.reads_ac

    @property
    def legs(self) -> str:
        """The transistor's legs as drawn, left to right; of several transistors, each with its name."""
        legs = self.board_options.legs
        drawn = {part.name: " ".join(legs(part)) for part in self.assembly.parts if part.kind == "jfet"}
        return ", ".join(f"{name} {order}" if len(drawn) > 1 else order for name, order in drawn.items())

    @cached_property
    def what_and_why(self) -> str:
        """What to build and why, in a sentence."""
        return what_and_why(self.chain)

    @cached_property
    def assembly(self) -> Assembly:
        """The chain's parts and nodes."""
        return assemble(self.chain.values)

    @cached_property
    def items(self) -> tuple[Item, ...]:
        """The board's parts, to buy."""
        return shopping(self.chain)

    @cached_property
    def types(self) -> tuple[str, ...]:
        """Transistor types of which nearly every part fits."""
        return other_types(self.chain)

    @cached_property
    def board_options(self) -> Options:
        """What the layout was asked for."""
        return self.build.layout(self.chain)

    @cached_property
    def _board(self) -> tuple[Layout | None, str]:
        try:
            board = self._search(self.chain, self.board_options)
        except LayoutError as error:
            return None, str(error)
        fits = board is None or board.fits
        return board, "" if fits else smallest_sentence(board, self.board_options.board)

    @property
    def layout(self) -> Layout | None:
        """The board; None with nothing to put on it, or where it cannot be made."""
        return self._board[0]

    @property
    def layout_problem(self) -> str:
        """Why there is no layout, or why it does not fit; "" where all is well."""
        return self._board[1]

    @cached_property
    def _light(self) -> tuple[Led | None, str]:
        if not self.powered or not self.build.lit:
            return None, ""
        try:
            return led(self.chain, self.build.led, self.build.guarded), ""
        except LedError as error:
            return None, str(error)

    @property
    def led(self) -> Led | None:
        """The light; None where none is wanted or can be lit."""
        return self._light[0]

    @property
    def led_problem(self) -> str:
        """Why the light that is wanted cannot be lit; "" where all is well."""
        return self._light[1]

    @cached_property
    def _under_meter(self) -> BoardUnderMeter | None:
        return under_meter(self.chain, self.build.guarded, led=self.led) if self.powered else None

    @cached_property
    def volts(self) -> tuple[LaneVolts, ...]:
        """DC volts of each lane."""
        return meter_volts(self._under_meter, self.build.meter) if self._under_meter else ()

    @cached_property
    def ohms(self) -> tuple[LaneOhms, ...]:
        """Ohms between lanes, power off."""
        beeps = self.build.beeps_below
        return meter_ohms(self._under_meter, self.build.meter, beeps_below=beeps) if self._under_meter else ()

    @cached_property
    def tone(self) -> tuple[ToneVolts, ...]:
        """AC volts of each lane with the tone; none where the meter reads none."""
        return tone_volts(self._under_meter, self.build.meter) if self._under_meter and self.tone_shows else ()

    @cached_property
    def power(self) -> FirstPower | None:
        """The test through the resistor."""
        build = self.build
        return first_power(self.chain, build.guarded, build.meter, self.led) if self.powered else None

    @cached_property
    def transistor(self) -> TransistorCheck | None:
        """The transistor by itself."""
        return transistor_check(self.chain, self.build.meter) if self.powered else None

    @cached_property
    def jig(self) -> tuple[Expected, Expected] | None:
        """Volts across the two resistors of the jig."""
        return jig_volts(self.chain, *JIG_OHM, self.build.meter) if self.powered else None

    @cached_property
    def exchange(self) -> Exchange | None:
        """What exchanging drain and source would change."""
        return exchange(self.chain)


def sheet_figures(data: SheetData) -> dict[str, Any]:
    """The sheet as plain dicts, lists and numbers in SI units (mm for the board); no range is null, not infinity.

    `build` holds the options by the keys of `build_options.OPTIONS`, what stands for one left out among them.
    """
    board = data.layout
    return plain(
        {
            "link": to_query(data.chain),
            "stage": data.chain.stage,
            "what_and_why": data.what_and_why,
            "build": _build(data),
            "method": data.build.method,
            "switch": data.build.switch,
            "series_diode": data.build.guarded,
            **_light(data),
            "parts": [{**asdict(item), "off": item.off} for item in data.items],
            "prices": {"currency": data.prices.currency, "invented": data.prices.invented},
            "other_types": list(data.types),
            "board": None if board is None else board_figures(board),
            "board_problem": data.layout_problem or None,
            "volts": [_volts(each) for each in data.volts],
            "ohms": [
                {"red": each.red, "black": each.black, **_range(each.expected, "ohm"), "beeps": each.beeps}
                for each in data.ohms
            ],
            "tone": [
                {"lane": each.lane, **_range(each.expected, "v_rms"), "resolved": each.resolved} for each in data.tone
            ],
            "transistor": None
            if data.transistor is None
            else {
                "junction": _range(data.transistor.junction, "v"),
                "channel": _range(data.transistor.channel, "ohm"),
                "channel_exchanged": _range(data.transistor.exchanged, "ohm"),
                "jig": [
                    {"source_resistor_ohm": ohm, **_range(volt, "v")}
                    for ohm, volt in zip(JIG_OHM, data.jig or (), strict=True)
                ],
                "drain_and_source_exchanged": asdict(data.exchange) if data.exchange else None,
            },
            "first_power": _power(data.power),
        }
    )


def _build(data: SheetData) -> dict[str, Any]:
    values = {**data.build.values, "currency": data.prices.currency, "pins": data.board_options.pins}
    return {key: values[key] for key in SHEET_KEYS}


def _light(data: SheetData) -> dict[str, Any]:
    light, why = data.led, data.led_problem or None
    if light is None:
        return {"led": None, "led_problem": why}
    figures = {"colour": light.colour, "drop_v": light.drop_v, "resistor_ohm": light.ohm, "current_a": light.ampere}
    return {"led": {**figures, "in_other_current": light.counted}, "led_problem": why}


def _range(expected: Expected, unit: str) -> dict[str, Any]:
    found: dict[str, Any] = {f"{end}_{unit}": getattr(expected, end) for end in ("low", "typical", "high")}
    return {**found, "tells_nothing": True} if expected.silent else found


def _volts(each: LaneVolts) -> dict[str, Any]:
    return {"lane": each.lane, **_range(each.expected, "v"), "unloaded_v": each.unloaded, "meter_lowers": each.loaded}


def _power(power: FirstPower | None) -> dict[str, Any] | None:
    if power is None:
        return None
    return {
        "series_ohm": power.series_ohm,
        "watt": power.watt,
        "wait_s": power.wait_s,
        "healthy": _range(power.healthy, "v"),
        "reversed": _range(power.reversed, "v"),
        "clip_ohms_off": _range(power.clip_off, "ohm"),
        "clip_ohms_on": _range(power.clip_on, "ohm"),
        "clip_ohms_on_reversed": _range(power.clip_on_reversed, "ohm"),
        "dead_short": asdict(power.short) if power.short else None,
        "faults": [
            {
                "kind": band.fault.kind,
                "lanes": [band.fault.a, band.fault.b] if band.fault.kind == "short" else None,
                "legs": band.fault.order or None,
                **_range(band.band, "v"),
                "verdict": band.verdict,
                "test": None if band.test is None else _test(band.test),
            }
            for band in power.faults
        ],
    }


def _test(test: Any) -> dict[str, Any]:
    unit = "ohm" if test.kind == "ohms" else "v"
    return {
        "kind": test.kind,
        "lanes": [lane for lane in (test.a, test.b) if lane],
        "sound": _range(test.sound, unit) if test.sound else None,
        "faulty": _range(test.faulty, unit) if test.faulty else None,
    }

