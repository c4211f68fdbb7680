"""Clip edges of a stage with several transistors: each of them, in each of its ways, on either side of rest.

One transistor's edge bends what drives the next, so all of them are followed together along their common a.c. load line
(`circuit.load_line`): a row of pickup voltages from near to far finds the first voltage beyond each edge, false
position between the last two the edge itself. What counts as an edge is said in `swing`, which this module serves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.circuit.load_line import LoadLine
from piezolab.studies.linear import LinearChain

CUT_OFF_PART = 0.01  # of the current at rest
GATE_A = 1e-6
CAUSES = ("cut-off", "triode", "gate")
#: Where edges are looked for, as changes of the voltage that moves most, V: none matters nearer or further.
_ROW = np.geomspace(1e-3, 1e3, 49)
_NARROWINGS = 8


@dataclass(frozen=True)
class Edge:
    """One transistor's one way to clip. cause: `cut-off`, `triode` or `gate`; rising, falling: the pickup voltage of
    either sign at which it begins, V, both positive, inf where it never does, 0 where it is so at rest."""

    transistor: str
    cause: str
    rising: np.ndarray
    falling: np.ndarray

    @classmethod
    def at(cls, transistor: str, cause: str, signed: np.ndarray) -> Edge:
        """From a signed pickup voltage: the side on which it lies, both where it is 0."""
        sides = (np.where(sign * signed >= 0, np.abs(signed), np.inf) for sign in (1.0, -1.0))
        return cls(transistor, cause, *sides)


def edges_of_several(linear: LinearChain) -> tuple[Edge, ...]:
    """The edges of all transistors of a chain, of the batch's shape."""
    line = linear.load_line
    rest = {name: linear.point.jfets[name].i_channel for name in linear.assembly.transistors}
    moved = np.abs(line.linear).max(axis=-1).reshape(line.shape)
    silent = moved < 1e-9
    row = _ROW / np.where(silent, 1.0, moved)[..., None]
    sides = [np.where(silent, np.inf, _side(line, rest, sign * row)) for sign in (1.0, -1.0)]
    labels = [(name, cause) for name in rest for cause in CAUSES]
    return tuple(Edge(*label, rising, falling) for label, rising, falling in zip(labels, *sides, strict=True))


def _side(line: LoadLine, rest: dict[str, np.ndarray], row: np.ndarray) -> np.ndarray:
    """Magnitude of the first pickup voltage of a row's sign beyond each edge, V, shape (edges,) + batch."""
    row = np.concatenate([np.zeros((*line.shape, 1)), row], axis=-1)
    left = _left(line, rest, row)  # (edges,) + batch + (E,)
    beyond = left <= 0
    at = np.argmax(beyond, axis=-1)
    low, high = (np.take_along_axis(np.broadcast_to(row, left.shape), np.maximum(at + k, 0)[..., None], -1)[..., 0]
                 for k in (-1, 0))  # fmt: skip
    f_low, f_high = (np.take_along_axis(left, np.maximum(at + k, 0)[..., None], -1)[..., 0] for k in (-1, 0))
    own = np.arange(len(left))
    moved = np.zeros(left.shape[:-1], int)  # which end moved last
    for _ in range(_NARROWINGS):
        with np.errstate(divide="ignore", invalid="ignore"):
            x = np.where(f_low > f_high, (low * -f_high + high * f_low) / (f_low - f_high), high)
        f = _left(line, rest, np.moveaxis(x, 0, -1))[own, ..., own]
        inside = f > 0
        # an end that stays twice counts half (the Illinois rule), so that neither stays for ever
        f_high = np.where(inside & (moved == 1), f_high / 2, f_high)
        f_low = np.where(~inside & (moved == -1), f_low / 2, f_low)
        low, f_low = np.where(inside, x, low), np.where(inside, f, f_low)
        high, f_high = np.where(inside, high, x), np.where(inside, f_high, f)
        moved = np.where(inside, 1, -1)
    edge = np.abs(np.where(np.abs(f_low) < np.abs(f_high), low, high))
    return np.where(beyond.any(axis=-1), np.where(at == 0, 0.0, edge), np.inf)


def _left(line: LoadLine, rest: dict[str, np.ndarray], e: np.ndarray) -> np.ndarray:
    """What is left to each edge at pickup voltages e, batch + (E,): positive short of it. Shape (edges,) + e's."""
    points, _ = line.at(e)
    found = []
    for name, model in zip(line.names, line.models, strict=True):
        if name not in rest:  # a clamp
            continue
        q = points[name]
        v_t, i_s = (np.broadcast_to(x, len(line.rest)).reshape(*line.shape, 1)
                    for x in (model.thermal_voltage, model.saturation_current))  # fmt: skip
        knee = v_t * np.log1p(GATE_A / i_s)
        found.append(q.i_channel - CUT_OFF_PART * rest[name][..., None])
        found.append(q.v_ds - q.v_ds_sat)
        found.append(knee - np.maximum(q.v_gs, q.v_gs - q.v_ds))
    return np.stack([np.broadcast_to(each, e.shape) for each in found])
