"""How loud a sound is, by ITU-R BS.1770-4, for one channel.

Written here in numpy, although pyloudnorm (pure Python, well kept, but importing scipy.signal: half a second and some
fifty megabytes in every visitor's kernel) and pyebur128 (a compiled library, last released years ago) do the same;
the tests hold the result against pyloudnorm.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from piezolab.audio import RATE, AudioError
from piezolab.audio.processing import as_signal, filtered

#: Numerator and denominator of the two K-weighting filters at 48 kHz: BS.1770-4, tables 1 and 2.
SHELF = ((1.53512485958697, -2.69169618940638, 1.19839281085285), (1.0, -1.69065929318241, 0.73248077421585))
HIGH_PASS = ((1.0, -2.0, 1.0), (1.0, -1.99004745483398, 0.99007225036621))

_BLOCK, _STEP = round(0.4 * RATE), round(0.1 * RATE)
_OFFSET_DB = -0.691
_FLOOR, _BELOW_MEAN = 10 ** ((-70 - _OFFSET_DB) / 10), 0.1  # gates: -70 LKFS, then 10 LU under the mean of the rest


def k_weighting(frequency: np.ndarray) -> np.ndarray:
    """Complex gain of the K-weighting at `RATE`; frequency in Hz, up to half of `RATE`."""
    back = np.exp(-2j * np.pi * np.asarray(frequency) / RATE)
    gain = np.ones_like(back)
    for above, below in (SHELF, HIGH_PASS):
        gain *= np.polyval(above[::-1], back) / np.polyval(below[::-1], back)
    return gain


def loudness(signal: np.ndarray) -> float:
    """Integrated loudness in LKFS (dB re full scale, K-weighted, gated), -inf where every block is under -70 LKFS.

    Raises AudioError for less than one gating block of 0.4 s.
    """
    signal = as_signal(signal)
    if len(signal) < _BLOCK:
        raise AudioError(f"signal: {len(signal) / RATE:.2g} s is too short to have a loudness; from 0.4 s is allowed.")
    if not signal.any():
        return float("-inf")
    power = np.concatenate([[0.0], np.cumsum(filtered(signal, k_weighting) ** 2)])
    start = np.arange(0, len(signal) - _BLOCK + 1, _STEP)
    blocks = (power[start + _BLOCK] - power[start]) / _BLOCK
    heard = blocks[blocks >= _FLOOR]
    if not heard.size:
        return float("-inf")
    return _OFFSET_DB + 10 * float(np.log10(heard[heard > _BELOW_MEAN * heard.mean()].mean()))


def matching_gains(signals: Sequence[np.ndarray]) -> np.ndarray:
    """Gains, shape (S,), that make all signals as loud as the first that is heard at all; silent ones keep 1.

    Each is measured at the same peak, so that the gates, which are absolute, treat loud and soft alike.
    """
    peaks = np.array([np.abs(as_signal(signal)).max() for signal in signals])
    level = np.array([loudness(s / p) if p > 0 else -np.inf for s, p in zip(signals, peaks, strict=True)])
    gains, audible = np.ones(len(peaks)), np.isfinite(level)
    if audible.any():
        gains[audible] = 10 ** (-level[audible] / 20) / peaks[audible]
        gains[audible] /= gains[audible][0]
    return gains
