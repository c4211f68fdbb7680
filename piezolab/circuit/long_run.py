"""A network with transistors over a long waveform: seconds of sound, where `transient` would walk sample by sample.

The network linearised at rest answers the waveform exactly, in the frequency domain. What the transistors carry
besides, the current by which they differ from their slopes at rest, is sent into that same linear network, whose modes
remember it; at each instant current and voltages are iterated until they agree, gate conduction and cut-off included.

Time is cut into pieces that are walked side by side. Each begins as the modes stood at the end of the piece before it,
which at first is a guess: the walk is repeated for those pieces whose beginning has moved, carried on by the linear
network, until none has (time-parallel iteration; J.-L. Lions, Y. Maday and G. Turinici, C. R. Acad. Sci. Paris 332
(2001) 661-668, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import count

import numpy as np

from piezolab.circuit.elements import GROUND
from piezolab.circuit.errors import CircuitError
from piezolab.circuit.jfet import JfetModel
from piezolab.circuit.modes import Modes, modes
from piezolab.circuit.network import Network
from piezolab.circuit.operating_point import OperatingPoint
from piezolab.circuit.ports import (
    LOWER,
    critical_voltage,
    flat_model,
    held_back,
    limited,
    port_currents,
    solve_ports,
)
from piezolab.circuit.small_signal import linearised
from piezolab.giving_way import give_way

_PIECE = 480  # samples that are walked one after the other
PASSES = 14_000  # of the iteration, some seconds of work: what needs more is too far from its rest to be followed
# of the largest voltage: a piece whose beginning is nearer than this stays as it is; what still creeps from piece to
# piece after some rounds is left sooner
_MOVED = (1e-5, 1e-5, 1e-5, 1e-5, 2e-5, 4e-5, 1e-4)
_ITERATIONS = 12  # then each instant is solved by itself, as an operating point is
_FAR_V = 1e6
_ALONE, _ALONE_SEVERAL = 10, 100  # passes that this counts for, with one transistor and with several
_SETTLED_V = 1e-4  # the last step is taken along the slopes: what is left is its square

TOO_FAR = "the transistors are driven too far from their rest to be followed in time"


def outputs_of(network: Network, output: str) -> list[tuple[str, str]]:
    """Pairs of nodes: the transistors' ports, V_GS and V_DS of each in turn, then the output."""
    ports = [pair for q in network.jfets for pair in ((q.gate, q.source), (q.drain, q.source))]
    return [*ports, (output, GROUND)]


def long_run(
    network: Network, point: OperatingPoint, output: str, straight: np.ndarray, step: float, passes: int = PASSES
) -> np.ndarray:
    """What the output's voltage gains besides what the linear network does, V, shape (N,), of one network (no batch).

    straight: what the network linearised at rest does by itself to the transistors' ports (`outputs_of`), as changes
    from rest, V, shape (N, 2K), from rest on; step: s between samples. Between samples the currents are straight
    lines: the error falls with the square of the step. Dielectric loss is left out of what the currents do. Raises
    CircuitError where the waveform's shape does not fit, where the network has no simple modes (`modes`), and
    TOO_FAR where it takes more than `passes` of the iteration.
    """
    names = network.jfets
    if not names:
        return np.zeros(len(straight))
    samples = len(straight)
    if straight.shape != (samples, 2 * len(names)) or not np.isfinite(straight).all():
        raise CircuitError(f"{straight.shape} port voltages do not fit {len(names)} transistors, or are no numbers")
    pairs = outputs_of(network, output)
    found = modes(linearised(network, point), [(b, a) for a, b in pairs[:-1]], pairs)
    pieces = -(-samples // _PIECE)
    room = pieces * _PIECE - samples
    wanted = np.concatenate([straight, np.repeat(straight[-1:], room, axis=0)]).reshape(pieces, _PIECE, -1)
    rest = np.array([[volt for q in names for volt in (point.jfets[q.name].v_gs, point.jfets[q.name].v_ds)]], float)
    walk = _Walk(found, [q.name for q in names], [q.model for q in names], rest, wanted, step, passes)
    return walk.through().reshape(-1)[:samples]


class _Walk:
    """All pieces of one waveform. A current counts as it is drawn from the network."""

    def __init__(
        self,
        found: Modes,
        names: Sequence[str],
        models: Sequence[JfetModel],
        rest: np.ndarray,
        wanted: np.ndarray,
        step: float,
        most: int,
    ) -> None:
        self.rest, self.wanted = rest, wanted
        self.pieces, self.length, ports = wanted.shape
        z = found.pole * step
        one, two = _phi(z)
        self.fades, self.over_piece = np.exp(z), np.exp(z * self.length)
        self.out = found.out.T
        self.before, self.now = found.into.T * (step * (one - two)), found.into.T * (step * two)
        whole = found.at_once + ((found.out * (step * two)) @ found.into).real
        self.z, self.z_out = whole[:ports], whole[ports]
        self.names = names
        self.models = [flat_model(model, (1,)) for model in models]
        self.i_rest, slope, _ = port_currents(self.models, rest)
        self.slope_rest = slope[0]
        # the same with the transistors' slopes left out: what `solve_ports` takes
        self.alone = np.linalg.inv(np.eye(ports) + self.z @ self.slope_rest)
        self.ohm = -self.alone @ self.z
        self.v_t = np.array([[float(np.asarray(model.thermal_voltage)) for model in models]])
        self.critical = critical_voltage(self.models, 1) - (LOWER * self.v_t if len(models) > 1 else 0.0)
        self.largest = max(float(np.abs(wanted).max()), 1e-9)
        self.answer = np.zeros((self.pieces, self.length))
        self.passes, self.most = 0, most

    def through(self) -> np.ndarray:
        """What the output's voltage gains, V, (pieces, samples of a piece)."""
        ends, used, starts = np.zeros((3, self.pieces, len(self.fades)), complex)
        moved = np.ones(self.pieces, bool)
        for turn in count():
            near = self.largest * _MOVED[min(turn, len(_MOVED) - 1)]
            ends[moved], used[moved] = self._walked(np.flatnonzero(moved), starts[moved]), starts[moved]
            for k in range(1, self.pieces):  # what has moved at a beginning fades as the linear network lets it
                starts[k] = ends[k - 1] + self.over_piece * (starts[k - 1] - used[k - 1])
            moved = (np.abs(((starts - used) @ self.out).real) > near).any(axis=1)
            if not moved.any():
                break
        return self.answer

    def _walked(self, which: np.ndarray, modes_: np.ndarray) -> np.ndarray:
        """The modes just before the next piece's first sample, of some pieces, from those before their own."""
        wanted = self.wanted[which]
        drawn = last = np.zeros((len(which), len(self.z)))
        for n in range(self.length):
            give_way()
            if self.passes > self.most:
                raise CircuitError(TOO_FAR)
            held = (modes_ @ self.out).real
            aim = wanted[:, n] + held[:, :-1]
            ahead = drawn if n < 2 else 2 * drawn - last
            last, drawn = drawn, self._agreed(aim + ahead @ self.z.T, aim)
            self.answer[which, n] = held[:, -1] + drawn @ self.z_out
            modes_ = (modes_ + drawn @ self.now) * self.fades + drawn @ self.before
        return modes_

    def _agreed(self, v: np.ndarray, aim: np.ndarray) -> np.ndarray:
        """The currents beyond the slopes at rest that agree with their voltages, from a guess of these."""
        v, drawn, left = v.copy(), np.empty_like(v), np.arange(len(v))
        for _ in range(_ITERATIONS):
            self.passes += 1
            here = v if len(left) == len(v) else v[left]
            there = here + self.rest
            i, slope, _ = port_currents(self.models, there)
            more = i - self.i_rest - here @ self.slope_rest.T
            with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
                moves = _solved(-self.z @ (slope - self.slope_rest), here - aim[left] - more @ self.z.T)
            sound = np.isfinite(moves).all(axis=1) & (np.abs(moves) < _FAR_V).all(axis=1)
            wanted = there - np.where(sound[:, None], moves, 0.0)
            if len(self.models) > 1:
                wanted = held_back(self.models, there, wanted)
            new = limited(there, wanted, self.v_t, self.critical) - self.rest
            change = new - here
            v[left] = new
            drawn[left] = more + ((slope - self.slope_rest) @ change[..., None])[..., 0]
            left = left[(np.abs(change) > _SETTLED_V).any(axis=1) | ~sound]
            if not left.size:
                return drawn
        self.passes += _ALONE if len(self.models) == 1 else _ALONE_SEVERAL
        drawn[left] = self._alone(aim[left])
        return drawn

    def _alone(self, aim: np.ndarray) -> np.ndarray:
        """The same for instants that do not settle, each as an operating point of its own."""
        v_open = self.rest + (aim - self.i_rest @ self.z.T) @ self.alone.T
        models = [model.take(np.zeros(len(aim), int), (1,)) for model in self.models]
        there = solve_ports(self.names, models, v_open, np.broadcast_to(self.ohm, (len(aim), *self.ohm.shape)))
        return port_currents(models, there)[0] - self.i_rest - (there - self.rest) @ self.slope_rest.T


def _phi(z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(e^z - 1)/z and (e^z - 1 - z)/z^2: what a mode gathers in a step from a steady current, and from one that rises
    from nothing."""
    small = np.abs(z) < 1e-3
    safe = np.where(small, 1.0, z)
    one = np.where(small, 1 + z / 2 + z**2 / 6, np.expm1(safe) / safe)
    return one, np.where(small, 0.5 + z / 6 + z**2 / 24, (one - 1) / safe)


def _solved(matrix: np.ndarray, miss: np.ndarray) -> np.ndarray:
    """(1 + matrix)^-1 times miss, for each member; of one transistor in closed form."""
    if matrix.shape[-1] != 2:
        whole = matrix + np.eye(matrix.shape[-1])
        try:
            return np.linalg.solve(whole, miss[..., None])[..., 0]
        except np.linalg.LinAlgError:  # one of them has no answer: all are looked at again from nearer
            return np.full_like(miss, np.nan)
    a, b, c, d = 1 + matrix[:, 0, 0], matrix[:, 0, 1], matrix[:, 1, 0], 1 + matrix[:, 1, 1]
    x, y = miss[:, 0], miss[:, 1]
    return np.stack([d * x - b * y, a * y - c * x], axis=-1) / (a * d - b * c)[:, None]
