"""What comes of building or of a knock, not of a part or a joint: leads in wrong lanes, cracked lanes, the wrong
transistor, foil; a gate hurt through the disc.

Which lanes lie side by side depends on the board, so a stray lead may be in any lane; all ways of one part's fault are
mended alike and are one hypothesis.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from piezolab.chain.assembly import GROUND
from piezolab.chain.parts import Part
from piezolab.studies.faults.fault_network import FaultNetwork
from piezolab.studies.faults.hypotheses import (
    SHORT_OHM,
    Draw,
    Edit,
    Hypothesis,
    bridge_spot,
    drawn,
    leaking,
    set_to,
    times,
)
from piezolab.studies.faults.network_names import (
    LEADS,
    OPEN_OHM,
    PIN_ORDERS,
    SOUND_OHM,
    Settings,
    beside_name,
    beyond,
    bridge_name,
    far_wire,
)

# Of V_GS(off); I_DSS goes with its square. A type's own spread ends between the two (common practice, no source).
TOO_WEAK, TOO_STRONG = (0.12, 0.6), (1.7, 4.0)
# A gate that lived through a breakdown leaks into the channel, megohms to kilohms (common practice, no source).
FROM_A_KNOCK = ("leaky_gate", "shorted_gate")
LEAKY_GATE_OHM, BURNT_GATE_OHM = (3e3, 5e6), (1.0, 50.0)
# Brass outside, unshielded by ground: it takes up several times the hum (common practice, no source).
BRASS_HUM = (4.0, 20.0)

Values = Mapping[str, float | np.ndarray]


def misbuilt(network: FaultNetwork, large: frozenset[str], ring: bool = False) -> Iterator[Hypothesis]:
    """All of them. large: names of the capacitors that are electrolytics by their value; ring: whether the jack's ring
    contact switches the battery."""
    for part in network.board_slots():
        p, spot = part.name, f"part:{part.name}"
        yield from _several(f"misplaced:{p}", "misplaced", spot, p, _strays(network, part))
        if p in large and network.jack in part.nodes:
            yield Hypothesis(f"hurt_capacitor:{p}", "hurt_capacitor", spot, (p,), 1.0, leaking(p))
    for part in network.transistors:
        yield from _transistor(network, part)
    for part in network.transistors[:1]:  # the one at the disc
        yield from _knocked(part)
    for lane, ends in network.long_lanes.items():
        ways = [_crack(network, lane, ends[at:]) for at in range(2, len(ends) - 1)]
        yield from _several(f"broken_lane:{lane}", "broken_lane", f"lane:{lane}", lane, ways)
    for part in network.batteries:
        b = part.name
        yield Hypothesis(f"never_on:{b}", "never_on", "leads", (b,), 1.0, set_to(f"{b}.plus", OPEN_OHM))
        if ring:
            edit = set_to(f"{b}.minus", OPEN_OHM)
            yield Hypothesis(f"stereo_plug:{b}", "stereo_plug", "leads", (b,), 1.0, edit)
    for lane in network.lanes:
        edit = drawn(bridge_name(*sorted((lane, GROUND))), *SHORT_OHM)
        yield Hypothesis(f"foil:{lane}", "foil", bridge_spot(lane, GROUND), ("foil",), 1.0, edit)
    yield Hypothesis("upside_down", "upside_down", "disc", ("disc",), 1.0, drawn("disc.hum", *BRASS_HUM))


def _several(key: str, kind: str, spot: str, name: str, ways: list[Edit]) -> Iterator[Hypothesis]:
    if ways:
        yield Hypothesis(key, kind, spot, (name,), 1.0, ways[0], tuple(ways[1:]))


def _between(part: Part, settings: Values, a: str, b: str) -> Settings:
    """The part between two nodes instead of in its own place."""
    p, pair = part.name, sorted((a, b))
    return {
        f"{p}.joint": OPEN_OHM,
        bridge_name(*pair): settings[f"{p}.ohm"] + SOUND_OHM,
        beside_name(*pair): settings[f"{p}.farad"],
    }


def _strays(network: FaultNetwork, part: Part) -> list[Edit]:
    """One lead of a two-lead part in each lane that is not its own."""
    return [
        lambda settings, draw, stays=stays, lane=lane: _between(part, settings, stays, lane)
        for stays in part.nodes
        for lane in (*network.lanes, GROUND)
        if lane not in part.nodes
    ]


def _transistor(network: FaultNetwork, part: Part) -> Iterator[Hypothesis]:
    q, spot = part.name, f"transistor:{part.name}"
    ways: list[Edit] = [
        lambda settings, draw, lead=lead, lane=lane: {
            f"{q}.{lead}": OPEN_OHM,
            far_wire(f"{q}.{lead}>{lane}"): SOUND_OHM,
        }
        for lead in LEADS
        for lane in (*network.lanes, GROUND)
        if lane not in part.nodes
    ]
    yield from _several(f"misplaced:{q}", "misplaced", spot, q, ways)

    def p_channel(settings: Values, draw: Draw) -> Settings:
        return {f"{q}.pins": np.asarray(settings[f"{q}.pins"]) % len(PIN_ORDERS) + len(PIN_ORDERS)}

    # a bipolar one gets no base current through the gate resistor: two junctions and no channel
    yield from _several(f"wrong_device:{q}", "wrong_device", spot, q, [p_channel, times(f"{q}.beta", 1e-9)])

    def unsuited(low: float, high: float) -> Edit:
        return lambda settings, draw: {f"{q}.v_off": settings[f"{q}.v_off"] * draw(low, high)}

    yield from _several(f"unsuited:{q}", "unsuited", spot, q, [unsuited(*TOO_WEAK), unsuited(*TOO_STRONG)])


def _knocked(part: Part) -> Iterator[Hypothesis]:
    """Of a transistor whose gate was driven beyond its rating."""
    q, (drain, gate, source) = part.name, part.nodes
    far = [(lead, lane) for lead, lane in (("source", source), ("drain", drain)) if lane != gate]
    ways = [drawn(f"{q}.gate-{lead}", *LEAKY_GATE_OHM) for lead, _ in far]
    yield from _several(f"leaky_gate:{q}", "leaky_gate", f"transistor:{q}", q, ways)
    for lead, lane in far:  # looked for as one short with whatever else joins the two lanes
        edit = drawn(f"{q}.gate-{lead}", *BURNT_GATE_OHM)
        key, spot = f"shorted_gate:{q}.{lead}", bridge_spot(gate, lane)
        yield Hypothesis(key, "shorted_gate", spot, (q,), 1.0, edit)


def _crack(network: FaultNetwork, lane: str, far: tuple[str, ...]) -> Edit:
    """A lane without contact between those ends and the others."""
    parts = {part.name: part for part in network.slots}

    def edit(settings: Values, draw: Draw) -> Settings:
        answer: Settings = {far_wire(lane): OPEN_OHM}
        for end in far:
            if end in parts:
                other = next(node for node in parts[end].nodes if node != lane)
                answer |= _between(parts[end], settings, beyond(lane), other)
            else:
                answer |= {end: OPEN_OHM, far_wire(end): SOUND_OHM}
        return answer

    return edit
