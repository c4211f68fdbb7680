"""How loud before it clips: level at the input for hard playing, and the first clip edge of stage and input.

Edges are instantaneous open-circuit pickup voltages at 1 kHz on the a.c. load line, both polarities (see
`swing`); the input's ceiling is reached where the load's voltage on that same line is the largest that the
input takes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.values import Values
from piezolab.circuit.load_line import LoadLine
from piezolab.quantity import dbu
from piezolab.studies.kept import kept
from piezolab.studies.linear import LinearChain
from piezolab.studies.swing import swing

SIGNAL_HZ = 1000.0
SOFT_DB, NORMAL_DB, HARD_DB = -20.0, -10.0, 0.0  # of play_v
CAUSES = ("cut-off", "triode", "gate", "clamp", "input")
FAR_V = 1e4  # V; beyond this nothing is looked for


@dataclass(frozen=True)
class Levels:
    """Of one chain or of arrays of builds.

    output_v_peak: the reference sine at the load, as if nothing clipped, V peak; up, down: smallest rising and
    falling pickup voltage at which something clips, V, both positive, inf where nothing does; cause_up,
    cause_down: what does; play_v: hard playing; transistor_up, transistor_down: at which transistor, "" for the input.
    """

    output_v_peak: np.ndarray
    up: np.ndarray
    down: np.ndarray
    cause_up: np.ndarray
    cause_down: np.ndarray
    play_v: np.ndarray
    transistor_up: np.ndarray
    transistor_down: np.ndarray

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
        """What clips first: `cut-off`, `triode`, `gate`, `clamp` or `input`."""
        return np.where(self.up <= self.down, self.cause_up, self.cause_down)

    @property
    def clip_transistor(self) -> np.ndarray:
        """The name of the transistor that clips first; "" where it is the input."""
        return np.where(self.up <= self.down, self.transistor_up, self.transistor_down)

    @property
    def input_headroom_db(self) -> np.ndarray:
        """20 lg(clip_input_v_peak/play_v): negative when hard playing clips."""
        with np.errstate(divide="ignore"):
            return 20 * np.log10(self.clip_input_v_peak / self.play_v)


def levels_of(
    values: Values, gain_1khz: np.ndarray | None = None, linear: LinearChain | None = None
) -> Levels:
    """Levels and clip edges of resolved values, arrays of builds allowed; gain_1khz: its magnitude, if it is known."""
    linear = LinearChain.of(values) if linear is None else linear
    gain = np.abs(linear.gain(SIGNAL_HZ)) if gain_1khz is None else gain_1khz
    play = np.asarray(values.play_v, float)
    shape = np.broadcast_shapes(gain.shape, play.shape)
    ceiling = np.broadcast_to(np.asarray(values.input_max, float), shape)
    by_sign: dict[int, list[tuple[str, str, np.ndarray]]] = {1: [], -1: []}  # transistor, cause and edge
    if linear.transistor is None:
        with np.errstate(divide="ignore"):
            reach = np.where(gain > 0, ceiling / np.where(gain > 0, gain, 1.0), np.inf)
        for found in by_sign.values():
            found.append(("", "input", reach))
    else:
        stage = swing(linear)
        by_sign[1] += [(edge.transistor, edge.cause, edge.rising) for edge in stage.edges]
        by_sign[-1] += [(edge.transistor, edge.cause, edge.falling) for edge in stage.edges]
        nearest = [np.min([np.broadcast_to(edge, shape) for *_, edge in by_sign[sign]], axis=0) for sign in (1, -1)]
        reach = _ceiling(linear.load_line, ceiling, np.stack(nearest, axis=-1))
        by_sign[1].append(("", "input", reach[..., 0]))
        by_sign[-1].append(("", "input", reach[..., 1]))
    first = {}
    for sign, found in by_sign.items():
        names, causes, edges = zip(*found, strict=True)
        stack = np.stack([np.broadcast_to(edge, shape) for edge in edges])
        at = stack.argmin(axis=0)
        first[sign] = stack.min(axis=0), np.array(causes)[at], np.array(names)[at]
    (up, cause_up, name_up), (down, cause_down, name_down) = first[1], first[-1]
    return Levels(gain * play, up, down, cause_up, cause_down, play, name_up, name_down)


@kept(4)
def levels(chain: SignalChain) -> Levels:
    """Levels and clip edges of the chain."""
    return levels_of(chain.values)


def load_voltage(linear: LinearChain, e: np.ndarray) -> np.ndarray:
    """Change of the load's voltage on the a.c. load line for pickup voltages e (V, shape batch + (E,)), in V.

    Raises ValueError where there is no transistor.
    """
    if linear.transistor is None:
        raise ValueError("a chain without a stage has no load line")
    return linear.load_line.at(e)[1]


def _ceiling(line: LoadLine, ceiling: np.ndarray, nearest: np.ndarray) -> np.ndarray:
    """Pickup voltage of either polarity (last axis: up, down) at which the load's voltage reaches the ceiling, V; inf
    where the stage's own edge, `nearest`, comes first."""
    low, high = np.zeros(nearest.shape), np.minimum(nearest, FAR_V)
    steps = np.linspace(0.0, 1.0, 33)
    reached = np.zeros(nearest.shape, bool)
    for narrowing in range(6):  # each round looks at 32 parts of what is left
        grid = low[..., None] + (high - low)[..., None] * steps
        signed = grid * np.array([[1.0], [-1.0]])
        change = line.at(signed.reshape(*signed.shape[:-2], -1))[1].reshape(signed.shape)
        over = np.abs(change) >= ceiling[..., None, None]
        over[..., -1] |= narrowing > 0
        if narrowing == 0:
            reached = over.any(axis=-1)
            if not reached.any():
                break
            over[..., -1] = True
        first = np.maximum(np.argmax(over, axis=-1), 1)[..., None]
        low = np.take_along_axis(grid, first - 1, -1)[..., 0]
        high = np.take_along_axis(grid, first, -1)[..., 0]
    return np.where(reached, high, np.inf)
