"""Wires of the faults' network for what stands elsewhere: across lanes of others, or on the piece of a cracked lane."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import combinations

from piezolab.chain.assembly import GROUND, PICKUP
from piezolab.chain.parts import Part
from piezolab.studies.faults.network_names import (
    COLD,
    HOT,
    LEADS,
    SLEEVE,
    Branch,
    beside_name,
    beyond,
    bridge_name,
    far_wire,
    hole,
)

_LEAST_ENDS = 4  # leads on a lane from which a crack may leave two on either side
_ENDS = {GROUND: ("disc.cold", COLD), PICKUP: ("disc.hot", HOT)}


def long_lanes_of(
    lanes: Iterable[str], slots: Sequence[Part], transistors: Sequence[Part], batteries: Sequence[Part]
) -> dict[str, tuple[str, ...]]:
    """Lanes of four ends or more. A crack that leaves a single lead aside is that lead's own fault."""
    answer = {}
    for lane in (*lanes, GROUND):
        ends = [_ENDS[lane][0]] if lane in _ENDS else []
        ends += [part.name for part in slots if part.where != "input" and lane in part.nodes]
        for part in transistors:
            ends += [f"{part.name}.{lead}" for lead, node in zip(LEADS, part.nodes, strict=True) if node == lane]
        ends += [f"{part.name}.minus" for part in batteries if part.nodes[1] == lane]
        ends += ["jack.sleeve"] if lane == GROUND else []
        if len(ends) >= _LEAST_ENDS:
            answer[lane] = tuple(ends)
    return answer


def elsewhere_wires(
    lanes: Iterable[str],
    slots: Sequence[Part],
    transistors: Sequence[Part],
    long_lanes: Mapping[str, Sequence[str]],
) -> list[Branch]:
    """What joins lanes, stands between lanes it does not belong to, or hangs on a piece of a cracked lane."""
    wires: list[Branch] = []
    lanes = (*lanes, GROUND)
    far = [
        tuple(sorted((beyond(lane), node)))
        for lane, ends in long_lanes.items()
        for part in slots
        if part.name in ends
        for node in part.nodes
        if node != lane
    ]
    for pair in dict.fromkeys([*combinations(sorted(lanes), 2), *far]):
        wires += [("ohm", bridge_name(*pair), *pair), ("farad", beside_name(*pair), *pair)]
    for part in transistors:
        for lead in LEADS:
            wires += [
                ("ohm", far_wire(f"{part.name}.{lead}>{lane}"), hole(part, lead), lane)
                for lane in lanes
                if lane not in part.nodes
            ]
    for lane, ends in long_lanes.items():
        wires.append(("ohm", far_wire(lane), lane, beyond(lane)))
        for part in transistors:
            names = {f"{part.name}.{lead}": hole(part, lead) for lead in LEADS}
            wires += [("ohm", far_wire(end), names[end], beyond(lane)) for end in ends if end in names]
        for end in ends:
            node = {"disc.cold": COLD, "disc.hot": HOT, "jack.sleeve": SLEEVE}.get(end)
            node = end.replace(".", " ") if end.endswith(".minus") else node
            if node:
                wires.append(("ohm", far_wire(end), node, beyond(lane)))
    return wires
