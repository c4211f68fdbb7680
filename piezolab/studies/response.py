"""The whole chain over frequency: gain, phase, mid-band, corners, and how the lowest string fares."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.values import Values
from piezolab.pitch import parse_tuning
from piezolab.quantity import decibels
from piezolab.studies.kept import kept
from piezolab.studies.linear import LinearChain
from piezolab.studies.loading import bare_pickup

FREQUENCY = np.geomspace(10.0, 100e3, 400)  # Hz, the default grid of the figures
AUDIO = (20.0, 20e3)  # Hz
# Hz, where corners are looked for: fifty points a decade, a hundred where the largest gain is looked for
_SEARCH = np.unique([*np.geomspace(1e-3, 10e6, 501), *np.geomspace(*AUDIO, 301)])
NOTHING = 1e-15  # -300 dB: rounding, where the circuit lets nothing through
_POINTS_ACROSS_PEAK = 6  # within the width f/Q of a disc's resonance, so that none is missed


@dataclass(frozen=True)
class Response:
    """frequency: Hz, shape (F,); gain: complex, load voltage over open-circuit pickup voltage, shape (F,); phase_deg:
    its phase, continuous over frequency and near 0 (180 where the stage inverts) where the gain is largest, shape (F,).

    midband_gain: the largest gain between 20 Hz and 20 kHz (with no stage: the full level); low_corner_hz,
    high_corner_hz: where the gain is 1/sqrt(2) of that, the last below and the first above; nan where there is
    none between 1 mHz and 10 MHz, and where nothing is let through at all (mid-band 0); low_note_hz and
    low_note_gain: the lowest string; gain_1khz.
    """

    frequency: np.ndarray
    gain: np.ndarray
    phase_deg: np.ndarray
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
    def low_note_re_midband_db(self) -> float:
        """The lowest string against the mid-band, dB; nan where there is no mid-band."""
        if not self.midband_gain > 0:
            return np.nan
        return decibels(self.low_note_gain / self.midband_gain)


def low_note_hz(chain: SignalChain) -> float:
    """Frequency of the lowest string, Hz."""
    return min(note.frequency_hz for note in parse_tuning(chain.tuning))


def response(chain: SignalChain, frequency: np.ndarray | None = None) -> Response:
    """The chain's response at frequencies in Hz in any order (default: 400 points from 10 Hz to 100 kHz)."""
    return _response(chain, FREQUENCY if frequency is None else np.array(frequency, float))


@kept(8)
def _response(chain: SignalChain, frequency: np.ndarray) -> Response:
    of, gain = _searched(chain), LinearChain.of(chain.values).gain(frequency)
    phase = _continuous(frequency, gain, of.grid, of.gain, of.at, 180.0 if chain.topology.inverts else 0.0)
    return Response(
        frequency, gain, phase, of.midband, of.gain_1khz, of.low, of.high, low_note_hz(chain), of.low_note_gain
    )


@dataclass(frozen=True)
class _Searched:
    """What a response has whatever frequencies are asked for: the gain on the grid of the search, the largest and where
    it is (Hz), the corners (Hz), and the magnitudes at 1 kHz and at the lowest string."""

    grid: np.ndarray
    gain: np.ndarray
    midband: float
    at: float
    low: float
    high: float
    gain_1khz: float
    low_note_gain: float


@kept(4)
def _searched(chain: SignalChain) -> _Searched:
    linear, grid = LinearChain.of(chain.values), search_grid(chain.values)
    found = linear.gain(np.concatenate([grid, [1000.0, low_note_hz(chain)]]))
    found, (gain_1khz, low_note) = found[:-2], np.abs(found[-2:])
    level = np.abs(found)
    if chain.stage == "direct":
        midband, at, top = float(bare_pickup(chain.values).full_level), float(grid[np.argmax(level)]), level.max()
    else:
        midband, at = _largest_in_audio(linear, grid, level)
        top = midband
    if midband < NOTHING:
        midband = 0.0
    low, high = np.nan, np.nan
    if 0 < midband / np.sqrt(2) <= top:
        low, high = _corners(linear, grid, level, midband / np.sqrt(2), at)
    return _Searched(grid, found, midband, at, low, high, float(gain_1khz), float(low_note))


def search_grid(values: Values) -> np.ndarray:
    """Frequencies in Hz from 1 mHz to 10 MHz that no feature of the chain's response slips through."""
    if values.resonance is None:
        return _SEARCH
    # a load moves the peak from f*sqrt(1 + k) (open) towards f (shorted)
    f, q, k = values.resonance
    start, end = f * (1 - 3 / (q + 3)), f * np.sqrt(1 + k) * (1 + 3 / q)
    return np.unique([*_SEARCH, *np.geomspace(start, end, int(_POINTS_ACROSS_PEAK * q * np.log(end / start)) + 2)])


def _largest_in_audio(linear: LinearChain, grid: np.ndarray, level: np.ndarray) -> tuple[float, float]:
    """The largest gain in the audio band and its frequency."""
    inside = np.flatnonzero((grid >= AUDIO[0]) & (grid <= AUDIO[1]))
    best = inside[np.argmax(level[inside])]
    largest, at = float(level[best]), float(grid[best])
    start, end = grid[max(best - 1, inside[0])], grid[min(best + 1, inside[-1])]
    for _ in range(2):  # each round narrows the neighbourhood of the maximum a hundredfold
        fine = np.geomspace(start, end, 201)
        near = np.abs(linear.gain(fine))
        k = int(np.argmax(near))
        if near[k] > largest:
            largest, at = float(near[k]), float(fine[k])
        start, end = fine[max(k - 1, 0)], fine[min(k + 1, 200)]
    return largest, at


def _corners(
    linear: LinearChain, grid: np.ndarray, level: np.ndarray, wanted: float, at: float
) -> tuple[float, float]:
    """Where the level passes `wanted`, last below and first above the frequency `at`; nan where it does not."""
    low = high = np.nan
    below, above = np.flatnonzero((grid < at) & (level < wanted)), np.flatnonzero((grid > at) & (level < wanted))
    if below.size:
        k = below[-1]
        low = _crossing(linear, grid[k], min(grid[k + 1], at), wanted)
    if above.size:
        k = above[0]
        high = _crossing(linear, grid[k], max(grid[k - 1], at), wanted)
    return low, high


def _crossing(linear: LinearChain, short: float, enough: float, wanted: float) -> float:
    """Where the level passes `wanted` between a frequency where it falls short and one where it is enough; the passage
    next to the latter. Narrowed on a grid, then straight in the logarithms."""
    for _ in range(3):
        fine = np.geomspace(enough, short, 33)
        level = np.abs(linear.gain(fine))
        k = max(int(np.argmax(level < wanted)), 1)
        enough, short = fine[k - 1], fine[k]
    rise = np.log(level[k] / level[k - 1])
    share = np.log(wanted / level[k - 1]) / rise if rise < 0 else 0.5
    return float(enough * (short / enough) ** np.clip(share, 0.0, 1.0))


def _continuous(
    frequency: np.ndarray, gain: np.ndarray, grid: np.ndarray, along: np.ndarray, at: float, middle: float
) -> np.ndarray:
    """Phase in degrees on the branch that is continuous along the grid and lies within 180 of `middle` at `at`."""
    track = np.degrees(np.unwrap(np.angle(along)))
    track -= 360 * np.round((np.interp(at, grid, track) - middle) / 360)
    principal = np.degrees(np.angle(gain))
    return principal + 360 * np.round((np.interp(np.log(frequency), np.log(grid), track) - principal) / 360)
