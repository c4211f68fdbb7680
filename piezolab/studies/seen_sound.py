"""A sound as it can be drawn: its loudest moment from instant to instant, and where in the octaves its power lies."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from piezolab.audio import RATE
from piezolab.studies.listening import TURN_S

#: Periods of the note in the moment that is drawn; the spectrum's lowest edge, octaves above it, bands in each.
PERIODS = 3
LOWEST_HZ, OCTAVES, BANDS_IN_OCTAVE = 20.0, 10, 12
_MOST_POINTS, _NOTHING = 1200, 1e-15


@dataclass(frozen=True)
class SeenSound:
    """Several versions of one sound, V of them, as they play.

    time_s: since the pluck, shape (T,); moment: samples against the loudest of all versions, so between -1 and 1, shape
    (V, T); frequency: middles of the bands, Hz, shape (B,); level_db: power in each band against the largest of all,
    shape (V, B), -150 dB where there is nothing.
    """

    time_s: np.ndarray
    moment: np.ndarray
    frequency: np.ndarray
    level_db: np.ndarray


def seen_sound(sounds: Mapping[str, np.ndarray], pitch_hz: float) -> SeenSound | None:
    """What plays in one turn of each sound; samples at `RATE`, all of one length. None where all are silent.

    The moment is taken where the loudest version swings furthest, a whole number of periods of pitch_hz long, at most
    that turn.
    """
    all_of_them = np.stack([np.asarray(one, float)[: round(TURN_S * RATE)] for one in sounds.values()])
    most = float(np.abs(all_of_them).max(initial=0.0))
    if not most > 0:
        return None
    count = all_of_them.shape[1]
    wide = min(count, round(PERIODS * RATE / pitch_hz))
    at = int(np.abs(all_of_them).max(axis=0).argmax())
    start = min(max(at - wide // 3, 0), count - wide)
    points = np.arange(start, start + wide, max(1, wide // _MOST_POINTS))
    edges = LOWEST_HZ * 2 ** (np.arange(BANDS_IN_OCTAVE * OCTAVES + 1) / BANDS_IN_OCTAVE)
    power = np.stack([band_powers(one, edges) for one in all_of_them])
    level = 10 * np.log10(np.maximum(power / power.max(), _NOTHING))
    return SeenSound(points / RATE, all_of_them[:, points] / most, np.sqrt(edges[1:] * edges[:-1]), level)


def band_powers(signal: np.ndarray, edges: np.ndarray) -> np.ndarray:
    """Mean square of a signal (samples at `RATE`, shape (N,)) between rising edges in Hz, shape (B + 1,); shape (B,).

    From one periodogram under a Hann window (F. J. Harris, Proc. IEEE 66 (1978) 51): a tone's power lies within two
    bins of RATE / N. Bin n reaches from (n - 1/2) to (n + 1/2) of that; one that an edge goes through is shared out.
    """
    count = len(signal)
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(count) / count)
    power = np.abs(np.fft.rfft(signal * window)) ** 2 / (count * np.sum(window**2))
    power[1 : (count + 1) // 2] *= 2  # the other half of the spectrum
    ends = (np.arange(len(power) + 1) - 0.5) * RATE / count
    return np.diff(np.interp(edges, ends, np.concatenate([[0.0], np.cumsum(power)])))
