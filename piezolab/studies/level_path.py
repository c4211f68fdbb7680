"""The level on its way from the disc to the input, against what each place can take.

At 1 kHz, as if nothing bent: the voltage at a place is the pickup's times the gain to there. What a place can take is
the pickup voltage of a clip edge (see `swing`, `levels`) times that gain: the gate's or a clamp's at the gate, cut-off
and triode region where the signal leaves the stage, the input's ceiling at the input. Its range holds the type's parts
from the 1st to the 99th percentile, with a fresh battery and with a spent one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.assembly import GROUND, Assembly
from piezolab.circuit.small_signal import transfers_of_each
from piezolab.studies.fading_battery import battery_range
from piezolab.studies.kept import kept
from piezolab.studies.levels import SIGNAL_HZ
from piezolab.studies.linear import LinearChain, gain_of
from piezolab.studies.population import builds
from piezolab.studies.several_transistors import Edge
from piezolab.studies.swing import swing

PARTS = 200  # drawn of the type
PICKUP, GATE, STAGE, INPUT = "pickup", "gate", "stage", "input"
HELD = {GATE: ("gate", "clamp"), STAGE: ("cut-off", "triode")}  # the causes that belong to a place


@dataclass(frozen=True)
class Ceiling:
    """What a place takes while the pickup's voltage rises, or falls: V peak there. typical: of the chain; low, high:
    the ends of its range; all inf where nothing is met."""

    typical: float
    low: float
    high: float


@dataclass(frozen=True)
class PathPoint:
    """A place on the way: its name (`pickup`, `gate`, `stage` or `input`), its gain from the open-circuit voltage of
    one disc at 1 kHz, a magnitude, and what it takes with a rising and with a falling pickup voltage (None: no limit of
    its own). kind: of an input, where two are on one output; both load it, and each has its own ceiling."""

    name: str
    gain: float
    rising: Ceiling | None = None
    falling: Ceiling | None = None
    kind: str = ""

    @property
    def takes(self) -> float:
        """The nearer of the two, V peak; inf where it has none."""
        return min(side.typical for side in (self.rising, self.falling)) if self.rising and self.falling else np.inf


@kept(2)
def level_path(chain: SignalChain) -> tuple[PathPoint, ...]:
    """The places from the disc to the input, in order; gate and stage only where the chain has a stage."""
    values = chain.values
    linear = LinearChain.of(values)
    gain, rows = float(np.abs(linear.gain(SIGNAL_HZ))), catalogue.inputs()
    most = {"": float(values.input_max)}
    if len(chain.input) > 1:
        most = {kind: float(rows[kind].max_v_peak) for kind in chain.input}
    at_input = [PathPoint(INPUT, gain, *[Ceiling(v, v, v)] * 2, kind=kind) for kind, v in most.items()]
    if linear.transistor is None:
        return PathPoint(PICKUP, 1.0), *at_input
    nodes = {GATE: _gate(linear.assembly), STAGE: _leaves(linear.assembly)}
    gains, edges = _gains(linear, nodes), swing(linear).edges
    range_ = [_of_parts(chain, nodes, supply_v) for supply_v in (battery_range(chain) or (chain.supply_v,))[:2]]
    found = []
    for name in nodes:
        sides = [_ceiling(name, side, gains[name], edges, [each[name] for each in range_])
                 for side in ("rising", "falling")]  # fmt: skip
        found.append(PathPoint(name, float(gains[name]), *sides))
    return PathPoint(PICKUP, 1.0), *found, *at_input


def _gate(assembly: Assembly) -> str:
    """The node of the first transistor's gate."""
    return next(part for part in assembly.parts if part.name == assembly.transistors[0]).nodes[1]


def _leaves(assembly: Assembly) -> str:
    """The node where the signal leaves the last transistor: before the output capacitor, where there is one."""
    return assembly.coupling[0].nodes[0] if assembly.coupling else assembly.jack


def _gains(linear: LinearChain, nodes: dict[str, str]) -> dict[str, np.ndarray]:
    drive = linear.assembly.drive
    asked = [(node, GROUND) for node in nodes.values()]
    shares = transfers_of_each(linear.network, np.array([SIGNAL_HZ]), [{name: 1.0} for name in drive], asked)
    return {
        name: np.abs(gain_of(drive, {source: share[at] for source, share in zip(drive, shares, strict=True)}))[..., 0]
        for at, name in enumerate(nodes)
    }


def _nearest(edges: tuple[Edge, ...], name: str, side: str) -> np.ndarray:
    return np.min([getattr(edge, side) for edge in edges if edge.cause in HELD[name]], axis=0)


def _of_parts(
    chain: SignalChain, nodes: dict[str, str], supply_v: float
) -> dict[str, tuple[np.ndarray, tuple[Edge, ...]]]:
    """Gains and edges of the type's parts at a supply voltage."""
    linear = LinearChain.of(builds(chain, PARTS).but(supply_v=supply_v))
    edges, gains = swing(linear).edges, _gains(linear, nodes)
    return {name: (gain, edges) for name, gain in gains.items()}


def _ceiling(
    name: str, side: str, gain: np.ndarray, edges: tuple[Edge, ...],
    parts: list[tuple[np.ndarray, tuple[Edge, ...]]],
) -> Ceiling:  # fmt: skip
    typical = float(_there(_nearest(edges, name, side), gain))
    of_parts = [np.atleast_1d(_there(_nearest(each, name, side), gains)) for gains, each in parts]
    ends = [np.percentile(v, (1, 99), method="inverted_cdf") for v in of_parts]
    return Ceiling(typical, float(min(low for low, _ in ends)), float(max(high for _, high in ends)))


def _there(edge: np.ndarray, gain: np.ndarray) -> np.ndarray:
    """A pickup voltage as it is at the place; a place that hears nothing meets nothing."""
    return np.where(gain > 0, edge * np.where(gain > 0, gain, 1.0), np.inf)
