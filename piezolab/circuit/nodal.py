"""Newton's method on all nodes at once: the operating point of networks with several transistors.

A node that hangs between two channels and nearly nothing else sees gigohms, and what the channels leave to it is the
difference of two large currents. The nodal equations keep that difference; the impedances of `ports` would lose it.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from piezolab.circuit.elements import GROUND, Jfet
from piezolab.circuit.equations import Equations
from piezolab.circuit.errors import OperatingPointError
from piezolab.circuit.jfet import JfetModel
from piezolab.circuit.ports import LOWER, critical_voltage, flat_model, held_back, limited, port_currents

_ITERATIONS = 80
_RELATIVE, _FLOOR_A = 1e-11, 1e-18  # settled: no current differs by more than this from its straight-line estimate
Solution = dict[str, np.ndarray]


def solve_nodes(
    jfets: tuple[Jfet, ...], equations: Equations, side: Mapping[str, object], shape: tuple[int, ...]
) -> tuple[np.ndarray, Solution]:
    """Port voltages (N, 2K) as in `ports`, and all voltages and branch currents (batch shape).

    equations: the linear part; side: its right-hand side. Raises OperatingPointError naming the transistors.
    """
    models = [flat_model(jfet.model, shape) for jfet in jfets]
    size = int(np.prod(shape))
    v, found, settled = _newton(jfets, models, equations, side, np.zeros((size, 2 * len(jfets))), shape)
    if settled.all():
        return v, found
    # continuation: all sources from nothing to their value, in steps that halve where Newton does not settle
    reached, step = np.zeros(size), np.full(size, 0.1)
    v = np.zeros_like(v)
    answer = {name: value.copy() for name, value in found.items()}
    for _ in range(400):
        if np.all((reached >= 1) | (step < 1e-9)):
            break
        target = np.minimum(reached + step, 1.0)
        part = {name: np.asarray(value) * target.reshape(shape) for name, value in side.items()}
        there, found, settled = _newton(jfets, models, equations, part, v, shape)
        good = settled & (reached < 1)
        v[good] = there[good]
        for name, value in found.items():
            answer[name] = np.where(good.reshape(shape), value, answer[name])
        reached = np.where(good, target, reached)
        step = step * np.where(settled, 2.0, 0.25)
    if np.any(reached < 1):
        names, lost = ", ".join(jfet.name for jfet in jfets), int((reached < 1).sum())
        raise OperatingPointError(f"{names}: no operating point found for {lost} of {size} networks")
    return v, answer


def _newton(
    jfets: tuple[Jfet, ...],
    models: list[JfetModel],
    equations: Equations,
    side: Mapping[str, object],
    v: np.ndarray,
    shape: tuple[int, ...],
) -> tuple[np.ndarray, Solution, np.ndarray]:
    v_t = np.stack([np.broadcast_to(np.asarray(m.thermal_voltage, float), len(v)) for m in models], axis=-1)
    # a guess far up the exponential comes back down by one thermal voltage a step: better start low and climb
    critical = critical_voltage(models, len(v)) - LOWER * v_t
    polished = False
    for _ in range(_ITERATIONS):
        i, slope, _ = port_currents(models, v)
        (found,) = _linear(jfets, equations, side, i - (slope @ v[..., None])[..., 0], slope, shape)
        found = {name: np.broadcast_to(np.asarray(value, float), shape) for name, value in found.items()}
        wanted = np.stack(
            [
                (_at(found, end, shape) - _at(found, jfet.source, shape)).reshape(len(v))
                for jfet in jfets
                for end in (jfet.gate, jfet.drain)
            ],
            axis=-1,
        )
        volts = np.max([np.abs(value) for name, value in found.items() if name in equations.nodes], axis=0)
        rounding = np.abs(slope).sum(axis=-1) * 4e-16 * volts.reshape(len(v), 1)
        there, _, size = port_currents(models, np.clip(wanted, -1e6, 1e6))
        left_over = np.abs(there - i - (slope @ (wanted - v)[..., None])[..., 0])
        settled = np.all((left_over <= _RELATIVE * size + _FLOOR_A + rounding) & (np.abs(wanted) < 1e6), axis=-1)
        # far from the root the square law throws far: no step beyond 10 V or twice the voltage, none past a megavolt
        stride = np.maximum(np.abs(v), 10.0)
        held = np.clip(np.clip(wanted, v - stride, v + stride), -1e6, 1e6)
        held = limited(v, held_back(models, v, held), v_t, critical)
        v = np.where(settled[:, None], wanted, held)
        if polished:
            return v, found, np.ones(len(v), bool)
        polished = bool(settled.all())  # one round more for the last digits
    return v, found, settled


def _linear(
    jfets: tuple[Jfet, ...],
    equations: Equations,
    side: Mapping[str, object],
    rest: np.ndarray,
    slope: np.ndarray,
    shape: tuple[int, ...],
) -> list[dict[str, object]]:
    """The network with every transistor replaced by its slopes and the current that these leave over."""
    whole, right = equations.copy(), dict(side)
    for n, jfet in enumerate(jfets):
        d, g, s = jfet.drain, jfet.gate, jfet.source
        at_gate, at_drain = 2 * n, 2 * n + 1
        cells = slope[:, at_gate : at_drain + 1, at_gate : at_drain + 1].reshape(*shape, 2, 2)
        g_gd = -cells[..., 0, 1]
        g_m, g_ds = cells[..., 1, 0] + g_gd, cells[..., 1, 1] - g_gd
        whole.admittance(g, s, cells[..., 0, 0] - g_gd)
        whole.admittance(g, d, g_gd)
        # a reversed channel is steered from its other end, so that both coefficients stay positive
        whole.transadmittance(d, s, g, s, np.maximum(g_m, 0.0))
        whole.transadmittance(s, d, g, d, np.maximum(-g_m, 0.0))
        whole.admittance(d, s, np.maximum(g_ds + np.minimum(g_m, 0.0), 0.0))
        i_g, i_d = rest[:, at_gate].reshape(shape), rest[:, at_drain].reshape(shape)
        for node, current in ((g, -i_g), (d, -i_d), (s, i_g + i_d)):
            if node != GROUND:
                right[node] = right.get(node, 0.0) + current
    return whole.solve(right)


def _at(found: Solution, node: str, shape: tuple[int, ...]) -> np.ndarray:
    return np.zeros(shape) if node == GROUND else found[node]
