"""What a network's transistors do to each other: the port voltages that solve v = v_open - Z i(v), for a whole batch.

The linear part of a network, seen from its transistors, is an open-circuit voltage and an impedance matrix for the two
ports (gate to source, drain to source) of each. Newton's method on that is damped by the junction law and started from
a bracketed solution without gate current; where it does not settle, nested bracketing takes over (with several
transistors: raising the sources in steps).
V_GS and V_DS are the unknowns, so a channel drop of a microvolt keeps its digits beside a supply of volts.

Several transistors that hang on each other through gigohms alone need `nodal` instead: there Z i has no digits left.

Arrays: v, v_open (N, 2K) in the order V_GS, V_DS of the first transistor, then of the second; z (N, 2K, 2K) in ohm.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from piezolab.circuit.errors import OperatingPointError
from piezolab.circuit.jfet import JfetModel, channel, gate_currents
from piezolab.circuit.two_ports import FLOOR_A, ITERATIONS, RELATIVE, ROUNDING, newton_of_one, solve_two
from piezolab.giving_way import give_way

_STRIDE = 20.0  # V; with several transistors no step goes further
_PATIENCE = 25  # steps after which rounding in the others' ports is looked at, too
LOWER = 8.0  # thermal voltages under a small junction's knee, where it carries some microamperes


def flat_model(model: JfetModel, shape: tuple[int, ...]) -> JfetModel:
    """The model with each field as wide as a flattened batch of that shape (or a single number)."""
    return model.take(np.arange(int(np.prod(shape))), shape)


def port_currents(models: list[JfetModel], v: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Currents into the ports (N, 2K), their slopes (N, 2K, 2K), and the sizes of what adds up to them (N, 2K)."""
    i, size = np.empty_like(v), np.empty_like(v)
    slope = np.zeros((*v.shape, v.shape[-1]))
    for n, model in enumerate(models):
        g, d = 2 * n, 2 * n + 1
        i_ch, g_m, g_ds = channel(model, v[:, g], v[:, d])
        i_gs, g_gs, i_gd, g_gd = gate_currents(model, v[:, g], v[:, d])
        i[:, g], i[:, d] = i_gs + i_gd, i_ch - i_gd
        size[:, g], size[:, d] = np.abs(i_gs) + np.abs(i_gd), np.abs(i_ch) + np.abs(i_gd)
        slope[:, g, g], slope[:, g, d] = g_gs + g_gd, -g_gd
        slope[:, d, g], slope[:, d, d] = g_m - g_gd, g_ds + g_gd
    return i, slope, size


def solve_ports(
    names: Sequence[str], models: list[JfetModel], v_open: np.ndarray, z: np.ndarray, start: np.ndarray | None = None
) -> np.ndarray:
    """Port voltages, from a guess if there is one. Raises OperatingPointError naming the transistors."""
    v = find_ports(models, v_open, z, start)
    lost = np.isnan(v).any(axis=-1)
    if lost.any():
        raise OperatingPointError(
            f"{', '.join(names)}: no operating point found for {int(lost.sum())} of {len(v)} networks"
        )
    return v


def find_ports(
    models: list[JfetModel], v_open: np.ndarray, z: np.ndarray, start: np.ndarray | None = None
) -> np.ndarray:
    """Port voltages, from a guess if there is one; NaN where none are found."""
    if start is not None and len(models) > 1:
        start = _tame(start)
    v = _newton(models, v_open, z, _start(models, v_open, z) if start is None else start)
    again = [] if start is None else [_restarted]
    for fallback in (*again, _bracketed if len(models) == 1 else _raise_sources):
        bad = np.flatnonzero(np.isnan(v).any(axis=-1))
        if not bad.size:
            return v
        some = [model.take(bad, (len(v),)) for model in models]
        v[bad] = fallback(some, v_open[bad], z[bad])
    return v


def _restarted(models: list[JfetModel], v_open: np.ndarray, z: np.ndarray) -> np.ndarray:
    return _newton(models, v_open, z, _start(models, v_open, z))


def _start(models: list[JfetModel], v_open: np.ndarray, z: np.ndarray) -> np.ndarray:
    """Port voltages with the gates drawing nothing: bracketed for one transistor, open-circuit for several."""
    if len(models) > 1:
        return _tame(np.clip(v_open, -50.0, 50.0))
    model = models[0]
    # the channel current falls as the network is loaded, so i - I_D(v(i)) rises and has one root
    open_gs, open_ds = (each.copy() for each in v_open.T)
    z_gs, z_ds = z[:, 0, 1].copy(), z[:, 1, 1].copy()
    bound = np.abs(channel(model, np.abs(open_gs), np.abs(open_ds))[0]) + np.abs(
        channel(model, np.abs(open_gs - open_ds), np.abs(open_ds))[0]
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        most = np.where(z_ds > 0, np.abs(open_ds) / z_ds, np.inf)  # what leaves V_DS = 0
    bound = np.minimum(bound, most) + 1e-15
    backwards = open_ds < 0
    low, high = np.where(backwards, -bound, -1e-15), np.where(backwards, 1e-15, bound)
    i = np.zeros_like(bound)
    for _ in range(40):
        give_way()
        now, g_m, g_ds = channel(model, open_gs - z_gs * i, open_ds - z_ds * i)
        off = i - now
        low, high = np.where(off < 0, i, low), np.where(off > 0, i, high)
        step = i - off / (1 + g_m * z_gs + g_ds * z_ds)
        inside = (step > low) & (step < high)
        i_next = np.where(inside, step, 0.5 * (low + high))
        if np.all(np.abs(i_next - i) <= 1e-9 * np.abs(i) + 1e-16):
            break
        i = i_next
    v = v_open - z[:, :, 1] * i[:, None]
    v[:, 0] = np.minimum(v[:, 0], 0.6 + np.minimum(v[:, 1], 0.0))
    return v


def _tame(v: np.ndarray) -> np.ndarray:
    """A guess whose gate junctions all conduct next to nothing: from there Newton's steps are of a sensible size."""
    v = v.copy()
    v[:, ::2] = np.minimum(v[:, ::2], 0.4 + np.minimum(v[:, 1::2], 0.0))
    return v


def _newton(
    models: list[JfetModel], v_open: np.ndarray, z: np.ndarray, v: np.ndarray, hanging: bool = False
) -> np.ndarray:
    """Damped Newton on v - v_open + Z i(v) = 0; members that do not settle come back as NaN.

    hanging: whether the rounding of Z i is allowed for, as it is with several transistors.
    """
    critical = critical_voltage(models, len(v))
    if len(models) == 1:
        return newton_of_one(models[0], v_open, z, v, critical[:, 0], hanging)
    answer = np.full_like(v, np.nan)
    active = np.arange(len(v))
    v_t = np.stack([np.broadcast_to(np.asarray(m.thermal_voltage, float), len(v)) for m in models], axis=-1)
    critical = critical - LOWER * v_t  # far up the exponential of one gate the others run away
    for turn in range(ITERATIONS):
        give_way()
        some = models if len(active) == len(answer) else [model.take(active, (len(answer),)) for model in models]
        i, slope, size = port_currents(some, v)
        here = z if len(active) == len(answer) else z[active]
        miss = v - v_open[active] + _times(here, i)
        step = -solve_small(here, slope, miss)
        change = np.abs(_times(slope, step))
        # a transistor that is off has no slope: there the miss itself must be gone too
        sizes = np.abs(v) + np.abs(v_open[active]) + _times(np.abs(here), size)
        allowed = RELATIVE * size + FLOOR_A
        # what hangs on high impedances is known to the rounding of Z i only
        allowed = allowed + ROUNDING * (np.abs(slope) @ sizes[..., None])[..., 0]
        if turn > _PATIENCE:  # and what the others' currents leave uncertain there
            allowed = allowed + ROUNDING * _spread(here, slope, sizes)
        settled = np.all((change <= allowed) & (np.abs(miss) <= 1e-9 * sizes + 1e-15), axis=-1)
        wanted = held_back(some, v, v + np.clip(step, -_STRIDE, _STRIDE))
        v_next = limited(v, wanted, v_t[active], critical[active])
        answer[active[settled]] = v_next[settled]
        active, v = active[~settled], v_next[~settled]
        if not active.size:
            break
    return answer


def _times(matrix: np.ndarray, vector: np.ndarray) -> np.ndarray:
    """Products of matrices (N, K, K) with vectors (N, K); for the ports of one transistor written out, since a product
    of many tiny matrices costs several times its sums."""
    if matrix.shape[-1] != 2:
        return (matrix @ vector[..., None])[..., 0]
    return matrix[..., 0] * vector[..., :1] + matrix[..., 1] * vector[..., 1:]


def _spread(z: np.ndarray, slope: np.ndarray, off: np.ndarray) -> np.ndarray:
    """How far the currents move where each port's voltage is off by as much, at the most."""
    inverse = np.linalg.inv(np.eye(z.shape[-1]) + z @ slope)
    return (np.abs(slope) @ (np.abs(inverse) @ off[..., None]))[..., 0]


def critical_voltage(models: list[JfetModel], size: int) -> np.ndarray:
    """Where the exponential of each transistor's junctions bends most, V, shape (size, K)."""
    knees = (m.thermal_voltage * np.log(m.thermal_voltage / (np.sqrt(2) * m.saturation_current)) for m in models)
    return np.stack([np.broadcast_to(np.asarray(knee), size) for knee in knees], axis=-1)


def solve_small(z: np.ndarray, slope: np.ndarray, miss: np.ndarray) -> np.ndarray:
    """(1 + Z S)^-1 times miss; for one transistor in closed form, whose determinant is a sum of positive terms."""
    if z.shape[-1] != 2:
        matrix = z @ slope
        matrix[:, range(z.shape[-1]), range(z.shape[-1])] += 1.0
        return np.linalg.solve(matrix, miss[..., None])[..., 0]
    of_z, of_slope = (tuple(each.reshape(len(each), 4).T) for each in (z, slope))
    answer = np.empty_like(miss)
    answer[:, 0], answer[:, 1] = solve_two(of_z, of_slope, tuple(miss.T))
    return answer


def limited(v: np.ndarray, wanted: np.ndarray, v_t: np.ndarray, critical: np.ndarray) -> np.ndarray:
    """Hold back steps that would carry a junction up its exponential: above the knee a rise counts by its logarithm."""
    wanted = wanted.copy()
    for n in range(v_t.shape[-1]):
        g, d = 2 * n, 2 * n + 1
        held, least = [], 2 * v_t[:, n]
        to_gate, to_drain = wanted[:, g], wanted[:, g] - wanted[:, d]
        for old, new in ((v[:, g], to_gate), (v[:, g] - v[:, d], to_drain)):
            start = np.maximum(old, critical[:, n])
            far = new > start + least
            if far.any():
                allowed = start + v_t[:, n] * np.log1p(np.maximum(new - start, 0.0) / v_t[:, n])
                new = np.where(far, allowed, new)
            held.append(new)
        v_gs, v_gd = held
        if v_gs is not to_gate or v_gd is not to_drain:
            shortened = (v_gs != to_gate) | (v_gd != to_drain)
            wanted[:, d] = np.where(shortened, v_gs - v_gd, wanted[:, d])
            wanted[:, g] = v_gs
    return wanted


def held_back(models: list[JfetModel], v: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """Hold back gates that a straight line throws into conduction.

    Where the channel hardly conducts the square law has hardly a slope, and a straight line overshoots by any amount:
    from cut-off a gate comes to a fifth into the channel's range at most, from there to 0 V against either end.
    """
    wanted = wanted.copy()
    for n, model in enumerate(models):
        g, d = 2 * n, 2 * n + 1
        ends = []
        for old, new in ((v[:, g], wanted[:, g]), (v[:, g] - v[:, d], wanted[:, g] - wanted[:, d])):
            most = np.where(old < model.v_off, 0.8 * model.v_off, 0.0)
            ends.append(np.where((old < 0) & (new > most), most, new))
        moved = (ends[0] != wanted[:, g]) | (ends[1] != wanted[:, g] - wanted[:, d])
        wanted[:, d] = np.where(moved, ends[0] - ends[1], wanted[:, d])
        wanted[:, g] = ends[0]
    return wanted


def _bracketed(models: list[JfetModel], v_open: np.ndarray, z: np.ndarray) -> np.ndarray:
    """One transistor by nested bracketing: V_DS for a given V_GS inside, V_GS outside, then Newton for the last digits.

    In a network of resistors both are rising functions of slope 1 or more (z_DD >= z_GD and z_GG >= z_GD), so the
    root lies within one miss of any guess.
    """
    (model,) = models

    def inner(v_gs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        def miss(v_ds: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
            v = np.stack([v_gs, v_ds], axis=-1)
            i, slope, _ = port_currents(models, v)
            value = v_ds - v_open[:, 1] + z[:, 1, 0] * i[:, 0] + z[:, 1, 1] * i[:, 1]
            return value, 1 + z[:, 1, 0] * slope[:, 0, 1] + z[:, 1, 1] * slope[:, 1, 1]

        v_ds = _rising_root(miss, np.maximum(v_gs, 0.0))
        return v_ds, port_currents(models, np.stack([v_gs, v_ds], axis=-1))[0]

    def outer(v_gs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        _, i = inner(v_gs)
        return v_gs - v_open[:, 0] + z[:, 0, 0] * i[:, 0] + z[:, 0, 1] * i[:, 1], np.full(len(v_gs), np.inf)

    v_gs = _rising_root(outer, np.broadcast_to(np.asarray(model.v_off, float), len(v_open)).copy())
    v = np.stack([v_gs, inner(v_gs)[0]], axis=-1)
    return _newton(models, v_open, z, v, hanging=True)


def _rising_root(miss: Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]], guess: np.ndarray) -> np.ndarray:
    """Root of a rising function of slope >= 1, by Newton inside a shrinking bracket (slope inf: by halves)."""
    value, _ = miss(guess)
    low, high = guess - np.abs(value) - 1e-12, guess + np.abs(value) + 1e-12
    x = guess
    for _ in range(300):
        give_way()
        value, slope = miss(x)
        low, high = np.where(value < 0, x, low), np.where(value > 0, x, high)
        with np.errstate(invalid="ignore", divide="ignore"):
            step = x - value / slope
        middle = 0.5 * (low + high)
        x_next = np.where((step > low) & (step < high) & np.isfinite(slope), step, middle)
        if np.all(np.abs(x_next - x) <= 4e-16 * np.abs(x) + 1e-18):
            break
        x = x_next
    return x


def _raise_sources(models: list[JfetModel], v_open: np.ndarray, z: np.ndarray) -> np.ndarray:
    """Continuation: every source from nothing to its value, in steps that halve where Newton does not settle."""
    size = len(v_open)
    reached, step = np.zeros(size), np.full(size, 0.1)
    v = np.zeros_like(v_open)
    for _ in range(400):
        give_way()
        active = np.flatnonzero((reached < 1) & (step > 1e-9))
        if not active.size:
            break
        target = np.minimum(reached[active] + step[active], 1.0)
        some = [model.take(active, (size,)) for model in models]
        found = _newton(some, v_open[active] * target[:, None], z[active], v[active])
        good = ~np.isnan(found).any(axis=-1)
        v[active[good]] = found[good]
        reached[active[good]] = target[good]
        step[active] *= np.where(good, 2.0, 0.25)
    v[reached < 1] = np.nan
    return v
