"""Gates that break down: what flows backwards through a gate junction that is driven beyond its voltage.

For runs in time alone. An operating point never has it: a stage whose gate breaks down at rest is one that nobody
should build, and older figures stay as they were.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from piezolab.circuit.elements import Clamp
from piezolab.circuit.jfet import JfetModel, Value
from piezolab.circuit.network import Network

AT_A = 1e-6  # data sheets state a gate's breakdown voltage at this current
SLOPE_S = 0.1  # far beyond, of a small junction: from memory; what flows is what the pickup's charge can give


@dataclass(frozen=True)
class BreakingJfet(JfetModel):
    """A transistor whose gate lets AT_A pass backwards at gate_source_v and gate_drain_v (V, magnitudes)."""

    gate_source_v: Value = 1e6
    gate_drain_v: Value = 1e6

    def over_time(self) -> BreakingJfet:
        """The same with one axis more behind, for arrays over time."""
        wide = {field.name: np.asarray(getattr(self, field.name), float)[..., None] for field in fields(self)}
        return BreakingJfet(**wide)

    def broken_through(self, v_gs: np.ndarray, v_gd: np.ndarray) -> tuple[np.ndarray, ...]:
        """(i_gs, g_gs, i_gd, g_gd) of what breaks through, A (out of the gate, so never above 0) and S.

        A smooth knee of one thermal voltage into a straight line of SLOPE_S.
        """
        v_t = self.thermal_voltage
        bend = v_t * np.log(np.expm1(AT_A / (SLOPE_S * v_t)))
        answer: list[np.ndarray] = []
        for v, limit in ((v_gs, self.gate_source_v), (v_gd, self.gate_drain_v)):
            x = (-v - limit + bend) / v_t
            soft = np.logaddexp(0.0, x)
            answer += [-SLOPE_S * v_t * soft, SLOPE_S * -np.expm1(-soft)]
        return tuple(answer)


def breaking_down(network: Network, gate_source_v: Value, gate_drain_v: Value) -> Network:
    """The network with transistors whose gates break down at these voltages (V; arrays of the batch's shape)."""
    for q in network.jfets:
        if isinstance(q, Clamp):
            continue
        held = {field.name: getattr(q.model, field.name) for field in fields(JfetModel)}
        model = BreakingJfet(**held, gate_source_v=gate_source_v, gate_drain_v=gate_drain_v)
        network = network.changed(q.name, model=model)
    return network
