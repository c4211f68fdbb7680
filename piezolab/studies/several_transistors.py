"""Clip edges of a stage with several transistors: each of them, in each of its ways, on either side of rest.

One transistor's edge bends what drives the next, so all are followed together along their common a.c. load line, with
the gates drawing what they draw at rest, as with one transistor (`circuit.channel_line`). Members, sides and edges are
one batch: a row of pickup voltages from near to far finds the first voltage beyond each edge, Newton's rule between the
last two, with the currents and the voltage as unknowns, the edge itself; where that leaves them, halving does. What
counts as an edge is said in `swing`, which this module serves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.circuit.channel_line import ChannelLine, ChannelState
from piezolab.giving_way import give_way
from piezolab.studies.linear import LinearChain

CUT_OFF_PART = 0.01  # of the current at rest
GATE_A = 1e-6
CAUSES = ("cut-off", "triode", "gate")
#: Where edges are looked for, as changes of the voltage that moves most, V: none matters further.
_ROW = np.geomspace(1e-2, 1e3, 26)
_STEPS, _HALVINGS = 12, 60
_NEAR = 1e-10  # of the voltage: an edge as near as this is there


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


@dataclass(frozen=True)
class _Left:
    """What is left to each edge, (3K, N): positive short of it; by_i (3K, K, N) and by_e (3K, N): its slopes with the
    currents and with the pickup voltage."""

    value: np.ndarray
    by_i: np.ndarray
    by_e: np.ndarray


def edges_of_several(linear: LinearChain) -> tuple[Edge, ...]:
    """The edges of all transistors of a chain, of the batch's shape."""
    names, shape = linear.assembly.transistors, linear.load_line.shape
    one = ChannelLine.of(linear.load_line, names)
    count = one.rest.shape[-1]
    moved = np.abs(linear.load_line.linear).max(axis=-1)
    there = np.flatnonzero(moved >= 1e-9)  # the others the signal does not reach
    found = np.full((3 * len(names), 2, count), np.inf)
    if there.size:
        line = one.take(np.tile(there, 2))
        unit = np.repeat([1.0, -1.0], there.size) / np.tile(moved[there], 2)
        found[..., there] = _first_beyond(line, unit).reshape(-1, 2, there.size)
    labels = [(name, cause) for name in names for cause in CAUSES]
    return tuple(Edge(*label, *each.reshape(2, *shape)) for label, each in zip(labels, found, strict=True))


def _first_beyond(line: ChannelLine, unit: np.ndarray) -> np.ndarray:
    """Magnitude of the first pickup voltage beyond each edge, V, (3K, N); unit (N,): signed, of which _ROW counts."""
    e, i = np.zeros(unit.shape), line.current
    state = line.state(e, i)
    left = _left(line, state, i)
    found = np.where(left.value <= 0, 0.0, np.inf)
    brackets = []
    for far in _ROW:
        give_way()
        e_far = far * unit
        state_far = line.solve(e_far, i + state.along * (e_far - e))
        i_far = state_far.i
        left_far = _left(line, state_far, i_far)
        own, member = at = np.nonzero((left_far.value <= 0) & np.isinf(found))
        if own.size:
            found[at] = 0.0  # until it is known better
            brackets.append((own, member, e[member], e_far[member], i[:, member]))
        e, i, state, left = e_far, i_far, state_far, left_far
        if np.isfinite(found).all():
            break
    if brackets:
        own, member, *ends = (np.concatenate(each, axis=-1) for each in zip(*brackets, strict=True))
        found[own, member] = np.abs(_between(line.take(member), own, *ends))
    return found


def _between(line: ChannelLine, own: np.ndarray, near: np.ndarray, far: np.ndarray, i_near: np.ndarray) -> np.ndarray:
    """The pickup voltage (N,) of one edge of each member between one short of it and one beyond. It starts at the near
    end, where the channels conduct: one that is cut off says nothing of where it began to be."""
    e, i = near, i_near
    low, high = np.minimum(near, far), np.maximum(near, far)
    settled = np.zeros(own.shape, bool)
    for _ in range(_STEPS):
        give_way()
        state = line.state(e, i)
        left = _left(line, state, i, own)
        slope = left.by_e + (left.by_i * state.along).sum(axis=0)
        with np.errstate(divide="ignore", invalid="ignore"):
            moves = -(left.value + (left.by_i * state.step).sum(axis=0)) / slope
        e_next = np.clip(np.where(np.isfinite(moves), e + moves, e), low, high)
        i_next = i + state.step + state.along * (e_next - e)
        still = np.all(np.abs(i_next - i) <= _NEAR * np.abs(line.current), axis=0)
        settled = still & (np.abs(moves) <= _NEAR * np.abs(e))
        e, i = e_next, i_next
        if settled.all():
            return e
    lost = np.flatnonzero(~settled)
    e[lost] = _halved(line.take(lost), own[lost], near[lost], far[lost], i_near[:, lost])
    return e


def _halved(line: ChannelLine, own: np.ndarray, near: np.ndarray, far: np.ndarray, i: np.ndarray) -> np.ndarray:
    """The same by halving, from the currents at the near end."""
    for _ in range(_HALVINGS):
        give_way()
        middle = 0.5 * (near + far)
        state = line.solve(middle, i)
        short = _left(line, state, state.i, own).value > 0
        near, far, i = np.where(short, middle, near), np.where(short, far, middle), np.where(short, state.i, i)
    return 0.5 * (near + far)


def _left(line: ChannelLine, state: ChannelState, i: np.ndarray, own: np.ndarray | None = None) -> _Left:
    """What is left to each edge at trial currents i (K, N), or to one edge of each member."""
    value, by_i, by_e = [], [], []
    for k, model in enumerate(line.models):
        v_gs, v_ds = state.v[:, k]
        turned = v_ds < 0
        lower = np.where(turned, v_gs - v_ds, v_gs)  # the gate above the more negative end of the channel
        on = lower > model.v_off
        knee = model.thermal_voltage * np.log1p(GATE_A / np.asarray(model.saturation_current))
        unit = np.zeros_like(i)
        unit[k] = 1.0
        value += [i[k] - CUT_OFF_PART * line.current[k], v_ds - np.where(on, lower - model.v_off, 0.0), knee - lower]
        gs_i, ds_i, gs_e, ds_e = -line.ohm[0, k], -line.ohm[1, k], line.drive[0, k], line.drive[1, k]
        by_i += [unit, *_slopes(turned, on, gs_i, ds_i)]
        by_e += [np.zeros_like(gs_e), *_slopes(turned, on, gs_e, ds_e)]
    if own is None:
        return _Left(np.stack(value), np.stack(by_i), np.stack(by_e))
    member = np.arange(len(own))
    return _Left(
        np.stack(value)[own, member], np.stack(by_i)[own, :, member].T, np.stack(by_e)[own, member],
    )  # fmt: skip


def _slopes(turned: np.ndarray, on: np.ndarray, gs: np.ndarray, ds: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """How what is left to the triode region and to the gate's conduction moves where V_GS and V_DS move so."""
    lower = np.where(turned, gs - ds, gs)
    return ds - np.where(on, lower, 0.0), -lower
