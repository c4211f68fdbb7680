"""Newton's method on the two ports of a single transistor, for a whole batch: `ports` in columns.

The steps are those of `ports` for any number of transistors, bit for bit, but every quantity lies in an array of its
own: of matrices two by two most of the time would go into finding their members.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from piezolab.circuit.jfet import JfetModel, channel, gate_currents
from piezolab.giving_way import give_way

ITERATIONS = 120
RELATIVE = 1e-11  # settled when the next step would move every current by less than this part of it
FLOOR_A = 1e-18
ROUNDING = 4e-16
AT_ONCE = 4096  # so many at a time fit the processor's cache
_GATHERED = 4  # where one in so many has settled, those left are gathered

Pair = tuple[np.ndarray, np.ndarray]  # of the gate's port, of the drain's
Square = Sequence[np.ndarray]  # four of a matrix of the ports, by rows


def newton_of_one(
    model: JfetModel, v_open: np.ndarray, z: np.ndarray, v: np.ndarray, critical: np.ndarray, hanging: bool
) -> np.ndarray:
    """Damped Newton on v - v_open + Z i(v) = 0 from v; those that do not settle come back as NaN.

    v, v_open in V, (N, 2), z in ohm, (N, 2, 2), critical in V, (N,): as in `ports`; hanging: whether the rounding of Z
    i is allowed for. Where one has settled the next takes its place, so that few steps are made for few.
    """
    count = len(v)
    answer = np.full((2, count), np.nan)
    v_t = np.broadcast_to(np.asarray(model.thermal_voltage, float), count)
    fixed = [np.ascontiguousarray(each) for each in (*v_open.T, *z.reshape(count, 4).T)]
    all_columns = [*(each.copy() for each in v.T), critical, v_t, *fixed, *(np.abs(each) for each in fixed)]
    begun = min(count, AT_ONCE)
    index, columns = np.arange(begun), [column[:begun] for column in all_columns]
    some, turns, going = model.take(index, (count,)), np.zeros(begun, int), np.ones(begun, bool)
    while index.size:
        give_way()
        here = (columns[0], columns[1])
        step, settled = _step(some, here, columns[4:10], columns[10:], hanging)
        columns[:2] = _limited(here, (here[0] + step[0], here[1] + step[1]), columns[3], columns[2])
        turns += 1
        settled &= going
        answer[:, index[settled]] = columns[0][settled], columns[1][settled]
        going &= ~settled & (turns < ITERATIONS)
        left = np.flatnonzero(going)
        if _GATHERED * (len(going) - left.size) < len(going):
            continue
        more = slice(begun, min(count, begun + AT_ONCE - left.size))
        begun = more.stop
        columns = [np.concatenate([old[left], new[more]]) for old, new in zip(columns, all_columns, strict=True)]
        index = np.concatenate([index[left], np.arange(more.start, more.stop)])
        turns = np.concatenate([turns[left], np.zeros(more.stop - more.start, int)])
        some, going = model.take(index, (count,)), np.ones(index.size, bool)
    return np.ascontiguousarray(answer.T)


def _step(
    model: JfetModel, v: Pair, fixed: list[np.ndarray], sizes_of: list[np.ndarray], hanging: bool
) -> tuple[Pair, np.ndarray]:
    """Newton's next step, V, and who has settled with it; fixed, sizes_of: v_open and z, and their magnitudes."""
    v_open, z = fixed[:2], fixed[2:]
    i_ch, g_m, g_ds = channel(model, *v)
    i_gs, g_gs, i_gd, g_gd = gate_currents(model, *v)
    gd_size = np.abs(i_gd)
    i, size = (i_gs + i_gd, i_ch - i_gd), (np.abs(i_gs) + gd_size, np.abs(i_ch) + gd_size)
    slope = (g_gs + g_gd, -g_gd, g_m - g_gd, g_ds + g_gd)
    drop = times(z, i)
    miss = (v[0] - v_open[0] + drop[0], v[1] - v_open[1] + drop[1])
    step = tuple(-each for each in solve_two(z, slope, miss))
    reach = times(sizes_of[2:], size)
    sizes = [np.abs(v[k]) + sizes_of[k] + reach[k] for k in range(2)]
    allowed = [RELATIVE * each + FLOOR_A for each in size]
    if hanging:
        rounded = times(tuple(np.abs(each) for each in slope), sizes)
        allowed = [allowed[k] + ROUNDING * rounded[k] for k in range(2)]
    change = times(slope, step)
    # a transistor that is off has no slope: there the miss itself must be gone too
    calm = [
        (np.abs(change[k]) <= allowed[k]) & (np.abs(miss[k]) <= 1e-9 * sizes[k] + 1e-15) for k in range(2)
    ]
    return step, calm[0] & calm[1]


def times(matrix: Square, vector: Pair) -> Pair:
    """Products of matrices of two ports with what the ports have."""
    a, b, c, d = matrix
    return a * vector[0] + b * vector[1], c * vector[0] + d * vector[1]


def solve_two(z: Square, slope: Square, miss: Pair) -> Pair:
    """(1 + Z S)^-1 times miss in closed form; its determinant is a sum of positive terms."""
    rows = times(z, (slope[0], slope[2])), times(z, (slope[1], slope[3]))
    m_gg, m_dg, m_gd, m_dd = rows[0][0] + 1.0, rows[0][1], rows[1][0], rows[1][1] + 1.0
    g_gd = -slope[1]
    g_gs = slope[0] - g_gd
    g_m, g_ds = slope[2] + g_gd, slope[3] - g_gd
    slopes = g_gs * g_ds + g_gs * g_gd + g_gd * g_ds + g_gd * g_m
    ohms = np.maximum(z[0] * z[3] - z[1] * z[2], 0.0)
    determinant = m_gg + m_dd - 1 + ohms * slopes
    a, b = miss
    return (m_dd * a - m_gd * b) / determinant, (m_gg * b - m_dg * a) / determinant


def _limited(v: Pair, wanted: Pair, v_t: np.ndarray, critical: np.ndarray) -> Pair:
    """`ports.limited`: above the knee of a junction a rise counts by its logarithm."""
    to_drain = wanted[0] - wanted[1]
    v_gs, v_gd = _held(v[0], wanted[0], v_t, critical), _held(v[0] - v[1], to_drain, v_t, critical)
    if v_gs is wanted[0] and v_gd is to_drain:
        return wanted
    shortened = (v_gs != wanted[0]) | (v_gd != to_drain)
    return v_gs, np.where(shortened, v_gs - v_gd, wanted[1])


def _held(old: np.ndarray, new: np.ndarray, v_t: np.ndarray, critical: np.ndarray) -> np.ndarray:
    start = np.maximum(old, critical)
    far = np.flatnonzero(new > start + 2 * v_t)
    if not far.size:
        return new
    held, start, v_t = new.copy(), start[far], v_t[far]
    held[far] = start + v_t * np.log1p((new[far] - start) / v_t)
    return held
