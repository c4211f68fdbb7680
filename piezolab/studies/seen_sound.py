"""A sound as a picture: its loudest few periods, and the spectrum of its first second."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from piezolab.audio import RATE

PERIODS = 4
SPECTRUM_S = 1.0
BANDS_HZ = np.geomspace(20.0, 20e3, 241)  # edges, 24 to an octave; in each the largest line is drawn
LEAST_DB = -90.0  # under the largest line of all


@dataclass(frozen=True)
class SeenSound:
    """time_s: from the beginning of the sound, (N,); wave: samples, full scale 1, (N,); frequency_hz: of the bands,
    (F,); level_db: largest line of each as the amplitude of a sine, against the largest of all sounds, (F,)."""

    time_s: np.ndarray
    wave: np.ndarray
    frequency_hz: np.ndarray
    level_db: np.ndarray


def seen_sounds(signals: Mapping[str, np.ndarray], pitch_hz: float) -> dict[str, SeenSound]:
    """Sounds (samples at `RATE`, as long as each other) that are heard in turns, at the same instants: those with most
    energy of the first that is not silent. Lines come from a Hann window over SPECTRUM_S, scaled so that a sine
    between two lines is at most 1.4 dB too low; bands narrower than a line's distance take the nearest line."""
    first = next((signal for signal in signals.values() if signal.any()), np.zeros(1))
    count = min(round(PERIODS * RATE / pitch_hz), len(first))
    energy = np.concatenate([[0.0], np.cumsum(first**2)])
    begin = int(np.argmax(energy[count:] - energy[: len(energy) - count]))
    lines = {name: _lines(signal) for name, signal in signals.items()}
    most = max(float(line.max()) for line in lines.values()) or 1.0
    centres = np.sqrt(BANDS_HZ[:-1] * BANDS_HZ[1:])
    time = (begin + np.arange(count)) / RATE
    return {
        name: SeenSound(
            time, signals[name][begin : begin + count], centres,
            20 * np.log10(np.maximum(line / most, 10 ** (LEAST_DB / 20))),
        )
        for name, line in lines.items()
    }  # fmt: skip


def _lines(signal: np.ndarray) -> np.ndarray:
    """Amplitude of the largest line in each band."""
    count = round(SPECTRUM_S * RATE)
    part = np.zeros(count)
    part[: min(count, len(signal))] = signal[:count]
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(count) / count)
    size = np.abs(np.fft.rfft(part * window)) * 2 / window.sum()
    edges = np.rint(BANDS_HZ * count / RATE).astype(int)
    return np.array([size[low : max(high, low + 1)].max() for low, high in zip(edges[:-1], edges[1:], strict=True)])
