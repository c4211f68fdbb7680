"""Recorded sweeps made for tests: exact in frequency, with noise, another clock, harmonics and clipping at will."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from piezolab.audio import RATE
from piezolab.audio.exponential_sweep import END_S, PEAK, QUIET_S, ExponentialSweep
from piezolab.audio.sound_file import Recording


def put_in(sweep: ExponentialSweep, ppm: float = 0.0, late: float = 0.3) -> np.ndarray:
    """What the recorder's clock makes of the file that is played; late: seconds that it was started later."""
    stretch = 1 + 1e-6 * ppm
    out = np.zeros(round((late + QUIET_S + 2 * sweep.apart_s + END_S) * RATE))
    for n in range(2):
        begins = (late + QUIET_S + n * sweep.apart_s) * RATE * stretch
        own = sweep.samples(stretch, (np.ceil(begins) - begins) / RATE * -1.0)
        out[int(np.ceil(begins)) : int(np.ceil(begins)) + len(own)] += PEAK * own
    return out


def through(samples: np.ndarray, response: Callable[[np.ndarray], np.ndarray], delay_s: float = 0.0) -> np.ndarray:
    """Through a linear circuit, complex gain over Hz, exactly."""
    length = 1 << len(samples).bit_length()
    hz = np.fft.rfftfreq(length, 1 / RATE)
    gain = np.concatenate([[0.0], response(hz[1:])]) * np.exp(-2j * np.pi * hz * delay_s)
    return np.fft.irfft(np.fft.rfft(samples, length) * gain, length)[: len(samples)]


def recorded(*channels: np.ndarray, noise: float = 0.0, seed: int = 1, name: str = "sweep.wav", clipped: int = 0):
    """A recording of one channel or two, white noise of an rms added to each."""
    chance = np.random.default_rng(seed)
    both = [one + chance.normal(0, noise, len(one)) if noise else one for one in channels]
    samples = np.stack(both, axis=1).astype(np.float32) if len(both) > 1 else both[0].astype(np.float32)
    return Recording(samples, name, RATE, len(both), 0, float(np.abs(samples).max()), clipped, 0.0)
