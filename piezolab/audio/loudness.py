"""How loud a sound is, by ITU-R BS.1770-4, for one channel.

Written here in numpy, although pyloudnorm (pure Python, well kept, but importing scipy.signal: half a second and some
fifty megabytes in every visitor's kernel) and pyebur128 (a compiled library, last released years ago) do the same;
the tests hold the result against pyloudnorm.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from piezolab.audio import RATE, AudioError
from piezolab.audio.processing import as_signal
from piezolab.giving_way import give_way

#: Numerator and denominator of the two K-weighting filters at 48 kHz: BS.1770-4, tables 1 and 2.
SHELF = ((1.53512485958697, -2.69169618940638, 1.19839281085285), (1.0, -1.69065929318241, 0.73248077421585))
HIGH_PASS = ((1.0, -2.0, 1.0), (1.0, -1.99004745483398, 0.99007225036621))

HOP = RATE // 100  # samples
_BLOCK, _STEP = round(0.4 * RATE), round(0.1 * RATE)
_LONG, _EARLY = 2**18, RATE // 2 // HOP * HOP  # samples worked on at once, of which so many come before
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
    return loudness_of(hop_powers(signal)[1])


def hop_powers(signal: np.ndarray) -> np.ndarray:
    """Mean squares of whole pieces of 10 ms, shape (2, H): as they are, and K-weighted.

    signal: shape (N,), of any length and number type; it is worked through in pieces of some seconds that give way.
    Each piece begins half a second early, after which the filters' own beginning has died away by far more than 200 dB.
    """
    length = min(_LONG, 1 << (len(signal) + _EARLY - 1).bit_length())
    weights = k_weighting(np.fft.rfftfreq(length, 1 / RATE))
    most = (length - _EARLY) // HOP * HOP
    out = np.zeros((2, len(signal) // HOP))
    for start in range(0, len(signal) // HOP * HOP, most):
        before = min(start, _EARLY)
        piece = np.zeros(length)
        part = signal[start - before : start + most]
        piece[_EARLY - before : _EARLY - before + len(part)] = part
        heard = np.fft.irfft(np.fft.rfft(piece) * weights, length)
        hops = (len(part) - before) // HOP
        for row, of in zip(out, (piece, heard), strict=True):
            row[start // HOP : start // HOP + hops] = _means(of[_EARLY : _EARLY + hops * HOP])
        give_way()
    return out


def _means(part: np.ndarray) -> np.ndarray:
    return (part.reshape(-1, HOP) ** 2).mean(axis=1)


def loudness_of(weighted: np.ndarray) -> float:
    """Integrated loudness in LKFS from K-weighted mean squares of pieces of 10 ms, shape (H,); -inf as in `loudness`,
    and for less than 0.4 s."""
    power = np.concatenate([[0.0], np.cumsum(weighted)])
    start = np.arange(0, len(weighted) - _BLOCK // HOP + 1, _STEP // HOP)
    if not start.size:
        return float("-inf")
    blocks = (power[start + _BLOCK // HOP] - power[start]) / (_BLOCK // HOP)
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
