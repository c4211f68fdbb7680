"""The sheet's tables as rows of text: parts, lanes, readings."""

from __future__ import annotations

from dataclasses import dataclass

from piezolab import catalogue
from piezolab.chain.parts import GROUND
from piezolab.quantity import QuantityError, colour_bands, letter_code, show, three_digit_code
from piezolab.sheets.ranges import ohms, ohms_cell, volts
from piezolab.sheets.sheet_data import JIG_OHM, SheetData
from piezolab.sheets.wiring_svg import box_inside
from piezolab.sheets.words import fed_by, part_name
from piezolab.studies.board.tape_list import tape_length
from piezolab.studies.metering.tone_on_board import COUPLING_F
from piezolab.studies.prices import Prices
from piezolab.studies.shopping import Item

RESISTOR_PERCENT = 1.0
NOT_PRICED = "not priced"
FIGURES = 3  # of a 1 % resistor's bands
_DISCS = {
    "1": "ceramic (centre) is hot, brass is screen",
    "2p": "both ceramics hot, both brasses screen",
    "2px": "1: ceramic hot, brass screen; 2 the other way",
    "2s": "1: ceramic hot, brass to ceramic of 2; 2: brass screen",
    "2sx": "1: ceramic hot, brass to brass of 2; 2: ceramic screen",
}

_LEADS = {"one": "one core; screen to ground", "two": "two cores; screen joined at the board only"}


@dataclass(frozen=True)
class PartRow:
    """One line of the parts list. bands: colours of a resistor; price: None where it has none."""

    reference: str
    what: str
    value: str
    marking: str
    note: str
    count: int
    price: float | None
    bands: tuple[str, ...] = ()


def part_rows(data: SheetData) -> tuple[PartRow, ...]:
    """What to buy: the board's parts, then all that goes with it."""
    prices = data.prices
    return (*(_part_row(data, item) for item in data.items), *_light(data), *_hardware(data, prices))


def total(rows: tuple[PartRow, ...]) -> float:
    """What the rows with a price cost together."""
    return sum(row.price * row.count for row in rows if row.price is not None)


def lane_rows(data: SheetData) -> tuple[tuple[str, str], ...]:
    """Each lane with everything that lands on it; the two wires of a lane apart by a comma."""
    if data.layout is None:
        return ()
    rows = []
    for lane in data.layout.lanes:
        names = [(fed_by(part_name(name), data.adapter), label) for name, label in lane.leads]
        leads = [f"{name}{f' {label}' if label else ''}".replace("-", "−") for name, label in names]
        rows.append((data.lane(lane.node), ", ".join(leads)))
    return tuple(rows)


def reading_rows(data: SheetData) -> tuple[tuple[str, str, str, str, str], ...]:
    """Lane, ohms to ground with red on it, with black on it, DC volts, AC volts with the tone."""
    to_ground = {each.red: each for each in data.ohms if each.black == GROUND}
    from_ground = {each.black: each for each in data.ohms if each.red == GROUND}
    tones = {each.lane: each for each in data.tone}
    rows = []
    for each in data.volts:
        if each.lane not in to_ground:
            continue
        tone = tones.get(each.lane)
        note = " *" if each.loaded else ""
        rows.append(
            (
                data.lane(each.lane),
                ohms(to_ground[each.lane].expected),
                ohms(from_ground[each.lane].expected),
                volts(each.expected) + note,
                volts(tone.expected) if tone is not None and tone.resolved else "too small",
            )
        )
    return tuple(rows)


def ohm_matrix(data: SheetData) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Lanes, and for each the ohms with red on it and black on each of the others (`-` on itself)."""
    lanes = tuple(dict.fromkeys(each.red for each in data.ohms))
    found = {(each.red, each.black): each.expected for each in data.ohms}
    return lanes, tuple(
        tuple("–" if red == black else ohms_cell(found[red, black]) for black in lanes) for red in lanes
    )


def beeping_pairs(data: SheetData) -> tuple[tuple[str, str], ...]:
    """Pairs of lanes at which the beeper sounds on a healthy board, each once."""
    pairs = {tuple(sorted((each.red, each.black))) for each in data.ohms if each.beeps}
    return tuple(sorted(pairs))


def _part_row(data: SheetData, item: Item) -> PartRow:
    prices = data.prices.of
    name, note = part_name(item.name), []
    if item.kind == "transistor":
        kind = catalogue.transistors()[data.chain[item.key]]
        if data.chain.measured(item.key):
            idss, off = show(data.chain[f"{item.key}_idss"], "A", 2), show(data.chain[f"{item.key}_vgsoff"], "V", 3)
            note.append(f"yours, measured: I_DSS {idss}, V_GS(off) {off}")
        seen = ", ".join(kind.pins_seen)
        note.append(f"legs seen: {seen}; {kind.pin_note}" if seen else kind.pin_note)
        return PartRow(name, item.label, kind.type_number, "printed", "; ".join(note), 1, prices.get("transistor"))
    if item.kind == "clamp":
        return _clamp_row(data, item)
    unit = "ohm" if item.kind == "resistor" else "F"
    value, bands, marking = item.preferred or 0.0, (), ""
    if abs(item.off) > 0.005:
        designed = letter_code(float(f"{item.value:.4g}"), unit)
        note.append(f"nearest preferred to {designed} ({item.off * 100:+.0f} %)")
    if item.kind == "resistor":
        try:
            bands = colour_bands(value, RESISTOR_PERCENT, FIGURES)
            marking = " ".join(bands)
        except QuantityError:
            marking = "printed"
        note.append(f"{RESISTOR_PERCENT:g} %, {item.watt:g} W" + (", at the input" if "pad" in item.name else ""))
    elif item.kind == "film":
        try:
            marking = three_digit_code(value)
        except QuantityError:
            marking = "printed"
        note.append(f"film, {item.rating_v:g} V or more, either way round")
    elif item.kind == "bipolar":
        marking = "printed"
        note.append(f"bipolar or film, {item.rating_v:g} V or more, never polarised ("
                    f"{'phantom power' if data.phantom else 'the input feeds the plug'})")
    else:
        marking = "printed"
        note.append(f"electrolytic, {item.rating_v:g} V or more; + to {data.lane(item.positive)}")
    code = letter_code(value, unit) if value else "0"
    return PartRow(name, item.label, code, marking, "; ".join(note), 1, prices.get(item.kind), bands)


def _clamp_row(data: SheetData, item: Item) -> PartRow:
    kind = catalogue.clamps()[data.chain.clamp_part]
    count, note = int(kind.pieces), kind.note
    if item.name != "D_pair":  # of rails
        count, note = 1, "k (the band) to the gate" if item.name == "D_low" else "k (the band) to the supply"
        if kind.junctions > 1:  # both in one case
            count, note = (1, "one for both rails, its middle to the gate") if item.name == "D_low" else (0, "see Dlow")
    return PartRow(part_name(item.name), item.label, kind.type_number, "printed", note, count,
                   data.prices.of.get("clamp"))  # fmt: skip


def _light(data: SheetData) -> list[PartRow]:
    """The LED and its resistor, where they are wanted."""
    if data.led is None:
        return []
    resistor, light = data.led.parts
    item = Item(resistor.name, resistor.label, "resistor", resistor.value, resistor.value, watt=0.25)
    note = f"about {light.value:g} V at {show(data.led.ampere, 'A', 1)}, assumed; the long leg is +, the flat side −"
    return [_part_row(data, item), PartRow("LED", "LED, 5 mm", data.led.colour, "", note, 1, data.prices.of.get("led"))]


def _hardware(data: SheetData, prices: Prices) -> list[PartRow]:
    """What is not on the schematic, or not on the board."""
    chain = data.chain
    rows: list[PartRow] = []

    def row(reference: str, what: str, value: str, note: str, price: str, count: int = 1, marking: str = "") -> None:
        rows.append(PartRow(reference, what, value, marking, note, count, prices.of.get(price)))

    capacitance = letter_code(float(f"{chain.pickup_c:.4g}"), "F")
    row("disc", "piezo disc", capacitance, _DISCS[chain.discs], "disc", 1 + (chain.discs != "1"))
    if chain.lead_m:
        row("lead", "screened lead", f"{chain.lead_m:g} m", _LEADS[data.build.lead], "wire")
    if data.powered and data.build.ring:
        row("jack", "jack 6.35 mm, stereo", "", fed_by("ring to battery −", data.adapter), "jack")
    else:
        row("jack", "jack 6.35 mm", "", "tip and sleeve", "jack")
        if data.powered:
            lugs = "; of three lugs the middle and an outer one"
            row("S1", "switch, one pole", "", fed_by("in the battery's + lead", data.adapter) + lugs, "switch")
    inside = box_inside(data)
    size = "" if inside is None else "inside {:.0f} × {:.0f} × {:.0f} mm or more, jack counted".format(*inside)
    box = ("box", "box", "", size, "box")
    foil = ("foil", "copper foil", "", "with glue that conducts", "foil")
    if not data.powered:
        row(*box), row(*foil), row("rest", "solder", "", "", "rest")
        return rows
    if data.build.guarded:
        note = "1 A; in the + lead, band to the board"
        row("D1", "Schottky diode", data.build.diode, note, "schottky", marking="printed")
    if data.adapter:
        row("supply", "mains adapter, DC", f"{chain.supply_v:g} V", "closed, with the mark of a test house", "adapter")
        row("socket", "DC socket, of plastic", "", "that fits the adapter's plug", "socket")
    else:
        row("B1", catalogue.batteries()[chain.supply].label, f"{chain.supply_v:g} V", "fresh", "battery")
        row("clip", "clip or holder", "", "red is +", "clip")
    if data.power is not None:
        code = letter_code(data.power.series_ohm, "ohm")
        row("test", "resistor, first power", code, f"{data.power.watt:g} W; not built in", "resistor")
    values = ", ".join(letter_code(ohm, "ohm") for ohm in JIG_OHM)
    row("jig", "resistors, transistor", values, "one of each; not built in", "resistor", len(JIG_OHM))
    if data.tone_shows:
        farad = letter_code(COUPLING_F, "F")
        row("tone", "capacitor, tone", farad, "film; not built in; to find a fault too", "film",
            marking=three_digit_code(COUPLING_F))  # fmt: skip
    method = data.layout.method.title if data.layout else data.build.method
    tape = tape_length(data.layout) if data.layout else 0
    row("board", method, f"{data.layout.method.width:g} mm" if tape else "",
        f"{tape / 1000:.2f} m; on {data.build.base}" if tape else "", "board")  # fmt: skip
    row(*box), row(*foil)
    row("rest", "wire, sleeving, solder", "", "stranded wire, two colours; a sheet of card", "rest")
    return rows
