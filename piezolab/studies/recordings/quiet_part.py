"""The longest stretch of a take in which nobody plays, its hum and its noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.audio import RATE
from piezolab.audio.loudness import HOP
from piezolab.giving_way import give_way
from piezolab.studies.recordings import Estimate
from piezolab.studies.recordings.mains_lines import MainsLines, mains_lines

#: Seconds: the least that is looked at, from how much on hum can be trusted, and the most.
LEAST_S, ENOUGH_S, MOST_S = 2.0, 5.0, 20.0
MOST_STRETCHES = 4  # that tell the mains together
WINDOW = 2**14  # samples: what the spectra of notes have, too
BIN_HZ = RATE / WINDOW
AUDIBLE_HZ = (20.0, 20e3)
_PIECE, _WITHIN = 10, 10**0.3  # hops; how far above the lowest a quiet piece may be
_RINGS_OUT_S, _BEFORE_S = 0.3, 0.1  # left out after a note, and before the next
_GATED = 1e-13  # mean square, -130 dB: no converter is as quiet


@dataclass(frozen=True)
class QuietPart:
    """A stretch from `start_s` of `seconds`.

    noise: mean square from 20 Hz to 20 kHz without the hum lines, of full scale squared; spectrum: what a window of a
    note holds in each bin while nobody plays, hum and all, shape (8193,); lines: the hum; gated: a noise gate or a mute
    was on.
    """

    start_s: float
    seconds: float
    noise: Estimate
    spectrum: np.ndarray
    lines: MainsLines
    gated: bool

    @property
    def enough(self) -> bool:
        """Whether it is long enough for its hum to be trusted."""
        return self.seconds >= ENOUGH_S


def window() -> np.ndarray:
    """What a piece of sound is weighted with before its spectrum is taken, shape (WINDOW,)."""
    return np.hanning(WINDOW + 1)[:-1]


def quiet_part(samples: np.ndarray, weighted: np.ndarray) -> QuietPart | None:
    """The longest quiet stretch of a take, None where none lasts two seconds.

    samples: shape (N,); weighted: K-weighted mean squares of its pieces of 10 ms. A piece of 0.1 s is quiet where it is
    within 3 dB of the level that one in twenty does not reach.
    """
    found = _quiet_stretches(weighted)
    if not found:
        return None
    start, stop = found[0]
    part = samples[start:stop]
    spectrum = _mean_spectrum(part)
    lines = mains_lines(part, [samples[first:last] for first, last in found[1:MOST_STRETCHES]])
    density, often = _without_lines(spectrum, lines)
    at = np.arange(len(density)) * BIN_HZ
    audible = (at >= AUDIBLE_HZ[0]) & (at <= AUDIBLE_HZ[1])
    inside, scatter = density[audible], (often * density)[audible]
    # white or not, the power of T seconds of Gaussian noise scatters by the root of int S^2/(T (int S)^2)
    # (Bendat & Piersol, Random Data, from memory)
    whole = float(inside.sum())
    spread = 1.96 * float(np.sqrt((scatter**2).sum() / (BIN_HZ * _told_s(len(part))))) / max(whole, 1e-300)
    power = whole / (WINDOW * float((window() ** 2).sum()) / 2)
    gated = float(np.mean(np.square(part, dtype=float))) < _GATED
    ends = Estimate(power, power * (1 - spread), power * (1 + spread))
    return QuietPart(start / RATE, len(part) / RATE, ends, spectrum, lines, gated)


def _quiet_stretches(weighted: np.ndarray) -> list[tuple[int, int]]:
    """First and last samples of them, the longest first."""
    pieces = weighted[: len(weighted) // _PIECE * _PIECE].reshape(-1, _PIECE).mean(axis=1)
    if not len(pieces):
        return []
    floor = max(float(np.percentile(pieces, 5)), 1e-16)
    quiet = np.concatenate([[False], pieces <= _WITHIN * floor, [False]])
    edges = np.flatnonzero(np.diff(quiet.astype(int))) * _PIECE * HOP
    found = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        if first > 0:
            first += round(_RINGS_OUT_S * RATE)
        if last < len(pieces) * _PIECE * HOP:
            last -= round(_BEFORE_S * RATE)
        last = min(last, first + round(MOST_S * RATE))
        if last - first >= LEAST_S * RATE:
            found.append((int(first), int(last)))
    return sorted(found, key=lambda ends: ends[0] - ends[1])


def _mean_spectrum(part: np.ndarray) -> np.ndarray:
    """Mean power of windows that overlap by half, shape (WINDOW/2 + 1,)."""
    weight, total, count = window(), np.zeros(WINDOW // 2 + 1), 0
    for start in range(0, len(part) - WINDOW + 1, WINDOW // 2):
        total += np.abs(np.fft.rfft(part[start : start + WINDOW] * weight)) ** 2
        count += 1
        give_way()
    return total / max(count, 1)


def _told_s(count: int) -> float:
    """Seconds of noise that tell its power as truly as the windows in so many samples do: squares of Hann windows that
    overlap by half weigh it by 0.75 in the mean and 0.59375 in the mean square, half a window at the ends by less."""
    windows = (count - WINDOW) // (WINDOW // 2) + 1
    return WINDOW / 2 / RATE * (0.75 * windows) ** 2 / (0.59375 * windows - 3 / 64)


def _without_lines(spectrum: np.ndarray, lines: MainsLines) -> tuple[np.ndarray, np.ndarray]:
    """The spectrum, where hum lines stand by a power law between what lies on either side; and how often each bin is
    in the sum of all."""
    clean, often = spectrum.copy(), np.ones(len(spectrum))
    for hz in lines.hz[lines.level > 4 * lines.noise]:
        at = round(hz / BIN_HZ)
        own, below, above = (np.arange(max(at + first, 1), at + last) for first, last in ((-3, 4), (-8, -3), (4, 9)))
        low, high = (max(float(spectrum[beside].mean()), 1e-300) for beside in (below, above))
        share = (np.log(own) - np.log(at - 6)) / (np.log(at + 6) - np.log(at - 6))
        clean[own] = low ** (1 - share) * high**share
        often[own] = 0.0
        often[below] += clean[own] @ (1 - share) / (low * len(below))
        often[above] += clean[own] @ share / (high * len(above))
    return clean, often
