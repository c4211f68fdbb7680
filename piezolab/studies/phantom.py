"""What the supply of a microphone input (phantom power) would do to an unbalanced output plugged into it.

48 V reaches each signal lead through 6.81 kilohm (IEC 61938). At first the output capacitor carries the jump
into the stage; in the end it holds the whole voltage the wrong way round.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.assembly import GROUND, assemble
from piezolab.circuit.elements import Resistor, VoltageSource
from piezolab.circuit.network import Network
from piezolab.circuit.operating_point import operating_point
from piezolab.studies.plugging import ELECTROLYTIC_FROM

SUPPLY_V = 48.0
FEED_OHM = 6.81e3
ELECTROLYTIC_REVERSE_V = 1.0  # what one bears the wrong way round for long: common practice, no source
FILM_V = 63.0  # the usual small film capacitor, either way round: common practice, no source


@dataclass(frozen=True)
class Phantom:
    """V and A.

    node: where the output capacitor hangs on the stage (`source`, `drain`); stage_v: that node just after the jump;
    v_gs, v_gd: gate junctions then (negative is reverse); capacitor_v: across the output capacitor in the end, positive
    the right way round; reverse_limit_v: what such a capacitor bears the wrong way round; gate_limit_v: the type's
    rating; peak_a: current through the capacitor at the jump.
    """

    node: str
    stage_v: float
    v_gs: float
    v_gd: float
    capacitor_v: float
    reverse_limit_v: float
    gate_limit_v: float
    peak_a: float

    @property
    def capacitor_safe(self) -> bool:
        """Whether the output capacitor bears what it ends with."""
        return -self.capacitor_v <= self.reverse_limit_v

    @property
    def gate_safe(self) -> bool:
        """Whether both junctions stay within the type's rating at the jump."""
        return max(-self.v_gs, -self.v_gd) <= self.gate_limit_v


def phantom(chain: SignalChain) -> Phantom | None:
    """Effect on the chain's stage; None with no stage (a bare disc takes 48 V without harm)."""
    if not chain.topology.powered:
        return None
    assembly = assemble(chain.values)
    network = assembly.network.without(*assembly.names("cable", "input"))
    rest = operating_point(network)
    coupling = network["C_out"]
    held = float(rest.voltage(coupling.a) - rest.voltage(coupling.b))
    feed = [
        VoltageSource("E_phantom", "microphone supply", GROUND, SUPPLY_V),
        Resistor("R_phantom", "microphone supply", assembly.jack, FEED_OHM),
    ]
    jump = Network(
        [*(e for e in network if e.name != "C_out"), *feed, VoltageSource("C_out", coupling.a, coupling.b, held)]
    )
    at_jump, at_end = operating_point(jump), operating_point(network.plus(*feed))
    q = at_jump.jfets["Q1"]
    return Phantom(
        node=coupling.a,
        stage_v=float(at_jump.voltage(coupling.a)),
        v_gs=float(q.v_gs),
        v_gd=float(q.v_gs - q.v_ds),
        capacitor_v=float(at_end.voltage(coupling.a) - at_end.voltage(coupling.b)),
        reverse_limit_v=ELECTROLYTIC_REVERSE_V if chain.values.out_c >= ELECTROLYTIC_FROM else FILM_V,
        gate_limit_v=catalogue.transistors()[chain.jfet].vgs_max,
        peak_a=float(np.abs(at_jump.branch_currents["C_out"])),
    )
