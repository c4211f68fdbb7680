"""Everything that a build sheet says, as numbers: asked of the studies once, for the page, the print and the JSON."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, replace
from typing import Any

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.assembly import GROUND, Assembly, assemble
from piezolab.chain.link import to_query
from piezolab.sheets.prices import Prices, read_prices
from piezolab.studies.board.layout import Layout, LayoutError, Options, layout, smallest_sentence
from piezolab.studies.figures import plain
from piezolab.studies.metering.board_under_meter import under_meter
from piezolab.studies.metering.expected import (
    BEEPS_BELOW,
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
from piezolab.studies.metering.instrument import Meter
from piezolab.studies.metering.tone_on_board import Exchange, ToneVolts, exchange, tone_volts
from piezolab.studies.shopping import Item, other_types, shopping

SWITCHES = {"toggle": "a switch in the battery's + lead", "ring": "the jack's ring contact"}
JIG_OHM = (330.0, 4.7e3)


@dataclass(frozen=True)
class SheetOptions:
    """What the maker chooses beside the chain. Raises LayoutError on an unknown switch.

    layout: how the board is made; schottky: a diode against a reversed battery; switch: key of SWITCHES; meter and
    beeps_below (ohm): the meter; prices: of the parts list; pins: order of the transistor's legs, which stands above
    the layout's, "" for the order that its type usually has.
    """

    layout: Options = field(default_factory=Options)
    schottky: bool = True
    switch: str = "toggle"
    meter: Meter = field(default_factory=Meter)
    beeps_below: float = BEEPS_BELOW
    prices: Prices = field(default_factory=read_prices)
    pins: str = ""

    def __post_init__(self) -> None:
        if self.pins:
            Options(pins=self.pins)  # refuses what is no order of legs
        if self.switch not in SWITCHES:
            raise LayoutError(f"switch: {self.switch!r} is not known; allowed is {' or '.join(SWITCHES)}.")
        if not 1 <= self.beeps_below <= 1000:
            raise LayoutError(f"beeper: {self.beeps_below:g} ohm is out of range; allowed is 1 to 1000 ohm.")

    def board(self, chain: SignalChain) -> Options:
        """The layout's options for a chain's own transistor."""
        seen = catalogue.transistors()[chain.jfet].pins_seen if chain.topology.powered else ()
        usual = next((order for order in seen if sorted(order.split()) == ["D", "G", "S"]), self.layout.pins)
        return replace(self.layout, pins=self.pins or usual)


@dataclass(frozen=True)
class SheetData:
    """One chain's sheet. The measured half (volts to exchange) is empty or None with no stage.

    layout_problem: why there is no layout, or why it does not fit.
    """

    chain: SignalChain
    options: SheetOptions
    assembly: Assembly
    items: tuple[Item, ...]
    types: tuple[str, ...]
    layout: Layout | None
    layout_problem: str
    volts: tuple[LaneVolts, ...] = ()
    ohms: tuple[LaneOhms, ...] = ()
    tone: tuple[ToneVolts, ...] = ()
    power: FirstPower | None = None
    transistor: TransistorCheck | None = None
    jig: tuple[Expected, Expected] | None = None
    exchange: Exchange | None = None

    @property
    def powered(self) -> bool:
        """Whether there is a stage to build."""
        return self.assembly.stage.powered

    @property
    def phantom(self) -> bool:
        """Whether an input of the chain can send phantom power up the cable."""
        return any(catalogue.inputs()[kind].phantom for kind in self.chain.input)


def sheet_data(chain: SignalChain, options: SheetOptions | None = None) -> SheetData:
    """Asks every study that the sheet needs. A layout that cannot be made is said, not raised."""
    options = options or SheetOptions()
    options = replace(options, layout=options.board(chain))
    assembly = assemble(chain.values)
    problem, board = "", None
    try:
        board = layout(chain, options.layout)
    except LayoutError as error:
        problem = str(error)
    if board is not None and not board.fits:
        problem = smallest_sentence(board, options.layout.board)
    if not chain.topology.powered:
        return SheetData(chain, options, assembly, (), (), board, problem)
    built = under_meter(chain, options.schottky)
    return SheetData(
        chain,
        options,
        assembly,
        shopping(chain),
        other_types(chain),
        board,
        problem,
        meter_volts(built, options.meter),
        meter_ohms(built, options.meter, beeps_below=options.beeps_below),
        tone_volts(built, options.meter),
        first_power(chain, options.schottky, options.meter),
        transistor_check(chain),
        jig_volts(chain, *JIG_OHM, options.meter),
        exchange(chain),
    )


def sheet_figures(data: SheetData) -> dict[str, Any]:
    """The sheet as plain dicts, lists and numbers in SI units (mm for the board); no range is null, not infinity."""
    board = data.layout
    return plain(
        {
            "link": to_query(data.chain),
            "stage": data.chain.stage,
            "method": data.options.layout.method,
            "switch": data.options.switch,
            "series_diode": data.options.schottky,
            "parts": [{**asdict(item), "off": item.off} for item in data.items],
            "prices": {"currency": data.options.prices.currency, "invented": data.options.prices.invented},
            "other_types": list(data.types),
            "board": None
            if board is None
            else {
                "width_mm": board.width,
                "height_mm": board.height,
                "fits": board.fits,
                "columns": board.columns,
                "lanes": [
                    {"node": lane.node, "strips_mm": lane.strips, "links_mm": lane.links, "leads": lane.leads}
                    for lane in board.lanes
                ],
                "parts": [
                    {"name": part.name, "lanes": part.lanes, "labels": part.labels, "leads_mm": part.leads}
                    for part in board.parts
                ],
                "sleeved": list(board.sleeved),
            },
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
                "jig": [
                    {"source_resistor_ohm": ohm, **_range(volt, "v")}
                    for ohm, volt in zip(JIG_OHM, data.jig or (), strict=True)
                ],
                "drain_and_source_exchanged": asdict(data.exchange) if data.exchange else None,
            },
            "first_power": _power(data.power),
        }
    )


def _range(expected: Expected, unit: str) -> dict[str, float]:
    return {f"low_{unit}": expected.low, f"typical_{unit}": expected.typical, f"high_{unit}": expected.high}


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


__all__ = ["GROUND", "JIG_OHM", "SWITCHES", "SheetData", "SheetOptions", "sheet_data", "sheet_figures"]
