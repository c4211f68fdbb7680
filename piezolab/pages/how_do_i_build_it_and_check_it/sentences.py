"""What the page on building and checking says: verdict, readings, what first power tells and what it cannot."""

from __future__ import annotations

from piezolab.pages.kit.blocks import paragraphs, table
from piezolab.quantity import show
from piezolab.sheets.build_steps import BuildStep
from piezolab.sheets.meter_steps import caution_of_battery
from piezolab.sheets.ranges import ohms, volts
from piezolab.sheets.sheet_data import SheetData
from piezolab.sheets.tables import NOT_PRICED, PartRow, lane_rows, part_rows, total
from piezolab.sheets.words import fed_by, lane_name, whose_part
from piezolab.studies.metering.board_under_meter import CLIP
from piezolab.studies.metering.expected import LaneVolts
from piezolab.studies.metering.first_power import FaultBand, OtherTest
from piezolab.studies.metering.first_power_faults import Fault
from piezolab.studies.metering.tone_on_board import COUPLING_F, TONE_HZ, TONE_V_RMS

NO_STAGE = "This chain has no stage: there is nothing to power."
NOTHING = (
    "There is no stage to build: the disc's lead goes straight to the jack. Solder four joints, check them with the "
    "beeper, and measure what you have."
)
BATTERY = "Before the checks below a mistake can short the battery: it heats fast and can burst."
PLUG_IN = "When you plug in at last: phantom power off, volume down, headphones off; power on before volume up."
_VERDICTS = {
    "low": "too little: find it by ohms",
    "high": "too much: find the short",
    "full": "a dead short",
    "harmless": "works as well: drain and source may be exchanged",
}
_LEGS = {"low": "too little: legs or joints", "high": "too much: legs"}


def place(lane: str, adapter: bool = False) -> str:
    """A lane in words, the clip among them, or an adapter's socket."""
    return fed_by("battery clip", adapter) if lane == CLIP else lane_name(lane, adapter)


# -- what moves with the chain ------------------------------------------------------------------------------------
def verdict(sheet: SheetData) -> str:
    """What there is to build, and the first thing that the meter should show."""
    power = sheet.power
    if power is None:
        return NOTHING
    count = len(sheet.items)
    board = "no board of this kind holds them" if sheet.layout is None else sheet.layout.method.title
    reading = f"At first power the {show(power.series_ohm, 'ohm', 1)} resistor should show {volts(power.healthy)}"
    wait = f", after {waiting(power.wait_s)}" if power.wait_s >= 1 else ""
    return f"{count} parts; {board}. {reading}{wait}."


def advice(sheet: SheetData) -> list[str]:
    """What to know before the iron gets hot."""
    if sheet.power is None:
        return []
    said = [sheet.layout_problem] if sheet.layout_problem else []
    if not sheet.chain.transistor_measured:
        said.append(
            f"The ranges are for 98 of 100 {sheet.chain.type_number}s; “Will this transistor do?” narrows them to "
            "yours."
        )
    return said


def first_power_misses(sheet: SheetData) -> str:
    """How many faults this test does not show; "" where it shows all."""
    unseen = len(sheet.power.unseen) if sheet.power is not None else 0
    if not unseen:
        return ""
    return (
        f"First power cannot tell {unseen} of {len(sheet.power.faults)} single faults: do not leave out the ohms with "
        "the power off."
    )


def waiting(seconds: float) -> str:
    """A waiting time."""
    if seconds < 1:
        return "a second"
    return f"{seconds:.0f} s" if seconds < 100 else f"{seconds / 60:.0f} min"


def readings_label(sheet: SheetData) -> str:
    """The figure in words."""
    told = "; ".join(f"{place(row.lane, sheet.adapter)} {_typically(row)}" for row in sheet.volts)
    return f"What your meter should show, DC volts to ground: {told}."


# -- numbers ------------------------------------------------------------------------------------------------------
def numbers(sheet: SheetData) -> str:
    """The build in figures."""
    power = sheet.power
    if power is None:
        return ""
    board = "–" if sheet.layout is None else f"{sheet.layout.width:.1f} × {sheet.layout.height:.1f} mm"
    end, fresh = power.clip_v
    rows = [
        ("parts on the board", str(len(sheet.items))),
        ("board", board),
        (f"supply, {'5 % either way' if sheet.adapter else 'spent to fresh'}", f"{end:.1f} to {fresh:.1f} V"),
        ("first power: a healthy board shows", volts(power.healthy)),
        ("first power: a typical one", show(power.healthy.typical, "V")),
    ]
    return table(("", "this build"), rows)


def price_of(sheet: SheetData) -> str:
    """What all parts cost together."""
    prices = sheet.prices
    return prices.show(total(part_rows(sheet))) + (" (demo prices, invented)" if prices.invented else "")


# -- parts and lanes ----------------------------------------------------------------------------------------------
def parts(sheet: SheetData) -> str:
    """The parts list with marking, note and price."""
    prices = sheet.prices
    head = ("part", "what", "value", "marking", f"{prices.currency} each", "note")
    caption = f"Together {price_of(sheet)}. One of each, where nothing else is said."
    note = "Electrolytic capacitors: the long lead is +, the stripe −."
    return table(head, [_part(row) for row in part_rows(sheet)], caption) + paragraphs(note if sheet.powered else "")


def _part(row: PartRow) -> tuple[str, ...]:
    what = f"{row.count} × {row.what}" if row.count > 1 else row.what
    price = NOT_PRICED if row.price is None else f"{row.price:.2f}"
    return row.reference, what, row.value, row.marking, price, row.note


def lanes(sheet: SheetData) -> str:
    """What lands on each lane."""
    return table(("lane", "leads that land on it"), lane_rows(sheet), "Each node of the circuit is one lane.")


# -- first power --------------------------------------------------------------------------------------------------
def beware(sheet: SheetData) -> list[str]:
    """Before any battery meets the board."""
    own = caution_of_battery(sheet)
    said = [BATTERY, *([own] if own.rpartition(": ")[2] not in BATTERY else [])]
    if sheet.power is not None and sheet.power.short is not None:
        said.append("The resistor below makes every mistake harmless: do not leave it out.")
    if sheet.chain.supply == "adapter":
        said = ["Use a closed adapter with the mark of a test house. Never open it. Warm: pull it from the outlet."]
    jack = "Nothing plugged into the jack yet"
    if sheet.build.ring:
        jack = "The plug that switches on has nothing at its other end yet"
    return [*said, f"{jack}; glasses on; for later: volume down, headphones off."]


def faults(sheet: SheetData) -> str:
    """Every single short and every wrong order of legs: what the resistor shows, and what that tells."""
    power = sheet.power
    if power is None:
        return paragraphs(NO_STAGE)
    feed, contacts = ("adapter", "socket") if sheet.adapter else ("battery", "clip")
    rows = [tuple(fed_by(told, sheet.adapter) for told in _fault_row(band)) for band in power.faults]
    said = f"A healthy board shows {volts(power.healthy)}; at too little or too much switch off at once."
    if not power.full_is_clear:
        said += (
            f" That can be nearly all the {feed} has: this test cannot tell a dead short from it. The ohms at the "
            f"{contacts} can."
        )
    head = ("what is wrong", "the resistor shows", "what that tells")
    return paragraphs(said) + table(head, rows)


def _fault_row(band: FaultBand) -> tuple[str, str, str]:
    return _fault(band), volts(band.band), _tells(band)


def _fault(band: FaultBand) -> str:
    fault = band.fault
    if fault.kind == "short":
        return f"short from {place(fault.a)} to {place(fault.b)}"
    return f"legs {' '.join(fault.order)} in the places of D G S"


def _tells(band: FaultBand) -> str:
    if band.verdict in _VERDICTS:
        told = _VERDICTS[band.verdict]
        return told if band.fault.kind == "short" else _LEGS.get(band.verdict, told)
    return "cannot tell" + ("; " + _other(band.test, band.fault) if band.test is not None else "")


def _other(test: OtherTest, fault: Fault) -> str:
    if test.kind == "transistor" or test.sound is None or test.faulty is None:
        return "the transistor by itself, out of the board, can"
    if test.kind == "ohms":
        there = {test.a, test.b} == {fault.a, fault.b}  # the row's own lanes
        where = "" if there else f" from {place(test.a)} to {place(test.b)}"
        return f"ohms{where}, power off, can: {ohms(test.faulty)}; sound {ohms(test.sound)}"
    return f"DC volts on {place(test.a)} can: {volts(test.faulty)}, and {volts(test.sound)} on a healthy board"


# -- power on -----------------------------------------------------------------------------------------------------
def power_on(sheet: SheetData) -> list[BuildStep]:
    """One reading a step: DC volts of each lane, then AC volts with the tone."""
    steps = []
    for row in sheet.volts:
        told = f"{place(row.lane, sheet.adapter)} to ground: {_typically(row)}."
        if row.loaded:
            told += f" The meter itself lowers it: {row.unloaded:.2f} V without."
        steps.append(BuildStep(told))
    heard = [row for row in sheet.tone if row.resolved]
    for n, row in enumerate(heard):
        told = f"Tone on, AC volts, {place(row.lane, sheet.adapter)} to ground: {volts(row.expected)}."
        caution = "Loudspeaker down and headphones off while you probe." if n == 0 else ""
        steps.append(BuildStep(told, caution))
    return steps


def _typically(row: LaneVolts) -> str:
    told = volts(row.expected)
    return told if told == "0 V" else f"{told}, typically {row.expected.typical:.2f} V"


def power_on_above(sheet: SheetData) -> str:
    """How to read the volts, and what the tone is."""
    meter = sheet.build.meter
    holds = "within 5 % of the adapter" if sheet.adapter else "from a spent to a fresh battery"
    said = [
        f"Black on ground, the lane named with red. Your meter of {show(meter.input_ohm, 'ohm', 2)} is attached in "
        f"these figures; they hold {holds}, with 1 % resistors, for "
        f"{whose_part(sheet.chain)}.",
    ]
    unheard = [place(row.lane, sheet.adapter) for row in sheet.tone if not row.resolved]
    if not sheet.tone_shows:
        said.append("This meter has no AC range that could show the tone: leave that test to your ears.")
    else:
        said.append(
            f"The tone: {TONE_HZ:.0f} Hz from the button below, out of the phone's or computer's headphone socket, "
            f"set to {show(TONE_V_RMS, 'V')} on the AC range; then through "
            f"{show(COUPLING_F, 'F', 2)} onto the gate lane."
        )
    if unheard:
        said.append(f"Too small for this meter: {', '.join(unheard)}.")
    return paragraphs(*said)


def drawing(svg: str, *more: str) -> str:
    """A drawing as on paper, whichever colours the page has."""
    return f'<div class="pz-scroll"><div class="pz-paper">{svg}{"".join(more)}</div></div>'


def matrix(rows: tuple[tuple[str, ...], tuple[tuple[str, ...], ...]], whom: str) -> str:
    """Ohms between lanes. whom: which transistors they hold for."""
    names, cells = rows
    head = ("red ↓ black →", *(lane_name(lane) for lane in names))
    body = [(lane_name(lane), *row) for lane, row in zip(names, cells, strict=True)]
    caption = f"Ohms, power off; healthy board, {whom}, on the lowest range that shows a number; 1.: over range."
    return table(head, body, caption)


__all__ = [
    "BATTERY", "PLUG_IN", "NOTHING", "NO_STAGE", "advice", "beware", "drawing", "faults", "lanes", "matrix",
    "numbers", "parts", "place", "power_on", "power_on_above", "readings_label", "verdict", "waiting",
]  # fmt: skip
