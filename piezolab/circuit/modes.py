"""The linear part of a network as a sum of modes: what a current into some places does to some voltages, over time.

With dead sources the nodal equations are (G + sC) x = b. Around a frequency s0 they are (G + s0 C)(1 + (s - s0) M) with
M = (G + s0 C)^-1 C, and each eigenvalue mu of M is a mode that answers as 1/(1 + (s - s0) mu): a pole at s0 - 1/mu, or,
where mu is next to nothing, no memory at all. Dielectric loss is left out: it has no such form.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from piezolab.circuit.elements import (
    GROUND,
    Capacitor,
    CurrentControlledCurrent,
    CurrentControlledVoltage,
    Element,
    NoiseVoltage,
    Resistor,
    VoltageSource,
    terminals,
)
from piezolab.circuit.equations import dense
from piezolab.circuit.errors import CircuitError
from piezolab.circuit.network import Network, ac_equations

Pair = tuple[str, str]

_AROUND = 2 * np.pi * 1000.0  # rad/s: s0
_AT_ONCE = 2 * np.pi * 1e11  # rad/s: what is faster has no memory
_CHECKED_HZ = (0.0, 30.0, 1e3, 2e4)
_TRUE = 1e-5  # of the largest of them: how near the modes come to the network


@dataclass(frozen=True)
class Modes:
    """Z(s) = `at_once` + sum over modes of `out` x `into` / (s - pole): V at the outputs per A into the inputs.

    pole: rad/s, complex, shape (M,), real parts below 0; out: (O, M); into: (M, I); at_once: ohm, (O, I).
    """

    pole: np.ndarray
    out: np.ndarray
    into: np.ndarray
    at_once: np.ndarray

    def impedance(self, frequency: float) -> np.ndarray:
        """V at each output per A into each input at a frequency in Hz, complex, shape (O, I)."""
        s = 2j * np.pi * frequency
        return self.at_once + (self.out / (s - self.pole)) @ self.into


def modes(network: Network, inputs: Sequence[Pair], outputs: Sequence[Pair]) -> Modes:
    """Modes of a linear network (see `small_signal.linearised`), for currents sent into the first node of each input
    and out of its second, and the voltages between the nodes of each output; all sources dead, no batch.

    Raises CircuitError where it is a batch, or where no sum of simple modes is this network within 1e-5: two equal
    poles that feed each other, say.
    """
    if network.batch_shape:
        raise CircuitError(f"modes are found of one network at a time, not of a batch of shape {network.batch_shape}")
    whole, place = _shorted(network)
    matrix, names = dense(ac_equations(whole, np.float64(1.0)))
    g, c = matrix.real, matrix.imag
    into, out = (_pairs(pairs, names, place) for pairs in (inputs, outputs))
    try:
        around = np.linalg.inv(g + _AROUND * c)
        size, vectors = np.linalg.eig(around @ c)
        left = np.linalg.solve(vectors, around @ into)
    except np.linalg.LinAlgError:
        raise CircuitError("the network has no simple modes: its equations do not come apart") from None
    right = out.T @ vectors
    slow = np.abs(size) * _AT_ONCE > 1
    pole = _AROUND - 1 / size[slow]
    found = Modes(
        pole=pole.astype(complex),
        out=(right[:, slow] / size[slow]).astype(complex),
        into=left[slow].astype(complex),
        at_once=(right[:, ~slow] @ left[~slow]).real,
    )
    for hz in _CHECKED_HZ:
        there = out.T @ np.linalg.solve(g + 2j * np.pi * hz * c, into)
        if not np.allclose(found.impedance(hz), there, rtol=_TRUE, atol=_TRUE * np.abs(there).max()):
            raise CircuitError(f"the network has no simple modes: at {hz:g} Hz they are not what it is")
    if np.any(pole.real >= 0):
        raise CircuitError("the network does not come to rest: it has a mode that grows")
    return found


def _shorted(network: Network) -> tuple[Network, dict[str, str]]:
    """The network with what is a plain connection, dead sources and 0 ohm, taken out, and where each node went."""
    heard = {e.through for e in network if isinstance(e, CurrentControlledCurrent | CurrentControlledVoltage)}
    place = {node: node for node in (*network.nodes, GROUND)}
    kept: list[Element] = []
    for element in network:
        plain = isinstance(element, VoltageSource | NoiseVoltage) or (isinstance(element, Resistor) and not element.ohm)
        if not plain or element.name in heard:
            kept.append(replace(element, loss_tangent=0.0) if isinstance(element, Capacitor) else element)
            continue
        ends = {place[element.a], place[element.b]}
        stays = GROUND if GROUND in ends else place[element.a]
        place = {node: stays if there in ends else there for node, there in place.items()}
    moved = [
        replace(element, **{
            field: place[value]
            for field, value in vars(element).items()
            if isinstance(value, str) and field != "name" and value in place
        })
        for element in kept
    ]  # fmt: skip
    return Network(element for element in moved if len(set(terminals(element))) > 1), place


def _pairs(pairs: Sequence[Pair], names: Sequence[str], place: dict[str, str]) -> np.ndarray:
    """A column for each pair: 1 at its first node, -1 at its second."""
    found = np.zeros((len(names), len(pairs)))
    for k, pair in enumerate(pairs):
        for node, sign in zip(pair, (1.0, -1.0), strict=True):
            if place[node] != GROUND:
                found[names.index(place[node]), k] += sign
    return found
