"""What can be wrong when a board first meets its battery: shorts, a reversed battery, exchanged transistor legs.

All shorts are one network: a resistor between every two lanes, sound in every member of the batch but its own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from piezolab.circuit.elements import Jfet, Resistor
from piezolab.circuit.network import Network
from piezolab.studies.metering.board_under_meter import BoardUnderMeter

SHORT_OHM = 0.05
NO_SHORT_OHM = 1e13
# a transistor's drain, gate and source in the holes meant for (drain, gate, source), the right order left out
WRONG_ORDERS = ("SGD", "DSG", "GDS", "GSD", "SDG")


@dataclass(frozen=True)
class Fault:
    """kind: short or pins; a, b: the two lanes that are joined; order: legs in the holes for D, G and S; part: the
    transistor concerned."""

    kind: str
    a: str = ""
    b: str = ""
    order: str = ""
    part: str = ""


def shorts(board: BoardUnderMeter) -> tuple[Fault, ...]:
    """A short between every two lanes of the board."""
    return tuple(Fault("short", a, b) for a, b in combinations(board.lanes, 2))


def pin_orders(board: BoardUnderMeter) -> tuple[Fault, ...]:
    """Every wrong order of every transistor's legs; exchanging drain and source counts too."""
    return tuple(
        Fault("pins", order=order, part=element.name) for element in board.network.channels for order in WRONG_ORDERS
    )


def shorted(network: Network, faults: tuple[Fault, ...]) -> Network:
    """The network with one short in each member of a new first axis; batch axes of supply and builds follow."""
    found = []
    for n, fault in enumerate(faults):
        ohm = np.full((len(faults), 1, 1), NO_SHORT_OHM)
        ohm[n] = SHORT_OHM
        found.append(Resistor(f"short {fault.a} {fault.b}", fault.a, fault.b, ohm))
    return network.plus(*found)


def with_legs(network: Network, fault: Fault) -> Network:
    """The network with a transistor's legs in the wrong holes."""
    sound = network[fault.part]
    assert isinstance(sound, Jfet)
    holes = (sound.drain, sound.gate, sound.source)
    leads = dict(zip(fault.order, holes, strict=True))
    swapped = replace(sound, drain=leads["D"], gate=leads["G"], source=leads["S"])
    return Network(swapped if element.name == fault.part else element for element in network)
