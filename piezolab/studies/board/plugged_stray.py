"""What a plug-in breadboard adds at the gate: capacitance between rows, and an assumed leakage from the supply.

Both are assumptions (common practice, no source): 2 pF from the gate's row to each of its two neighbours in use, and
10 Gohm from the row of the supply, a clean and dry board. SI units.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log10

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.assembly import PICKUP, assemble, pickup_capacitance
from piezolab.studies.board.candidates import high_impedance

ROW_F = 2e-12
NEIGHBOURS = 2
LEAK_OHM = 10e9
MATTERS_DB = 0.5
MATTERS_V = 0.1


@dataclass(frozen=True)
class PluggedStray:
    """farad: added at the gate; level_db: what it takes from the level; leak_ohm: assumed; lift_v: by how much it lifts
    the gate; matters: whether either is more than half a decibel or a tenth of a volt."""

    farad: float
    level_db: float
    leak_ohm: float
    lift_v: float

    @property
    def matters(self) -> bool:
        """Whether a maker would notice."""
        return -self.level_db > MATTERS_DB or self.lift_v > MATTERS_V


def plugged_stray(chain: SignalChain) -> PluggedStray:
    """The breadboard's share. The level is that of a capacitive divider (pickup and lead against what is added), above
    the corner of the gate's resistor; the lift that of a divider of the assumed leakage and the gate's resistor."""
    values = chain.values
    assembly = assemble(values)
    disc = float(np.asarray(pickup_capacitance(values)))
    own = disc * {"1": 1.0, "2p": 2.0, "2s": 0.5}[values.discs.rstrip("x")]
    own += sum(float(part.value) for part in assembly.where("lead") if part.kind == "capacitor")
    added = NEIGHBOURS * ROW_F
    gate = set(high_impedance(assembly)[0]) | {PICKUP}
    paths = [
        float(part.value) for part in assembly.where("board")
        if part.kind == "resistor" and len(gate & set(part.nodes)) == 1
    ]  # fmt: skip
    ohm = 1 / sum(1 / path for path in paths) if paths else LEAK_OHM
    return PluggedStray(
        added, 20 * log10(own / (own + added)), LEAK_OHM, float(values.supply_v) * ohm / (ohm + LEAK_OHM)
    )
