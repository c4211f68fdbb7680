"""Hiss from its density and hum from its harmonics, as samples in volts."""

from __future__ import annotations

import numpy as np

from piezolab.audio import RATE, AudioError
from piezolab.audio.processing import check_table

LOWEST_HZ = 10.0  # below, noise is not heard and would only move the zero line


def hiss(frequency: np.ndarray, density: np.ndarray, count: int, seed: int = 1) -> np.ndarray:
    """Gaussian noise in volts, shape (count,), of a one-sided density in V/sqrt(Hz); the same for the same seed.

    frequency: Hz, rising, above 0, shape (F,); density: shape (F,), joined by straight lines over log frequency, held
    beyond the ends, nothing below 10 Hz. Each bin of the spectrum is drawn with the variance that the density gives
    it, so the result repeats without a seam. Raises AudioError.
    """
    frequency, density = np.asarray(frequency, float), np.asarray(density, float)
    check_table(frequency, density, "density")
    if (density < 0).any():
        raise AudioError(f"density: {density.min():g} V/sqrt(Hz); 0 or more is allowed.")
    if count < 2:
        raise AudioError(f"count: {count} samples; from 2 is allowed.")
    bins = np.fft.rfftfreq(count, 1 / RATE)
    level = np.zeros(len(bins))
    level[bins >= LOWEST_HZ] = np.interp(np.log(bins[bins >= LOWEST_HZ]), np.log(frequency), density)
    chance = np.random.default_rng(seed).standard_normal((2, len(bins)))
    spectrum = level * np.sqrt(RATE * count / 4) * (chance[0] + 1j * chance[1])
    if count % 2 == 0:
        spectrum[-1] = level[-1] * np.sqrt(RATE * count / 2) * chance[0, -1]  # half the sample rate has no partner
    return np.fft.irfft(spectrum, count)


def hum(frequency: np.ndarray, rms: np.ndarray, count: int) -> np.ndarray:
    """Harmonics in volts, shape (count,), all rising through zero at the start.

    frequency: Hz, shape (H,), above 0 and below half of `RATE`; rms: volts, shape (H,). Raises AudioError.
    """
    frequency, rms = np.asarray(frequency, float), np.asarray(rms, float)
    check_table(frequency, rms, "hum")
    if frequency[-1] >= RATE / 2:
        raise AudioError(f"hum: {frequency[-1]:g} Hz; below {RATE / 2:g} Hz is allowed.")
    time = np.arange(count) / RATE
    out = np.zeros(count)
    for hz, level in zip(frequency, rms, strict=True):
        out += np.sqrt(2) * level * np.sin(2 * np.pi * hz * time)
    return out
