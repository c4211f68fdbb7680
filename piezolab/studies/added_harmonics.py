"""Added harmonics: what the stage's curve makes of a pure note at 1 kHz.

The note goes through the static curve of the a.c. load line, period by period alike. The input's own clipping and what
builds up over many periods (a capacitor that a conducting gate charges) are left out; `beyond` says where an edge is
passed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.studies.kept import kept
from piezolab.studies.levels import HARD_DB, NORMAL_DB, SOFT_DB, levels, load_voltage
from piezolab.studies.linear import LinearChain

_SAMPLES = 1024
HARMONICS = 9


@dataclass(frozen=True)
class Distortion:
    """For each playing level (L,): play_db re hard; harmonics: 1st to 9th at the load, V peak, (L, 9); beyond:
    whether the level
    passes a clip edge."""

    play_db: np.ndarray
    harmonics: np.ndarray
    beyond: np.ndarray

    @property
    def added(self) -> np.ndarray:
        """Root sum of squares of the 2nd to 9th over the 1st, as a ratio, (L,); nan with no sound."""
        first = self.harmonics[:, 0]
        rest = np.sqrt(np.sum(self.harmonics[:, 1:] ** 2, axis=1))
        return np.divide(rest, first, out=np.full(len(first), np.nan), where=first > 1e-12)


@kept(4)
def distortion(chain: SignalChain, play_db: tuple[float, ...] = (SOFT_DB, NORMAL_DB, HARD_DB)) -> Distortion | None:
    """Added harmonics at playing levels in dB of `play_v`; None with no stage, which adds none."""
    linear = LinearChain.of(chain.values)
    if linear.transistor is None:
        return None
    db = np.asarray(play_db, float)
    peak = chain.values.play_v * 10 ** (db / 20)
    turn = 2 * np.pi * np.arange(_SAMPLES) / _SAMPLES
    e = peak[:, None] * np.sin(turn)
    out = load_voltage(linear, e.reshape(-1)).reshape(e.shape)
    harmonics = 2 * np.abs(np.fft.rfft(out, axis=-1))[:, 1 : HARMONICS + 1] / _SAMPLES
    return Distortion(db, harmonics, peak > float(levels(chain).clip_input_v_peak))


@dataclass(frozen=True)
class TransferCurve:
    """pickup_v: open-circuit pickup voltage, V, (N,); load_v: at the load, V; straight_v: if nothing bent, V."""

    pickup_v: np.ndarray
    load_v: np.ndarray
    straight_v: np.ndarray


@kept(4)
def transfer_curve(chain: SignalChain, points: int = 201) -> TransferCurve:
    """The static curve from pickup to input, out to twice the nearer edge or one and a half times hard playing."""
    found = levels(chain)
    nearer = float(found.clip_input_v_peak)
    reach = max(1.5 * float(found.play_v), 2.0 * nearer if np.isfinite(nearer) else 0.0)
    e = np.linspace(-reach, reach, points)
    linear = LinearChain.of(chain.values)
    gain = float(np.abs(linear.gain(1000.0)))
    sign = -1.0 if chain.topology.inverts else 1.0
    if linear.transistor is None:
        return TransferCurve(e, sign * gain * e, sign * gain * e)
    out = load_voltage(linear, e)
    return TransferCurve(e, out, sign * gain * e)
