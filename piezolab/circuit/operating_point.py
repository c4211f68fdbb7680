"""The operating point: node voltages and transistor currents at rest, for a whole batch at once.

The linear part of the network is reduced to what the transistors' terminals see, v = v_open - Z i; `ports` solves that.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from piezolab.circuit.elements import GROUND, CurrentSource, VoltageSource
from piezolab.circuit.jfet import JfetModel, channel, gate_currents
from piezolab.circuit.network import Network, dc_equations
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
    sides: list[dict[str, object]] = [{}]
    for element in network:
        match element:
            case VoltageSource():
                sides[0][element.name] = element.volt
            case CurrentSource():
                _inject(sides[0], element.a, element.b, element.ampere)
    for jfet in network.jfets:
        for a, b in ((jfet.gate, jfet.source), (jfet.drain, jfet.source)):
            side: dict[str, object] = {}
            _inject(side, a, b, 1.0)
            sides.append(side)
    open_, *unit = equations.solve(*sides)
    count = 2 * len(network.jfets)
    size = int(np.prod(shape))
    if not count:
        found = {name: np.broadcast_to(np.asarray(value, float), shape) for name, value in open_.items()}
        return _result(network, found, equations.nodes, {})

    def port(solution: Mapping[str, object], k: int) -> np.ndarray:
        jfet = network.jfets[k // 2]
        a = jfet.gate if k % 2 == 0 else jfet.drain
        value = _get(solution, a) - _get(solution, jfet.source)
        return np.broadcast_to(np.asarray(value, float), shape).reshape(size)

    v_open = np.stack([port(open_, k) for k in range(count)], axis=-1)
    z = np.stack([-np.stack([port(u, k) for u in unit], axis=-1) for k in range(count)], axis=-2)
    models = [flat_model(jfet.model, shape) for jfet in network.jfets]
    v = solve_ports([jfet.name for jfet in network.jfets], models, v_open, z)
    i = port_currents(models, v)[0]
    found = {
        name: np.broadcast_to(np.asarray(value, float), shape)
        + sum(np.asarray(unit[k][name], float) * i[:, k].reshape(shape) for k in range(count))
        for name, value in open_.items()
    }
    points = {
        jfet.name: _point(models[n], v[:, 2 * n], v[:, 2 * n + 1], shape)
        for n, jfet in enumerate(network.jfets)
    }
    return _result(network, found, equations.nodes, points)


def _inject(side: dict[str, object], a: str, b: str, ampere: object) -> None:
    """Right-hand side of a current that leaves node a and enters node b."""
    for node, sign in ((a, -1.0), (b, 1.0)):
        if node != GROUND:
            side[node] = side.get(node, 0.0) + sign * np.asarray(ampere, float)


def _get(solution: Mapping[str, object], node: str) -> object:
    return 0.0 if node == GROUND else solution[node]


def _result(
    network: Network, found: Mapping[str, np.ndarray], nodes: list[str], points: dict[str, JfetPoint]
) -> OperatingPoint:
    return OperatingPoint(
        MappingProxyType({name: value for name, value in found.items() if name in nodes}),
        MappingProxyType({name: value for name, value in found.items() if name not in nodes}),
        MappingProxyType(points),
    )


def _point(model: JfetModel, v_gs: np.ndarray, v_ds: np.ndarray, shape: tuple[int, ...]) -> JfetPoint:
    i, g_m, g_ds = channel(model, v_gs, v_ds)
    i_gs, g_gs, i_gd, g_gd = gate_currents(model, v_gs, v_ds)
    drive = np.maximum(np.where(v_ds < 0, v_gs - v_ds, v_gs) - model.v_off, 0.0)
    tight = replace(model, leakage=0.0)
    forward = sum(np.maximum(each, 0.0) for each in gate_currents(tight, v_gs, v_ds)[::2])
    fields = (v_gs, v_ds, i - i_gd, i_gs + i_gd, i, g_m, g_ds, g_gs, g_gd, drive, i_gs, i_gd, forward)
    return JfetPoint(*(np.broadcast_to(field, v_gs.shape).reshape(shape) for field in fields))
