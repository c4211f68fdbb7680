"""How loud before it clips: level at the input for hard playing, and the first clip edge of stage and input.

Edges are instantaneous open-circuit pickup voltages at 1 kHz on the a.c. load line, both polarities (see
`swing`); the input's ceiling is reached where the load's voltage on that same line is the largest that the
input takes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.stages.transistor import TRANSISTOR
from piezolab.chain.values import Values
from piezolab.circuit.jfet import channel
from piezolab.quantity import dbu
from piezolab.studies.linear import LinearChain
from piezolab.studies.load_line import signal_line
from piezolab.studies.swing import swing

SIGNAL_HZ = 1000.0
SOFT_DB, NORMAL_DB, HARD_DB = -20.0, -10.0, 0.0  # of play_v
CAUSES = ("cut-off", "triode", "gate", "input")
_FAR = 1e4  # V; beyond this nothing is looked for


@dataclass(frozen=True)
class Levels:
    """Of one chain or of arrays of builds.

    output_v_peak: the reference sine at the load, as if nothing clipped, V peak; up, down: smallest rising and
    falling pickup voltage at which something clips, V, both positive, inf where nothing does; cause_up,
    cause_down: what does; play_v: hard playing.
    """

    output_v_peak: np.ndarray
    up: np.ndarray
    down: np.ndarray
    cause_up: np.ndarray
    cause_down: np.ndarray
    play_v: np.ndarray

    @property
    def output_dbu(self) -> np.ndarray:
        """The reference sine at the load, dBu (of its rms)."""
        return dbu(self.output_v_peak / np.sqrt(2))

    @property
    def clip_input_v_peak(self) -> np.ndarray:
        """The smaller of the two edges, V."""
        return np.minimum(self.up, self.down)

    @property
    def clip_cause(self) -> np.ndarray:
        """What clips first: `cut-off`, `triode`, `gate` or `input`."""
        return np.where(self.up <= self.down, self.cause_up, self.cause_down)

    @property
    def input_headroom_db(self) -> np.ndarray:
        """20 lg(clip_input_v_peak/play_v): negative when hard playing clips."""
        with np.errstate(divide="ignore"):
            return 20 * np.log10(self.clip_input_v_peak / self.play_v)


def levels_of(values: Values) -> Levels:
    """Levels and clip edges of resolved values, arrays of builds allowed."""
    linear = LinearChain.of(values)
    gain = np.abs(linear.gain(SIGNAL_HZ))
    play = np.asarray(values.play_v, float)
    shape = np.broadcast_shapes(gain.shape, play.shape)
    ceiling = np.broadcast_to(np.asarray(values.input_max, float), shape)
    edges = {sign: {} for sign in (1, -1)}
    if linear.transistor is None:
        with np.errstate(divide="ignore"):
            reach = np.where(gain > 0, ceiling / np.where(gain > 0, gain, 1.0), np.inf)
        for sign in edges:
            edges[sign]["input"] = reach
    else:
        stage = swing(linear)
        for sign in edges:
            for cause, edge in (("cut-off", stage.cut_off), ("triode", stage.triode), ("gate", stage.gate)):
                edges[sign][cause] = np.where(sign * edge >= 0, np.abs(edge), np.inf)
            nearest = np.min([np.broadcast_to(e, shape) for e in edges[sign].values()], axis=0)
            edges[sign]["input"] = _ceiling(linear, ceiling, sign, nearest)
    found = {}
    for sign, by_cause in edges.items():
        causes = list(by_cause)
        stack = np.stack([np.broadcast_to(by_cause[cause], shape) for cause in causes])
        found[sign] = stack.min(axis=0), np.array(causes)[stack.argmin(axis=0)]
    return Levels(gain * play, found[1][0], found[-1][0], found[1][1], found[-1][1], play)


def levels(chain: SignalChain) -> Levels:
    """Levels and clip edges of the chain."""
    return levels_of(chain.values)


def load_voltage(linear: LinearChain, e: np.ndarray) -> np.ndarray:
    """Change of the load's voltage on the a.c. load line for pickup voltages e (V, shape batch + (E,)), in V.

    The load line is taken as real: at 1 kHz its reactive part turns the phase and hardly the size.
    """
    q, line = linear.transistor, signal_line(linear.assembly)
    model = linear.assembly.network[TRANSISTOR].model.take(np.arange(q.i_d.size), q.i_d.shape)

    def wide(value: np.ndarray) -> np.ndarray:
        return np.broadcast_to(np.asarray(value), q.i_d.shape).reshape(-1, 1)

    phase = np.exp(-1j * np.angle(np.where(np.abs(line.gs_e) > 0, line.gs_e, 1.0)))
    gs_e, ds_e, out_e = (wide(np.real(value * phase)) for value in (line.gs_e, line.ds_e, line.out_e))
    gs_i, ds_i, out_i = (wide(np.real(value)) for value in (line.gs_i, line.ds_i, line.out_i))
    v_gs, v_ds, i_rest = wide(q.v_gs), wide(q.v_ds), wide(q.i_channel)
    columns = {name: np.asarray(getattr(model, name)) for name in model.__dataclass_fields__}
    model = type(model)(**{name: v[:, None] if v.ndim else v for name, v in columns.items()})
    flat = np.asarray(e, float).reshape(q.i_d.size, -1)

    def surplus(change: np.ndarray) -> np.ndarray:
        gate, drain = v_gs + gs_e * flat - gs_i * change, v_ds + ds_e * flat - ds_i * change
        return i_rest + change - channel(model, gate, drain)[0]

    reach = np.maximum(np.abs(i_rest), 1e-9)
    low, high = -reach + 0 * flat, reach + 0 * flat
    for _ in range(40):  # the current may rise far beyond rest
        short = surplus(high) < 0
        if not short.any():
            break
        high = np.where(short, 2 * high, high)
    for _ in range(60):
        middle = 0.5 * (low + high)
        below = surplus(middle) < 0
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return (out_e * flat - out_i * 0.5 * (low + high)).reshape(np.shape(e))


def _ceiling(linear: LinearChain, ceiling: np.ndarray, sign: int, nearest: np.ndarray) -> np.ndarray:
    """Pickup voltage of one polarity at which the load's voltage reaches the ceiling, V; inf where the stage's
    own edge
    comes first."""
    low, high = np.zeros(nearest.shape), np.minimum(nearest, _FAR)
    steps = np.linspace(0.0, 1.0, 33)
    reached = np.zeros(nearest.shape, bool)
    for narrowing in range(6):  # each round looks at 32 parts of what is left
        grid = low[..., None] + (high - low)[..., None] * steps
        over = np.abs(load_voltage(linear, sign * grid)) >= ceiling[..., None]
        over[..., -1] |= narrowing > 0
        if narrowing == 0:
            reached = over.any(axis=-1)
            over[..., -1] = True
        first = np.maximum(np.argmax(over, axis=-1), 1)[..., None]
        low = np.take_along_axis(grid, first - 1, -1)[..., 0]
        high = np.take_along_axis(grid, first, -1)[..., 0]
    return np.where(reached, high, np.inf)
