"""The transistors of a batch of builds, with their pins in the holes they are in."""

from __future__ import annotations

import numpy as np

from piezolab.circuit.errors import OperatingPointError
from piezolab.circuit.jfet import JfetModel
from piezolab.circuit.ports import flat_model, port_currents, solve_ports
from piezolab.studies.faults.bench import PIN_ORDERS, Bench, Settings, model_of

# Drain and source exchanged: (v_GS, v_DS) become (v_GD, v_SD). Its own inverse.
_EXCHANGE = np.array([[1.0, -1.0], [0.0, -1.0]])
_DAMP_OHM = 1e8


def _port_matrices() -> np.ndarray:
    """For each pin order the ports (gate to source, drain to source) from the holes' voltages, shape (6, 2, 3)."""
    answer = np.zeros((len(PIN_ORDERS), 2, 3))
    for n, (drain, gate, source) in enumerate(PIN_ORDERS):
        answer[n, 0, gate] = answer[n, 1, drain] = 1.0
        answer[n, :, source] = -1.0
    return answer


_PORTS = _port_matrices()


class Transistors:
    """K transistors of P builds. combine: from the holes' voltages to the ports', (P, 2K, 3K)."""

    def __init__(self, bench: Bench, settings: Settings, size: int) -> None:
        self.names = [part.name for part in bench.transistors]
        self.models: list[JfetModel] = []
        count = len(self.names)
        self.combine = np.zeros((size, 2 * count, 3 * count))
        for n, part in enumerate(bench.transistors):
            self.models.append(flat_model(model_of(part, settings), (size,)))
            pins = np.broadcast_to(np.asarray(settings[f"{part.name}.pins"], int), (size,))
            self.combine[:, 2 * n : 2 * n + 2, 3 * n : 3 * n + 3] = _PORTS[pins]

    def rest(self, v_open: np.ndarray, z: np.ndarray, start: np.ndarray | None = None) -> np.ndarray:
        """Port voltages (P, 2K)."""
        return _rest(self.names, self.models, v_open, z, start) if self.names else v_open

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


def _rest(
    names: list[str], models: list[JfetModel], v_open: np.ndarray, z: np.ndarray, start: np.ndarray | None
) -> np.ndarray:
    """Some faults leave a source as good as floating; the ports, which refer to it, then lose their digits. Those few
    builds are found by halving the batch and solved with drain and source exchanged, which is the same device."""
    try:
        return solve_ports(names, models, v_open, z, start)
    except OperatingPointError:
        size = len(v_open)
        if size == 1:
            return _hard(names, models, v_open, z)
    parts = []
    for half in np.array_split(np.arange(size), 2):
        some = [model.take(half, (size,)) for model in models]
        parts.append(_rest(names, some, v_open[half], z[half], None if start is None else start[half]))
    return np.concatenate(parts)


def _hard(names: list[str], models: list[JfetModel], v_open: np.ndarray, z: np.ndarray) -> np.ndarray:
    exchange = np.kron(np.eye(len(names)), _EXCHANGE)
    v_open, z = v_open @ exchange.T, exchange @ z @ exchange.T
    try:
        return solve_ports(names, models, v_open, z) @ exchange.T
    except OperatingPointError:  # hold every gate as a damp board does
        for g in range(0, v_open.shape[1], 2):
            part = 1.0 / (_DAMP_OHM + z[:, g, g])
            reach = z[:, :, g].copy()
            v_open = v_open - reach * (v_open[:, g] * part)[:, None]
            z = z - reach[:, :, None] * reach[:, None, :] * part[:, None, None]
        return solve_ports(names, models, v_open, z) @ exchange.T
