"""One implicit step of a network in time: what sources, stored voltages and transistor currents do to all the rest."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from piezolab.circuit.elements import GROUND, Capacitor, CurrentSource, Inductor, VoltageSource
from piezolab.circuit.equations import Equations
from piezolab.circuit.jfet import JfetModel
from piezolab.circuit.network import Network
from piezolab.circuit.ports import critical_voltage


class StepMatrices:
    """For one length of step, s: each capacitor a resistance and a source that holds what it has stored, each coil
    alike, i = C/length (v - held).

    all_inputs (N, rows, sources + stores), all_ports (N, rows, ports): rows are the transistors' ports (V), the
    network's nodes (V), and what is stored (V, A); impedance (N, ports, ports) in ohm, own_ohm (N, ports) its
    diagonal; per_step (N, stores): C/length or L/length; v_t, least_v_t, critical: of the junctions, as `ports` has
    them. static: the network's equations without capacitors and coils; shape: of the batch, flattened to N.
    """

    def __init__(
        self, whole: Network, static: Equations, models: list[JfetModel], shape: tuple[int, ...], length: float
    ) -> None:  # fmt: skip
        size = int(np.prod(shape))
        equations = static.copy()
        sides: list[dict[str, object]] = []
        for element in whole:
            if isinstance(element, VoltageSource):
                sides.append({element.name: 1.0})
            elif isinstance(element, CurrentSource):
                sides.append(_sent(element.b, element.a))
        scale = []
        for element in whole:
            if isinstance(element, Capacitor):
                equations.admittance(element.a, element.b, np.asarray(element.farad, float)[()] / length)
                sides.append(_sent(element.a, element.b))
                scale.append(_flat(element.farad, shape) / length)
            elif isinstance(element, Inductor):
                equations.branch(element.name, element.a, element.b, np.asarray(element.henry, float)[()] / length)
                sides.append({element.name: -1.0})
                scale.append(_flat(element.henry, shape) / length)
        self.per_step = np.stack(scale, axis=-1) if scale else np.zeros((size, 0))
        inputs = len(sides)
        for q in whole.jfets:
            sides += [_sent(q.source, q.gate), _sent(q.source, q.drain)]
        answers = equations.solve(*sides)
        rows = _rows(whole, answers)
        if not any(getattr(value, "ndim", 0) for row in rows for value in row):  # the same for the whole batch
            table = np.repeat(np.asarray(rows, float)[None], size, axis=0)
        else:
            table = np.stack([np.stack([_flat(value, shape) for value in row], axis=-1) for row in rows], axis=-2)
        ports = 2 * len(models)
        self.all_inputs, self.all_ports = table[..., :inputs], table[..., inputs:]
        self.impedance = -self.all_ports[:, :ports]
        self.own_ohm = np.diagonal(self.impedance, axis1=-2, axis2=-1)
        self.nodes = slice(ports, ports + len(whole.nodes))
        self.kept = slice(ports + len(whole.nodes), None)
        self.v_t, self.critical = _junctions(models, size)
        self.least_v_t = np.min(self.v_t, initial=np.inf)  # what moves by less needs no holding back


def _rows(whole: Network, answers: list[dict[str, object]]) -> list[list[object]]:
    """What each side brings to the ports, the nodes and the stores."""
    pairs = [(end, q.source) for q in whole.jfets for end in (q.gate, q.drain)]
    rows = [[_of(a, end) - _of(a, source) for a in answers] for end, source in pairs]
    rows += [[a[node] for a in answers] for node in whole.nodes]
    for element in whole:
        if isinstance(element, Capacitor):
            rows.append([_of(a, element.a) - _of(a, element.b) for a in answers])
        elif isinstance(element, Inductor):
            rows.append([a[element.name] for a in answers])
    return rows


def _flat(value: object, shape: tuple[int, ...]) -> np.ndarray:
    return np.broadcast_to(np.asarray(value, float), shape).reshape(-1)


def _junctions(models: list[JfetModel], size: int) -> tuple[np.ndarray, np.ndarray]:
    if not models:
        return np.zeros((size, 0)), np.zeros((size, 0))
    v_t = np.stack([np.broadcast_to(np.asarray(m.thermal_voltage, float), size) for m in models], axis=-1)
    return v_t, critical_voltage(models, size)


def _sent(into: str, out_of: str) -> dict[str, object]:
    """Right-hand side of 1 A that enters one node and leaves another."""
    if into == out_of:
        return {}
    return {node: sign for node, sign in ((into, 1.0), (out_of, -1.0)) if node != GROUND}


def _of(answer: Mapping[str, object], node: str) -> object:
    return 0.0 if node == GROUND else answer[node]
