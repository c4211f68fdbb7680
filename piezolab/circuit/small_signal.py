"""Small-signal response: the network linearised at its operating point, over frequency, for a whole batch."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from piezolab.circuit.elements import (
    GROUND,
    Capacitor,
    Clamp,
    CurrentSource,
    Element,
    Jfet,
    VoltageControlledCurrent,
    VoltageSource,
)
from piezolab.circuit.errors import CircuitError
from piezolab.circuit.network import Network, ac_equations, by_name, with_all_currents
from piezolab.circuit.operating_point import OperatingPoint

Value = complex | np.ndarray
AT_ONCE = 40_000  # builds times frequencies


def linearised(network: Network, point: OperatingPoint) -> Network:
    """The network with each transistor replaced by its slopes and capacitances at the operating point.

    Element `Q` becomes `Q g_m`, `Q g_ds`, `Q g_gs`, `Q g_gd`, `Q c_gs` and `Q c_gd`; a clamp `Q g_gs` and `Q c_gs`.
    """
    elements: list[Element] = []
    for element in network:
        if not isinstance(element, Jfet):
            elements.append(element)
            continue
        q, d, g, s = element.name, element.drain, element.gate, element.source
        at = point.jfets[q]
        if isinstance(element, Clamp):
            elements.append(VoltageControlledCurrent(f"{q} g_gs", g, s, g, s, at.g_gs[()]))
            elements.append(Capacitor(f"{q} c_gs", g, s, element.model.cgs))
            continue
        elements += [
            VoltageControlledCurrent(f"{q} g_m", d, s, g, s, at.g_m[()]),
            VoltageControlledCurrent(f"{q} g_ds", d, s, d, s, at.g_ds[()]),
            VoltageControlledCurrent(f"{q} g_gs", g, s, g, s, at.g_gs[()]),
            VoltageControlledCurrent(f"{q} g_gd", g, d, g, d, at.g_gd[()]),
            Capacitor(f"{q} c_gs", g, s, element.model.cgs),
            Capacitor(f"{q} c_gd", g, d, element.model.cgd),
        ]
    return Network(elements)


def transfer(
    network: Network,
    frequency: np.ndarray | float,
    drive: Mapping[str, Value] | str,
    output: str,
    reference: str = GROUND,
) -> np.ndarray:
    """v(output) - v(reference) per unit of drive, complex, shape batch + shape of frequency (Hz, 0 or 1 axes).

    `drive` names one independent source, or several with their amplitudes (numbers or arrays of the batch's shape); all
    others are dead. The network must be linear (`linearised`). Raises SingularNetworkError, or CircuitError where a
    name is not an independent source or the network has no such node.
    """
    return transfers(network, frequency, drive, [(output, reference)])[0]


def transfers(
    network: Network,
    frequency: np.ndarray | float,
    drive: Mapping[str, Value] | str,
    outputs: Iterable[tuple[str, str]],
) -> list[np.ndarray]:
    """As `transfer`, for several pairs of nodes from one solution."""
    return transfers_of_each(network, frequency, [drive], outputs)[0]


def transfers_of_each(
    network: Network,
    frequency: np.ndarray | float,
    drives: Sequence[Mapping[str, Value] | str],
    outputs: Iterable[tuple[str, str]],
) -> list[list[np.ndarray]]:
    """As `transfers`, for each of several drives from one elimination.

    A large batch is solved a few frequencies at a time, which changes no digit: what an elimination has in hand then
    stays in the processor's cache, and memory is that of the answer.
    """
    frequency, outputs = np.asarray(frequency, float), list(outputs)
    builds = math.prod(network.batch_shape)
    if frequency.ndim != 1 or builds * frequency.size <= 2 * AT_ONCE:
        return _transfers_of_each(network, frequency, drives, outputs)
    whole: list[list[np.ndarray]] = []
    step = max(1, AT_ONCE // builds)
    for start in range(0, frequency.size, step):
        part = _transfers_of_each(network, frequency[start : start + step], drives, outputs)
        whole = whole or [[np.empty((*each.shape[:-1], frequency.size), complex) for each in row] for row in part]
        for row, found in zip(whole, part, strict=True):
            for into, each in zip(row, found, strict=True):
                into[..., start : start + step] = each
    return whole


def _transfers_of_each(
    network: Network,
    frequency: np.ndarray,
    drives: Sequence[Mapping[str, Value] | str],
    outputs: Sequence[tuple[str, str]],
) -> list[list[np.ndarray]]:
    wanted = {node for pair in outputs for node in pair if node != GROUND}
    answers = []
    for drive, found in zip(drives, _solve_driven(network, frequency, drives, wanted), strict=True):
        found[GROUND] = 0.0
        batch = np.broadcast_shapes(network.batch_shape, *(np.shape(value) for value in by_name(drive).values()))
        shape = batch + frequency.shape
        answer = []
        for a, b in outputs:
            value = found[a] if b == GROUND else found[a] - found[b]
            if np.shape(value) != shape or not np.iscomplexobj(value):
                value = np.broadcast_to(np.asarray(value, complex), shape)
            answer.append(value)
        answers.append(answer)
    return answers


def solve_driven(
    network: Network,
    frequency: np.ndarray,
    drive: Mapping[str, Value] | str,
    wanted: Iterable[str] | None = None,
) -> dict[str, Value]:
    """Node voltages (V) per unit of drive: all, or at least the wanted.

    Without `wanted` also the currents (A) of branches that have an unknown of their own: sources, coils, and resistors
    that are or may be small.
    """
    return _solve_driven(network, frequency, [drive], wanted)[0]


def _solve_driven(
    network: Network,
    frequency: np.ndarray,
    drives: Sequence[Mapping[str, Value] | str],
    wanted: Iterable[str] | None = None,
) -> list[dict[str, Value]]:
    sides = [_side(network, drive, np.ndim(frequency)) for drive in drives]
    for node in wanted or ():
        if node not in network.nodes:
            raise CircuitError(f"the network has no node {node!r}; there are {', '.join(network.nodes)}")
    equations = ac_equations(network, 2 * np.pi * frequency)
    if wanted is None:
        return [with_all_currents(network, found, np.ndim(frequency)) for found in equations.solve(*sides)]
    return equations.solve(*sides, wanted=wanted)


def _side(network: Network, drive: Mapping[str, Value] | str, extra: int) -> dict[str, Value]:
    """The right-hand side of a drive; `extra` axes for frequency follow the batch's."""
    side: dict[str, Value] = {}
    for name, amplitude in by_name(drive).items():
        amplitude = np.asarray(amplitude)
        amplitude = amplitude[(...,) + (None,) * extra] if amplitude.ndim else amplitude.item()
        match network[name]:
            case VoltageSource():
                side[name] = amplitude
            case CurrentSource() as source:
                for node, sign in ((source.a, -1.0), (source.b, 1.0)):
                    if node != GROUND:
                        side[node] = side.get(node, 0.0) + sign * amplitude
            case other:
                raise CircuitError(f"{name}: a {type(other).__name__} cannot drive a network; name a source")
    return side


def impedance(network: Network, frequency: np.ndarray | float, a: str, b: str = GROUND) -> np.ndarray:
    """Impedance in ohm seen between a and b with all independent sources dead; shape batch + frequency."""
    probe = "impedance probe"
    probed = network.plus(CurrentSource(probe, b, a))
    return transfer(probed, frequency, probe, a, b)
