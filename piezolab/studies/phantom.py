"""What the supply of a microphone input (phantom power) would do to an unbalanced output plugged into it.

48 V reaches each signal lead through 6.81 kilohm (IEC 61938). At first the output capacitor carries the jump
into the stage; in the end it holds the whole voltage the wrong way round.
"""

from __future__ import annotations

from dataclasses import dataclass

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.assembly import GROUND, Assembly, assemble
from piezolab.chain.parts import part as part_named
from piezolab.circuit.elements import Resistor, VoltageSource
from piezolab.circuit.network import Network
from piezolab.circuit.operating_point import operating_point
from piezolab.studies.linear import at_rest
from piezolab.studies.plugging import ELECTROLYTIC_FROM

SUPPLY_V = 48.0
FEED_OHM = 6.81e3
ELECTROLYTIC_REVERSE_V = 1.0  # what one bears the wrong way round for long: common practice, no source
FILM_V = 63.0  # the usual small film capacitor, either way round: common practice, no source


@dataclass(frozen=True)
class Phantom:
    """V and A.

    node: where the output capacitor hangs on the stage (`source`, `drain`); transistor: whose gate junctions come
    nearest to harm; stage_v: that node just after the jump;
    v_gs, v_gd: gate junctions then (negative is reverse); capacitor_v: across the output capacitor in the end, positive
    the right way round; reverse_limit_v: what such a capacitor bears the wrong way round; gate_limit_v: the type's
    rating; peak_a: current through the capacitor at the jump. Without an output capacitor (blocked False) the stage
    takes the 48 V for good, and what is said of the capacitor is 0.
    """

    node: str
    stage_v: float
    v_gs: float
    v_gd: float
    capacitor_v: float
    reverse_limit_v: float
    gate_limit_v: float
    peak_a: float
    transistor: str = "Q1"
    blocked: bool = True

    @property
    def capacitor_safe(self) -> bool:
        """Whether the output capacitor bears what it ends with."""
        return -self.capacitor_v <= self.reverse_limit_v

    @property
    def gate_safe(self) -> bool:
        """Whether both junctions stay within the type's rating at the jump."""
        return max(-self.v_gs, -self.v_gd) <= self.gate_limit_v


def driven_backwards(chain: SignalChain, assembly: Assembly) -> frozenset[str]:
    """Names of the output capacitors that an input of the chain with phantom power would hold the wrong way round: they
    have to be bipolar or film ones."""
    reached = any(catalogue.inputs()[kind].phantom for kind in chain.input)
    return frozenset(part.name for part in assembly.coupling) if reached else frozenset()


def phantom(chain: SignalChain) -> Phantom | None:
    """Effect on the chain's stage; None with no stage (a bare disc takes 48 V without harm)."""
    if not chain.topology.powered:
        return None
    assembly = assemble(chain.values)
    network = assembly.network.without(*assembly.names("cable", "input"))
    rest = at_rest(network)
    feed = [
        VoltageSource("E_phantom", "microphone supply", GROUND, SUPPLY_V),
        Resistor("R_phantom", "microphone supply", assembly.jack, FEED_OHM),
    ]
    blocking = {part.name: part for part in assembly.coupling}
    held = [
        VoltageSource(part.name, *part.nodes, float(rest.voltage(*part.nodes))) for part in blocking.values()
    ]
    jump = Network([*(e for e in network if e.name not in blocking), *feed, *held])
    at_jump, at_end = operating_point(jump), operating_point(network.plus(*feed))
    name, q = max(at_jump.jfets.items(), key=lambda item: max(-item[1].v_gs, item[1].v_ds - item[1].v_gs))
    ends = {part.name: float(at_end.voltage(*part.nodes)) for part in blocking.values()}
    worst = min(ends, key=ends.__getitem__, default=None)
    node = blocking[worst].nodes[0] if worst else assembly.jack
    electrolytic = worst is not None and float(blocking[worst].value) >= ELECTROLYTIC_FROM
    drawn = float(at_jump.voltage("microphone supply", assembly.jack)) / FEED_OHM
    return Phantom(
        node=node,
        stage_v=float(at_jump.voltage(node)),
        v_gs=float(q.v_gs),
        v_gd=float(q.v_gs - q.v_ds),
        capacitor_v=ends[worst] if worst else 0.0,
        reverse_limit_v=ELECTROLYTIC_REVERSE_V if electrolytic else FILM_V,
        gate_limit_v=assembly.type_of(part_named(assembly.parts, name)).vgs_max,
        peak_a=float(sum(abs(at_jump.branch_currents[part]) for part in blocking)) if blocking else drawn,
        transistor=name,
        blocked=bool(blocking),
    )
