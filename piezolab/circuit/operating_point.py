"""The operating point: node voltages and transistor currents at rest, for a whole batch at once.

With one transistor the linear part is reduced to what its terminals see, v = v_open - Z i, and `ports` solves that;
with several `nodal` works on all nodes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from piezolab.circuit.elements import GROUND, CurrentSource, Jfet, VoltageSource
from piezolab.circuit.equations import Equations
from piezolab.circuit.jfet import JfetModel, channel, gate_currents
from piezolab.circuit.network import Network, dc_equations, with_all_currents
from piezolab.circuit.nodal import solve_nodes
from piezolab.circuit.ports import flat_model, port_currents, solve_ports


@dataclass(frozen=True)
class JfetPoint:
    """One transistor at rest; arrays of the batch's shape. Volts, amperes, siemens.

    i_d, i_g, i_s are counted into drain, gate and source; g_m and g_ds are the channel's slopes with V_GS and V_DS;
    g_gs and g_gd those of the two gate junctions; i_channel flows drain to source; i_gs and i_gd flow from the gate to
    source and to drain, the reverse leakage in i_gd; i_forward is what the junctions conduct forwards, leakage apart;
    v_ds_sat is the overdrive V_GS - V_GS(off) over the more negative end of the channel, not below 0.
    """

    v_gs: np.ndarray
    v_ds: np.ndarray
    i_d: np.ndarray
    i_g: np.ndarray
    i_channel: np.ndarray
    g_m: np.ndarray
    g_ds: np.ndarray
    g_gs: np.ndarray
    g_gd: np.ndarray
    v_ds_sat: np.ndarray
    i_gs: np.ndarray
    i_gd: np.ndarray
    i_forward: np.ndarray

    @property
    def i_s(self) -> np.ndarray:
        """Current into the source, A."""
        return -(self.i_d + self.i_g)

    @property
    def region(self) -> np.ndarray:
        """`cut-off`, `triode` or `saturation` (strings)."""
        return np.where(
            self.v_ds_sat <= 0,
            "cut-off",
            np.where(np.abs(self.v_ds) < self.v_ds_sat, "triode", "saturation"),
        )

    @property
    def gate_conducts(self) -> np.ndarray:
        """Whether more than 1 nA flows forwards through the gate's junctions, whether or not leakage brings it."""
        return self.i_forward > 1e-9


@dataclass(frozen=True)
class OperatingPoint:
    """Node voltages (V), currents of the branches that have an unknown of their own (A), transistors by name."""

    voltages: Mapping[str, np.ndarray]
    branch_currents: Mapping[str, np.ndarray]
    jfets: Mapping[str, JfetPoint]

    def voltage(self, a: str, b: str = GROUND) -> np.ndarray:
        """v(a) - v(b) in V."""
        return self._at(a) - self._at(b)

    def _at(self, node: str) -> np.ndarray:
        return np.asarray(0.0) if node == GROUND else self.voltages[node]


def operating_point(network: Network) -> OperatingPoint:
    """Solve the network at direct current.

    Values may have any batch shape; all results have the network's batch shape. Raises FloatingNodeError,
    SingularNetworkError, or OperatingPointError (naming the transistor) where nothing settles: never a wrong number.
    """
    shape = network.batch_shape
    equations = dc_equations(network)
    source: dict[str, object] = {}
    for element in network:
        match element:
            case VoltageSource():
                source[element.name] = element.volt
            case CurrentSource():
                _inject(source, element.a, element.b, element.ampere)
    if len(network.jfets) == 1:
        v, found = _one_transistor(network.jfets[0], equations, source, shape)
    elif network.jfets:
        v, found = solve_nodes(network.jfets, equations, source, shape)
    else:
        (found,) = equations.solve(source)
    found = with_all_currents(network, dict(found))
    found = {name: np.broadcast_to(np.asarray(value, float), shape) for name, value in found.items()}
    points = {
        jfet.name: jfet_point(flat_model(jfet.model, shape), v[:, 2 * n], v[:, 2 * n + 1], shape)
        for n, jfet in enumerate(network.jfets)
    }
    return OperatingPoint(
        MappingProxyType({name: found[name] for name in equations.nodes}),
        MappingProxyType({name: found[name] for name in equations.branches}),
        MappingProxyType(points),
    )


def _one_transistor(
    jfet: Jfet, equations: Equations, source: dict[str, object], shape: tuple[int, ...]
) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Port voltages (N, 2), and voltages and branch currents, by reducing the network to the transistor's ports."""
    units: list[dict[str, object]] = [{}, {}]
    _inject(units[0], jfet.gate, jfet.source, 1.0)
    _inject(units[1], jfet.drain, jfet.source, 1.0)
    open_, *unit = equations.solve(source, *units)
    size = int(np.prod(shape))

    def port(solution: Mapping[str, object], end: str) -> np.ndarray:
        value = solution.get(end, 0.0) - solution.get(jfet.source, 0.0)  # only ground is not among the unknowns
        return np.broadcast_to(np.asarray(value, float), shape).reshape(size)

    ends = (jfet.gate, jfet.drain)
    v_open = np.stack([port(open_, end) for end in ends], axis=-1)
    z = np.stack([-np.stack([port(each, end) for each in unit], axis=-1) for end in ends], axis=-2)
    model = flat_model(jfet.model, shape)
    v = solve_ports([jfet.name], [model], v_open, z)
    i = port_currents([model], v)[0]
    i_g, i_d = i[:, 0].reshape(shape), i[:, 1].reshape(shape)
    return v, {name: value + unit[0][name] * i_g + unit[1][name] * i_d for name, value in open_.items()}


def _inject(side: dict[str, object], a: str, b: str, ampere: object) -> None:
    """Right-hand side of a current that leaves node a and enters node b."""
    for node, sign in ((a, -1.0), (b, 1.0)):
        if node != GROUND:
            side[node] = side.get(node, 0.0) + sign * np.asarray(ampere, float)


def jfet_point(model: JfetModel, v_gs: np.ndarray, v_ds: np.ndarray, shape: tuple[int, ...]) -> JfetPoint:
    """What a transistor does at given port voltages (V, flat), as arrays of the given shape."""
    i, g_m, g_ds = channel(model, v_gs, v_ds)
    i_gs, g_gs, i_gd, g_gd = gate_currents(model, v_gs, v_ds)
    drive = np.maximum(np.where(v_ds < 0, v_gs - v_ds, v_gs) - model.v_off, 0.0)
    tight = replace(model, leakage=0.0)
    forward = sum(np.maximum(each, 0.0) for each in gate_currents(tight, v_gs, v_ds)[::2])
    fields = (v_gs, v_ds, i - i_gd, i_gs + i_gd, i, g_m, g_ds, g_gs, g_gd, drive, i_gs, i_gd, forward)
    return JfetPoint(*(np.broadcast_to(field, v_gs.shape).reshape(shape) for field in fields))
