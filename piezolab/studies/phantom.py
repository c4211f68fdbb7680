"""What voltage out of an input would do to an unbalanced output plugged into it: phantom power, plug-in power.

48 V of phantom power reach each signal lead through 6.81 kilohm (IEC 61938); recorders, headset sockets and wireless
packs feed small microphones with a few volts through kilohms (`catalogue.inputs`, common practice, no source). At first
the output capacitor carries the jump into the stage; in the end it holds the whole voltage the wrong way round.
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
from piezolab.studies.kept import kept
from piezolab.studies.linear import at_rest
from piezolab.studies.plugging import ELECTROLYTIC_FROM

SUPPLY_V = 48.0
FEED_OHM = 6.81e3
ELECTROLYTIC_REVERSE_V = 1.0  # what one bears the wrong way round for long: common practice, no source
DISTURBED = 0.1  # more change of the current at rest, as a part of it, and the stage is another one: our own choice
FILM_V = 63.0  # the usual small film capacitor, either way round: common practice, no source


@dataclass(frozen=True)
class Phantom:
    """V and A, of a supply of supply_v through feed_ohm.

    node: where the output capacitor hangs on the stage (`source`, `drain`); transistor: whose gate junctions come
    nearest to harm; stage_v: that node just after the jump;
    v_gs, v_gd: gate junctions then (negative is reverse); capacitor_v: across the output capacitor in the end, positive
    the right way round; reverse_limit_v: what such a capacitor bears the wrong way round; gate_limit_v: the type's
    rating; peak_a: current through the capacitor at the jump. Without an output capacitor (blocked False) the stage
    takes the voltage for good, and what is said of the capacitor is 0. jack_v: at the jack in the end; current_part: of
    the transistor whose current at rest changes most, the change in the end as a part of it.
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
    supply_v: float = SUPPLY_V
    feed_ohm: float = FEED_OHM
    jack_v: float = 0.0
    current_part: float = 0.0

    @property
    def reversed(self) -> bool:
        """Whether the output capacitor ends the wrong way round."""
        return self.blocked and self.capacitor_v < 0

    @property
    def disturbs(self) -> bool:
        """Whether the stage rests elsewhere for as long as it is fed."""
        return abs(self.current_part) > DISTURBED

    @property
    def capacitor_safe(self) -> bool:
        """Whether the output capacitor bears what it ends with."""
        return -self.capacitor_v <= self.reverse_limit_v

    @property
    def gate_safe(self) -> bool:
        """Whether both junctions stay within the type's rating at the jump."""
        return max(-self.v_gs, -self.v_gd) <= self.gate_limit_v


def driven_backwards(chain: SignalChain, assembly: Assembly) -> frozenset[str]:
    """Names of the output capacitors that an input of the chain with phantom or plug-in power would
    hold the wrong way round: they have to be bipolar or film ones."""
    held = any(catalogue.inputs()[kind].phantom for kind in chain.input) or any(
        found.reversed and not found.capacitor_safe for found in plug_in_power(chain).values()
    )
    return frozenset(part.name for part in assembly.coupling) if held else frozenset()


def phantom(chain: SignalChain) -> Phantom | None:
    """Effect of phantom power on the chain's stage; None with no stage (a bare disc takes 48 V without harm)."""
    return fed(chain, SUPPLY_V, FEED_OHM)


def plug_in_power(chain: SignalChain, kinds: tuple[str, ...] | None = None) -> dict[str, Phantom]:
    """Effect of what feeds small microphones, by kind of input that has it: the chain's own, or those of `kinds`; empty
    with no stage."""
    rows = ((kind, catalogue.inputs()[kind]) for kind in kinds or chain.input)
    found = ((kind, fed(chain, row.feed_v, row.feed_ohm)) for kind, row in rows if row.feed_v)
    return {kind: each for kind, each in found if each is not None}


@kept(8)
def fed(chain: SignalChain, supply_v: float, feed_ohm: float) -> Phantom | None:
    """Effect of a supply of supply_v (V) through feed_ohm (ohm) on the output; None with no stage."""
    if not chain.topology.powered:
        return None
    assembly = assemble(chain.values)
    network = assembly.network.without(*assembly.names("cable", "input"))
    rest = at_rest(network)
    feed = [
        VoltageSource("E_phantom", "microphone supply", GROUND, supply_v),
        Resistor("R_phantom", "microphone supply", assembly.jack, feed_ohm),
    ]
    blocking = {part.name: part for part in assembly.coupling}
    held = [
        VoltageSource(part.name, *part.nodes, float(rest.voltage(*part.nodes))) for part in blocking.values()
    ]
    jump = Network([*(e for e in network if e.name not in blocking), *feed, *held])
    at_jump, at_end = operating_point(jump), operating_point(network.plus(*feed))
    stage = {name: at_jump.jfets[name] for name in assembly.transistors}  # a clamp at the gate has no such rating
    name, q = max(stage.items(), key=lambda item: max(-item[1].v_gs, item[1].v_ds - item[1].v_gs))
    ends = {part.name: float(at_end.voltage(*part.nodes)) for part in blocking.values()}
    worst = min(ends, key=ends.__getitem__, default=None)
    node = blocking[worst].nodes[0] if worst else assembly.jack
    electrolytic = worst is not None and float(blocking[worst].value) >= ELECTROLYTIC_FROM
    drawn = float(at_jump.voltage("microphone supply", assembly.jack)) / feed_ohm
    moved = [float(at_end.jfets[key].i_d / rest.jfets[key].i_d - 1) for key in stage if abs(rest.jfets[key].i_d) > 1e-9]
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
        supply_v=supply_v,
        feed_ohm=feed_ohm,
        jack_v=float(at_end.voltage(assembly.jack)),
        current_part=max(moved, key=abs, default=0.0),
    )
