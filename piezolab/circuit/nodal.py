"""Newton's method on all nodes at once: the operating point of networks with several transistors.

A node that hangs between two channels and nearly nothing else sees gigohms, and what the channels leave to it is the
difference of two large currents. The nodal equations keep that difference; the impedances of `ports` would lose it.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from piezolab.circuit.elements import GROUND, Jfet
from piezolab.circuit.equations import Equations, members
from piezolab.circuit.errors import OperatingPointError
from piezolab.circuit.jfet import JfetModel
from piezolab.circuit.ports import LOWER, critical_voltage, flat_model, held_back, limited, port_currents
from piezolab.giving_way import give_way

_ITERATIONS = 80
_FEW = 4  # the last of so many go on by themselves
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
    lost = np.flatnonzero(~settled)
    if lost.size:
        some = _some(models, equations, side, lost, shape)
        v[lost], there = _raised(jfets, *some, lost.size)
        found = _with(found, lost, there, shape)
    return v, found


def _raised(
    jfets: tuple[Jfet, ...], models: list[JfetModel], equations: Equations, side: Mapping[str, object], size: int
) -> tuple[np.ndarray, Solution]:
    """Continuation: all sources from nothing to their value, in steps that halve where Newton does not settle."""
    reached, step = np.zeros(size), np.full(size, 0.1)
    v, answer = np.zeros((size, 2 * len(jfets))), {}
    for _ in range(400):
        going = np.flatnonzero((reached < 1) & (step >= 1e-9))
        if not going.size:
            break
        target = np.minimum(reached[going] + step[going], 1.0)
        some, own, right = _some(models, equations, side, going, (size,))
        right = {name: np.asarray(value) * target for name, value in right.items()}
        there, found, settled = _newton(jfets, some, own, right, v[going], (going.size,))
        v[going[settled]] = there[settled]
        answer = answer or {name: np.full(size, np.nan) for name in found}
        for name, value in found.items():
            answer[name][going[settled]] = value[settled]
        reached[going[settled]] = target[settled]
        step[going] *= np.where(settled, 2.0, 0.25)
    if np.any(reached < 1):
        names, lost = ", ".join(jfet.name for jfet in jfets), int((reached < 1).sum())
        raise OperatingPointError(f"{names}: no operating point found for {lost} of {size} networks that settle slowly")
    return v, answer


def _some(
    models: list[JfetModel], equations: Equations, side: Mapping[str, object], index: np.ndarray, shape: tuple[int, ...]
) -> tuple[list[JfetModel], Equations, Mapping[str, object]]:
    """Some members of a batch, by number."""
    size = int(np.prod(shape))
    taken = {name: members(value, index, shape) for name, value in side.items()}
    return [model.take(index, (size,)) for model in models], equations.taken(index, shape), taken


def _with(found: Solution, index: np.ndarray, there: Solution, shape: tuple[int, ...]) -> Solution:
    """A batch's solution with that of some members put in."""
    answer = {}
    for name, value in found.items():
        flat = np.array(value).reshape(-1)
        flat[index] = there[name]
        answer[name] = flat.reshape(shape)
    return answer


def _newton(
    jfets: tuple[Jfet, ...],
    models: list[JfetModel],
    equations: Equations,
    side: Mapping[str, object],
    v: np.ndarray,
    shape: tuple[int, ...],
    turns: int = _ITERATIONS,
) -> tuple[np.ndarray, Solution, np.ndarray]:
    v_t = np.stack([np.broadcast_to(np.asarray(m.thermal_voltage, float), len(v)) for m in models], axis=-1)
    # a guess far up the exponential comes back down by one thermal voltage a step: better start low and climb
    critical = critical_voltage(models, len(v)) - LOWER * v_t
    polished, before = False, np.zeros(len(v), bool)
    for turn in range(turns):
        give_way()
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
        twice, before = settled & before, settled
        few = np.flatnonzero(~twice)
        if not polished and _FEW * few.size <= len(v) and turn + 1 < turns:
            some = _some(models, equations, side, few, shape)
            v[few], there, twice[few] = _newton(jfets, *some, v[few], (few.size,), turns - turn - 1)
            return v, _with(found, few, there, shape), twice
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
