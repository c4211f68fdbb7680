"""What is said of a board beside its drawing: why it is like this, what to sleeve, cut, link and bridge, in sentences
and rows."""

from __future__ import annotations

from piezolab.chain import SignalChain
from piezolab.quantity import show
from piezolab.sheets.lead_places import address, in_order_of_work
from piezolab.sheets.words import fed_by, lane_name, part_name, wire_name
from piezolab.studies.board.layout import Layout
from piezolab.studies.board.plugged_stray import plugged_stray
from piezolab.studies.board.tape_list import tape_length, tape_strips

_BASES = {
    "card": "Card chars: two seconds a joint.",
    "wood": "Plane dry wood leaks when damp: varnish it first.",
    "acrylic": "Acrylic softens under the iron: solder quickly, and let each joint cool.",
}


def why(layout: Layout) -> str:
    """Why this one of the layouts that were tried."""
    choice = layout.choice
    free = f", {choice.clean or 'none'} of them without a lead over foreign copper," if layout.method.one_face else ""
    ended = ", where the search was ended," if choice.stopped else ""
    return (
        f"Chosen from {choice.tried} layouts{ended}{free} for the least sum of size, sleeves and gate lane, which is "
        f"{choice.gate_mm:.0f} mm long and {choice.away_mm:.1f} mm from supply and output."
    )


def guard_words(layout: Layout, adapter: bool = False) -> str:
    """What guards a gate with a large resistor; "" where none is needed."""
    if not layout.wants_guard:
        return ""
    if layout.guard:
        return (
            f"So large a gate resistor wants a guard: the {lane_name(layout.guard, adapter)} lane runs beside the "
            "gate's from end to end. Clean off all flux between them."
        )
    return "So large a gate resistor wants a guard, and this board has none: keep it clean and dry."


def lead_notes(layout: Layout, adapter: bool = False) -> dict[tuple[str, int], str]:
    """What is to be done at a lead, by part and its number."""
    found: dict[tuple[str, int], str] = {}
    for crossing in layout.crossings:
        words = f"over {lane_name(crossing.node, adapter)}"
        for n in (0, 1) if crossing.lead < 0 else (crossing.lead,):
            found[crossing.part, n] = (f"card under the body, {words}" if crossing.lead < 0 else f"sleeve it, {words}")
    for part, n in layout.lengthened:
        found[part, n] = ", ".join(filter(None, (found.get((part, n)), "lengthen with wire")))
    return found


def doing(layout: Layout, base: str = "card", adapter: bool = False) -> list[str]:
    """What to do beside soldering, in order: cuts, links, bridges, sleeves."""
    said = []
    if layout.cuts:
        places = ", ".join(address(layout, cut) for cut in layout.cuts)
        said.append(f"Cut the strip at {places} before you solder; look through it against a light: no hair of copper.")
    links = [strip for lane in layout.lanes for strip in lane.links]
    if links:
        said.append(
            "Links: " + "; ".join(f"{address(layout, a)} to {address(layout, b)}" for a, b in links) + "."
        )
    if layout.method.key == "tape":
        how = "soldered onto the tape, tinned first" if layout.method.one_face else "through pricked holes, tape behind"
        said.append(
            f"Leads {how}. Each strip is one piece; where two ever meet, bridge them with solder: the adhesive does "
            f"not conduct (common practice, no source). {_BASES[base]}"
        )
    if layout.method.key == "wire":
        said.append("Below, a bare wire along each lane, soldered to every lead that lands on it.")
    notes = lead_notes(layout, adapter)
    told = [f"{part_name(part)} {_which(layout, part, n, adapter)}: {words}" for (part, n), words in notes.items()]
    if told:
        said.append(f"At these leads: {'; '.join(told)}.")
    return said


def _which(layout: Layout, name: str, n: int, adapter: bool) -> str:
    part = next(part for part in layout.parts if part.name == name)
    return part.labels[n].replace("-", "−") or f"on {lane_name(part.lanes[n], adapter)}"


def place_words(layout: Layout) -> str:
    """How a hole is named; "" on tape, which has none."""
    if layout.hole_a is not None:
        return "7c is row 7, hole c."
    if layout.grid is None:
        return ""
    return f"C7 is {'strip' if layout.method.key == 'stripboard' else 'row'} C, column 7, from the parts' side."


def lead_rows(layout: Layout, adapter: bool = False) -> list[tuple[str, str, str, str, str]]:
    """Every lead in the order of work: number, part, lane, where, what to heed."""
    notes = lead_notes(layout, adapter)
    rows = []
    for lead in in_order_of_work(layout):
        part = lead.part
        name = wire_name(part.name, adapter) if part.shape == "wire" else part_name(part.name)
        label = part.labels[lead.lead].replace("-", "−")
        heed = notes.get((part.name, lead.lead), "")
        named = f"{fed_by(name, adapter)} {label}".strip()
        rows.append((str(lead.number), named, lane_name(part.lanes[lead.lead], adapter), lead.address, heed))
    return rows


def cutting_rows(layout: Layout, adapter: bool = False) -> list[tuple[str, str, str, str]]:
    """Strips of tape: lane, length, its left and its lower edge from the board's."""
    return [
        (lane_name(strip.node, adapter), f"{strip.length} mm", f"{strip.left:.1f} mm", f"{strip.low:.1f} mm")
        for strip in tape_strips(layout)
    ]


def tape_words(layout: Layout) -> str:
    """How much tape; "" on other boards."""
    if layout.method.key != "tape":
        return ""
    return (
        f"Edges from the board's lower left corner. Together {tape_length(layout) / 1000:.2f} m of tape, "
        f"{layout.method.width:g} mm wide, ends counted."
    )


def plugged_words(chain: SignalChain, layout: Layout) -> str:
    """What a breadboard does to the gate, and its contacts; "" on other boards."""
    if layout.hole_a is None:
        return ""
    found = plugged_stray(chain)
    verdict = "It matters: do not judge the tone by it." if found.matters else "Neither matters."
    return (
        f"A first try without solder. Its rows add about {show(found.farad, 'F', 2)} at the gate, "
        f"{-found.level_db:.2f} dB of level; {show(found.leak_ohm, 'ohm', 2)} from the supply's row, assumed, would "
        f"lift the gate by {1000 * found.lift_v:.1f} mV. {verdict} Its contacts wear: a crackle is a contact first; "
        "never leave it in an instrument."
    )
