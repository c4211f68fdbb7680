"""The alternating-current load line of several transistors with their gates drawing what they draw at rest.

Up to where a gate conducts, only the channels bend. Without the exponentials of the junctions one current for each
transistor is left to find, v = rest + drive e - ohm (i - i_rest) with i = channel(v), and a whole batch is followed
along the signal for little. `load_line` has the gates' own currents, too.

Arrays here: K transistors, N members, the batch last: currents (K, N), voltages V_GS and V_DS (2, K, N).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.circuit.errors import OperatingPointError
from piezolab.circuit.jfet import JfetModel, channel
from piezolab.circuit.load_line import LoadLine

_ITERATIONS = 200
_SETTLED = 1e-9  # of the current and of that at rest: a step as small as this is the last, the next were its square
_FREE = 20  # steps that are taken whole; where that does not settle, they are cut
_LEAST_PART = 1e-6  # of a step


@dataclass(frozen=True)
class ChannelState:
    """Channels at trial currents. v (2, K, N): V; i (K, N): what they carry at v, A; miss (K, N): the trial current
    above that, A; step, along (K, N): change of the trial currents by Newton's rule, and with the signal, A and A/V."""

    v: np.ndarray
    i: np.ndarray
    miss: np.ndarray
    step: np.ndarray
    along: np.ndarray


@dataclass(frozen=True)
class ChannelLine:
    """names: of the transistors; models: flat over the batch; rest, drive (2, K, N): V and V for each V of the signal;
    ohm (2, K, K, N): volts lost at a port for each ampere of a channel; current (K, N): at rest, A."""

    names: tuple[str, ...]
    models: tuple[JfetModel, ...]
    rest: np.ndarray
    drive: np.ndarray
    ohm: np.ndarray
    current: np.ndarray

    @classmethod
    def of(cls, line: LoadLine, names: tuple[str, ...]) -> ChannelLine:
        """Of some of a load line's transistors, the others (clamps) drawing what they draw at rest."""
        count = len(line.rest)
        gate = np.array([2 * line.names.index(name) for name in names])
        models = tuple(line.models[n].take(np.arange(count), (count,)) for n in gate // 2)
        rest, linear = (np.stack([each[:, gate].T, each[:, gate + 1].T]) for each in (line.rest, line.linear))
        ohm = np.stack([line.ohm[:, gate[:, None] + port, gate[None] + 1].transpose(1, 2, 0) for port in (0, 1)])
        found = [channel(model, *rest[:, k]) for k, model in enumerate(models)]
        i, g_m, g_ds = (np.stack([np.broadcast_to(each[n], count) for each in found]) for n in range(3))
        # the straight line that each has at rest, by the slopes of the channels alone
        drive = linear + (ohm * (g_m * linear[0] + g_ds * linear[1])).sum(axis=2)
        return cls(names, models, rest, drive, ohm, i)

    def take(self, index: np.ndarray) -> ChannelLine:
        """Some of the members."""
        count = self.rest.shape[-1]
        models = tuple(model.take(index, (count,)) for model in self.models)
        return ChannelLine(
            self.names, models, self.rest[..., index], self.drive[..., index], self.ohm[..., index],
            self.current[..., index],
        )  # fmt: skip

    def lost(self, change: np.ndarray) -> np.ndarray:
        """Volts (2, K, N) that a change of the currents (K, N) takes from the ports."""
        return (self.ohm * change).sum(axis=2)

    def state(self, e: np.ndarray, i: np.ndarray) -> ChannelState:
        """The channels at signals e (N,), V, and trial currents i (K, N), A."""
        v = self.rest + self.drive * e - self.lost(i - self.current)
        found = [channel(model, v[0, k], v[1, k]) for k, model in enumerate(self.models)]
        now, g_m, g_ds = (np.stack([each[n] for each in found]) for n in range(3))
        matrix = g_m[:, None] * self.ohm[0] + g_ds[:, None] * self.ohm[1]
        matrix[range(len(i)), range(len(i))] += 1.0
        sides = np.stack([now - i, g_m * self.drive[0] + g_ds * self.drive[1]])
        step, along = _solved(matrix, sides)
        return ChannelState(v, now, i - now, step, along)

    def solve(self, e: np.ndarray, start: np.ndarray) -> ChannelState:
        """Where the channels settle at signals e (N,), V, from a guess (K, N) of their currents, A: Newton's steps, in
        the end cut where they do not bring the currents nearer. Raises OperatingPointError."""
        scale = np.abs(self.current) + 1e-15
        i, best, part = start, np.full(e.shape, np.inf), np.ones(e.shape)
        here, step, settled = start, np.zeros_like(start), np.zeros(e.shape, bool)
        for turn in range(_ITERATIONS):
            state = self.state(e, i)
            miss = ((state.miss / scale) ** 2).sum(axis=0)
            nearer = (miss < best) | (part < _LEAST_PART) | (turn < _FREE)
            if nearer.all():
                here, step, best = i, state.step, miss
                part = np.ones(e.shape)
            else:
                here, step = np.where(nearer, i, here), np.where(nearer, state.step, step)
                best, part = np.where(nearer, miss, best), np.where(nearer, 1.0, 0.5 * part)
            settled |= np.all(np.abs(state.step) <= _SETTLED * (np.abs(i) + scale), axis=0)
            if settled.all():
                return state
            i = np.where(settled, i, here + part * step)
        raise OperatingPointError(f"{', '.join(self.names)}: no currents found along the load line")


def _solved(matrix: np.ndarray, sides: np.ndarray) -> np.ndarray:
    """Solutions (S, K, N) of matrices (K, K, N) for right-hand sides (S, K, N); of one and two unknowns written out."""
    if len(matrix) == 1:
        return sides / matrix[0]
    if len(matrix) == 2:
        (a, b), (c, d) = matrix
        x, y = sides[:, 0], sides[:, 1]
        return np.stack([d * x - b * y, a * y - c * x], axis=1) / (a * d - b * c)
    each = np.linalg.solve(matrix.transpose(2, 0, 1), sides.transpose(2, 1, 0))
    return each.transpose(2, 1, 0)
