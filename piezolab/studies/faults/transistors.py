"""The transistors of a batch of builds, with their pins in the holes they are in."""

from __future__ import annotations

from copy import copy
from dataclasses import fields, replace
from functools import cached_property

import numpy as np

from piezolab.circuit.elements import GROUND, Jfet
from piezolab.circuit.equations import Equations
from piezolab.circuit.errors import OperatingPointError
from piezolab.circuit.jfet import JfetModel
from piezolab.circuit.nodal import solve_nodes
from piezolab.circuit.ports import find_ports, flat_model, port_currents
from piezolab.giving_way import give_way
from piezolab.studies.faults.fault_network import FaultNetwork, model_of
from piezolab.studies.faults.network_names import PIN_ORDERS, Settings

# Drain and source exchanged: (v_GS, v_DS) become (v_GD, v_SD). Its own inverse.
_EXCHANGE = np.array([[1.0, -1.0], [0.0, -1.0]])
_FLOATING_OHM = 1e5
_CLOSE = 1e-3
_LEAK_TURNS = 3
_INSULATION_OHM = 1e9  # across the ports where there are several transistors


def _port_matrices() -> np.ndarray:
    """For each pin order the ports (gate to source, drain to source) from the holes' voltages, shape (12, 2, 3)."""
    answer = np.zeros((len(PIN_ORDERS), 2, 3))
    for n, (drain, gate, source) in enumerate(PIN_ORDERS):
        answer[n, 0, gate] = answer[n, 1, drain] = 1.0
        answer[n, :, source] = -1.0
    return np.concatenate([answer, -answer])  # a p-channel device is an n-channel one with every sign turned


_PORTS = _port_matrices()


class Transistors:
    """K transistors of P builds."""

    def __init__(self, network: FaultNetwork, settings: Settings, size: int) -> None:
        self.names = [part.name for part in network.transistors]
        self.models: list[JfetModel] = []
        count = len(self.names)
        self.pins = np.zeros((size, count), int)
        for n, part in enumerate(network.transistors):
            self.models.append(flat_model(model_of(part, settings), (size,)))
            self.pins[:, n] = settings[f"{part.name}.pins"]

    @cached_property
    def combine(self) -> np.ndarray:
        """From the holes' voltages to the ports', (P, 2K, 3K)."""
        size, count = self.pins.shape
        combine = np.zeros((size, 2 * count, 3 * count))
        for n in range(count):
            combine[:, 2 * n : 2 * n + 2, 3 * n : 3 * n + 3] = _PORTS[self.pins[:, n]]
        return combine

    def some(self, here: np.ndarray) -> Transistors:
        """Those of some of the builds, by number; one may come several times."""
        chosen = copy(self)
        chosen.__dict__.pop("combine", None)
        chosen.pins = self.pins[here]
        chosen.models = [
            JfetModel(**{field.name: _some(getattr(model, field.name), here) for field in fields(model)})
            for model in self.models
        ]
        return chosen

    def rest(self, v_open: np.ndarray, z: np.ndarray, start: np.ndarray | None = None) -> np.ndarray:
        """Port voltages (P, 2K). Raises OperatingPointError.

        Some faults leave a source as good as floating; the ports, which refer to it, then lose their digits. Those few
        builds are solved with drain and source exchanged, which is the same device but for the leakage of its drain.
        """
        if not self.names:
            return v_open
        if len(self.names) > 1:
            return self._together(v_open, z)
        turned = _floating(z)[:, 0]
        v = self._either_way(turned, v_open, z, start)
        lost = np.flatnonzero(np.isnan(v).any(axis=-1))
        if lost.size:  # the other way round, then
            v[lost] = self.some(lost)._either_way(~turned[lost], v_open[lost], z[lost], None)
            if np.isnan(v).any():
                raise OperatingPointError(f"{self.names[0]}: no operating point found for some of {len(v)} builds")
        return v

    def _either_way(
        self, turned: np.ndarray, v_open: np.ndarray, z: np.ndarray, start: np.ndarray | None
    ) -> np.ndarray:
        """Port voltages of one transistor, those of some builds turned; NaN where none are found."""
        if not turned.any():
            return find_ports(self.models, v_open, z, start)
        answer = np.empty_like(v_open)
        for here, find in ((np.flatnonzero(~turned), find_ports), (np.flatnonzero(turned), _turned)):
            if here.size:
                guess = None if start is None else start[here]
                answer[here] = find(self.some(here).models, v_open[here], z[here], guess)
        return answer

    def _together(self, v_open: np.ndarray, z: np.ndarray) -> np.ndarray:
        """Several transistors: the ports as nodes of a mesh, every source its ground."""
        count = z.shape[-1]
        nodes = [f"port {k}" for k in range(count)]
        y = np.linalg.inv(z) + np.eye(count) / _INSULATION_OHM  # floating ones otherwise leave nothing to solve
        equations = Equations(nodes)
        for a in range(count):
            equations.admittance(nodes[a], GROUND, y[:, a].sum(axis=-1))
            for b in range(a):
                equations.admittance(nodes[a], nodes[b], -0.5 * (y[:, a, b] + y[:, b, a]))
        supplied = dict(zip(nodes, (np.linalg.inv(z) @ v_open[:, :, None])[:, :, 0].T, strict=True))
        jfets = tuple(
            Jfet(name, nodes[2 * n + 1], nodes[2 * n], GROUND, self.models[n]) for n, name in enumerate(self.names)
        )
        return solve_nodes(jfets, equations, supplied, (len(v_open),))[0]

    def currents(self, v: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Currents into the ports (P, 2K) and their slopes (P, 2K, 2K)."""
        if not self.names:
            return v, np.zeros((len(v), 0, 0))
        return port_currents(self.models, v)[:2]

    def admittance(self, slopes: np.ndarray, omega: float) -> np.ndarray:
        """Slopes and capacitances, S, (P, 2K, 2K)."""
        y = slopes.astype(complex)
        for n, model in enumerate(self.models):
            g, d = 2 * n, 2 * n + 1
            gs, gd = 1j * omega * np.asarray(model.cgs), 1j * omega * np.asarray(model.cgd)
            y[:, g, g] += gs + gd
            y[:, g, d] -= gd
            y[:, d, g] -= gd
            y[:, d, d] += gd
        return y

    def swing(self, v: np.ndarray, ac_v: np.ndarray, ac_i: np.ndarray) -> np.ndarray:
        """The larger part of current and of drain-source voltage that a signal takes; 1e-3 to 1e3."""
        worst = np.full(len(v), 1e-3)
        rest = self.currents(v)[0]
        for n, model in enumerate(self.models):
            g, d = 2 * n, 2 * n + 1
            drive = np.maximum(np.where(v[:, d] < 0, v[:, g] - v[:, d], v[:, g]) - model.v_off, 0.0)
            room = np.maximum(np.abs(v[:, d]) - drive, 1e-3)
            worst = np.maximum(worst, np.abs(ac_i[:, d]) / np.maximum(np.abs(rest[:, d]), 1e-9))
            worst = np.maximum(worst, np.abs(ac_v[:, d]) / room)
        return np.minimum(worst, 1e3)


def _turned(
    models: list[JfetModel], v_open: np.ndarray, z: np.ndarray, start: np.ndarray | None
) -> np.ndarray:
    """Port voltages of one transistor, found with drain and source exchanged; NaN where none are found."""
    (model,) = models
    dry = replace(model, leakage=np.zeros_like(model.leakage))
    seen = _EXCHANGE @ z @ _EXCHANGE.T
    v_seen, v = v_open @ _EXCHANGE.T, None if start is None else start @ _EXCHANGE.T
    for _ in range(_LEAK_TURNS):
        give_way()
        across = -1.0 if v is None else np.tanh(np.clip(v[:, 0] / (2 * model.thermal_voltage), -40, 40))
        leak = np.zeros_like(v_open)  # into the gate: its port then is the one to the drain
        leak[:, 0] = model.leakage * across
        v = find_ports([dry], v_seen - (seen @ leak[:, :, None])[:, :, 0], seen, v)
    return v @ _EXCHANGE.T


def _floating(z: np.ndarray) -> np.ndarray:
    """Transistors whose gate and drain hang together far more closely than either does with the source, (P, K)."""
    g = np.arange(0, z.shape[-1], 2)
    own_g, own_d, shared = z[:, g, g], z[:, g + 1, g + 1], z[:, g, g + 1]
    return (shared > _FLOATING_OHM) & (own_g + own_d - 2 * shared < _CLOSE * shared)


def _some(value: float | np.ndarray, here: np.ndarray) -> float | np.ndarray:
    return value[here] if np.ndim(value) else value
