"""The whole chain over frequency: gain, phase, mid-band, corners, and how the lowest string fares."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.pitch import parse_tuning
from piezolab.quantity import decibels
from piezolab.studies.linear import LinearChain
from piezolab.studies.loading import bare_pickup

FREQUENCY = np.geomspace(10.0, 100e3, 400)  # Hz, the default grid of the figures
AUDIO = (20.0, 20e3)  # Hz
_SEARCH = np.geomspace(1e-3, 10e6, 501)  # Hz, where corners are looked for: fifty points a decade


@dataclass(frozen=True)
class Response:
    """frequency: Hz, shape (F,); gain: complex, load voltage over open-circuit pickup voltage, shape (F,).

    midband_gain: the largest gain between 20 Hz and 20 kHz (with no stage: the full level); low_corner_hz, high_corner_hz:
    where the gain is 1/sqrt(2) of that, the last below and the first above; nan where there is none between 1 mHz and
    10 MHz; low_note_hz and low_note_gain: the lowest string; gain_1khz.
    """

    frequency: np.ndarray
    gain: np.ndarray
    midband_gain: float
    gain_1khz: float
    low_corner_hz: float
    high_corner_hz: float
    low_note_hz: float
    low_note_gain: float

    @property
    def gain_db(self) -> np.ndarray:
        """Level in dB, shape (F,)."""
        return decibels(self.gain)

    @property
    def phase_deg(self) -> np.ndarray:
        """Phase in degrees, continuous over frequency, shape (F,)."""
        return np.degrees(np.unwrap(np.angle(self.gain)))

    @property
    def low_note_re_midband_db(self) -> float:
        """The lowest string against the mid-band, dB."""
        return decibels(self.low_note_gain) - decibels(self.midband_gain)


def low_note_hz(chain: SignalChain) -> float:
    """Frequency of the lowest string, Hz."""
    return min(note.frequency_hz for note in parse_tuning(chain.tuning))


def response(chain: SignalChain, frequency: np.ndarray | None = None) -> Response:
    """The chain's response on a grid of frequencies in Hz (default: 400 points from 10 Hz to 100 kHz)."""
    frequency = FREQUENCY if frequency is None else np.asarray(frequency, float)
    linear = LinearChain.of(chain.values)
    note = low_note_hz(chain)
    search = np.abs(linear.gain(_SEARCH))
    if chain.stage == "direct":
        midband = bare_pickup(chain.values).full_level
        peak = int(np.argmax(search))
    else:
        midband, peak = _largest_in_audio(linear, search)
    low, high = _corners(linear, search, midband / np.sqrt(2), peak)
    at = np.abs(linear.gain(np.array([1000.0, note])))
    return Response(
        frequency, linear.gain(frequency), float(midband), float(at[0]), low, high, note, float(at[1])
    )


def _largest_in_audio(linear: LinearChain, search: np.ndarray) -> tuple[float, int]:
    inside = np.flatnonzero((_SEARCH >= AUDIO[0]) & (_SEARCH <= AUDIO[1]))
    peak = int(inside[np.argmax(search[inside])])
    grid = np.geomspace(*AUDIO, 301)
    for _ in range(3):  # each round narrows the neighbourhood of the maximum a hundredfold
        level = np.abs(linear.gain(grid))
        best = int(np.argmax(level))
        grid = np.geomspace(grid[max(best - 1, 0)], grid[min(best + 1, len(grid) - 1)], 201)
    return max(float(level[best]), float(search[peak])), peak


def _corners(linear: LinearChain, search: np.ndarray, wanted: float, peak: int) -> tuple[float, float]:
    if not wanted > 0:
        return np.nan, np.nan
    below = np.flatnonzero(search[: peak + 1] < wanted)
    above = peak + np.flatnonzero(search[peak:] < wanted)
    low = high = np.nan
    if below.size and below[-1] < peak:
        low = _crossing(linear, *_SEARCH[[below[-1], below[-1] + 1]], wanted)
    if above.size and above[0] > peak:
        high = _crossing(linear, *_SEARCH[[above[0] - 1, above[0]]], wanted)
    return low, high


def _crossing(linear: LinearChain, start: float, end: float, wanted: float) -> float:
    """Where the gain passes `wanted` between two frequencies: narrowed on a grid, then straight in the logarithm."""
    for _ in range(5):
        grid = np.geomspace(start, end, 33)
        beyond = np.abs(linear.gain(grid)) >= wanted
        step = int(np.flatnonzero(beyond != beyond[0])[0])
        start, end = grid[step - 1], grid[step]
    return float(np.sqrt(start * end))
