"""One of the two sweeps of a recording as a response over time, and what lies where in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.audio import RATE
from piezolab.audio.exponential_sweep import ExponentialSweep
from piezolab.giving_way import give_way

ORDERS = (2, 3, 4, 5)  # harmonics that are told apart
SIDE = 2 ** (1 / 24)  # from the middle of a twelfth of an octave to its ends
_BEFORE_S, _AFTER_S = 0.5, 1.5  # of the sweep, that are looked at with it
_EARLY_S, _LATE_S = 0.25, 0.9  # of the response in time, that are kept


def cut_out(samples: np.ndarray, start: int, sweep: ExponentialSweep) -> np.ndarray:
    """A sweep with what is before and after it, its ends faded; an even number of samples."""
    count = round((_BEFORE_S + sweep.seconds + _AFTER_S) * RATE) // 2 * 2
    first = start - round(_BEFORE_S * RATE)
    out = np.zeros(count)
    part = samples[max(first, 0) : max(first + count, 0)]
    out[max(-first, 0) : max(-first, 0) + len(part)] = part
    fade = np.sin(0.5 * np.pi * np.arange(RATE // 10) / (RATE // 10)) ** 2
    out[: len(fade)] *= fade
    out[-len(fade) :] *= fade[::-1]
    return out


@dataclass(frozen=True, eq=False)
class RunFound:
    """Of one sweep: response and its noise, shape (F,); size of each harmonic and of noise there, shape (4, G)."""

    response: np.ndarray
    noise: np.ndarray
    seen: np.ndarray
    free: np.ndarray


class SweepRun:
    """One of the two sweeps, as a response over time."""

    def __init__(
        self, left: np.ndarray, right: np.ndarray | None, start: int, sweep: ExponentialSweep, drift: float,
        within: tuple[float, float],
    ) -> None:  # fmt: skip
        self.sweep, self.to_hz = sweep, within[1]
        out = np.fft.rfft(cut_out(left, start, sweep))
        give_way()
        if right is not None:
            put_in = cut_out(right, start, sweep)
        else:
            put_in = np.zeros(2 * (len(out) - 1))
            own = sweep.samples(1 + drift)
            first = round(_BEFORE_S * RATE)
            put_in[first : first + len(own)] = own
        put = np.fft.rfft(put_in)
        self.count = len(put_in)
        give_way()
        hz = np.arange(len(put)) * RATE / self.count
        fade = _fade(hz, 0.3 * within[0], 0.75 * within[0]) * (1 - _fade(hz, 1.02 * within[1], 1.09 * within[1]))
        size = np.abs(put) ** 2
        self.impulse = np.fft.irfft(fade * out * put.conj() / (size + 1e-12 * size.max()))
        self.main = self._peak() if right is None else 0
        give_way()

    def found(self, hz: np.ndarray) -> RunFound:
        """All that is asked of it; harmonics of every second frequency, nan beyond the sweep."""
        seen, free = (np.full((len(ORDERS), len(hz[::2])), np.nan) for _ in range(2))
        for k, order in enumerate(ORDERS):
            inside = order * hz[::2] * SIDE <= self.to_hz
            seen[k, inside], free[k, inside] = self._harmonic(order, hz[::2][inside])
        return RunFound(self._response(hz), self._noise(hz), seen, free)

    def _peak(self) -> int:
        """Where the response begins, a sample: within 20 ms of where it should."""
        near = round(0.02 * RATE)
        around = np.r_[self.impulse[-near:], self.impulse[:near]]
        return int(np.argmax(np.abs(around))) - near

    def spectrum(self, ahead_s: float, early_s: float, late_s: float) -> np.ndarray:
        """Of the piece of the response that lies so much before its beginning."""
        centre = self.main - round(ahead_s * RATE)
        early, late = round(early_s * RATE), round(late_s * RATE)
        rise, fall = max(early // 2, 1), max(late // 3, 1)
        window = np.ones(early + late)
        window[:rise] = np.sin(0.5 * np.pi * np.arange(rise) / rise) ** 2
        window[-fall:] = np.cos(0.5 * np.pi * np.arange(fall) / fall) ** 2
        piece = np.zeros(self.count)
        at = np.arange(-early, late)
        piece[at % self.count] = self.impulse[(centre + at) % self.count] * window
        give_way()
        return np.fft.rfft(piece)

    def _response(self, hz: np.ndarray) -> np.ndarray:
        """Mean over a twelfth of an octave about each frequency."""
        return self._means(self.spectrum(0.0, self._early(), _LATE_S), hz)

    def _noise(self, hz: np.ndarray) -> np.ndarray:
        """Standard deviation of the same from noise, from a piece as long in which no response is."""
        free = self._means(self.spectrum(self._free(), self._early(), _LATE_S), hz, squared=True)
        # each mean is one of as many independent values as the piece's length gives in the band
        return free / np.sqrt(np.maximum(hz * (SIDE - 1 / SIDE) * (self._early() + _LATE_S) * 0.8, 1.0))

    def _early(self) -> float:
        """Seconds before the response's beginning that are kept with it."""
        return min(_EARLY_S, 0.3 * self.sweep.ahead_s(2))

    def _free(self) -> float:
        """How far ahead nothing but noise is: before all harmonics up to the eighth, if the sweep is so long."""
        return min(self.sweep.ahead_s(9) + _LATE_S, self.sweep.seconds - 1.0)

    def _harmonic(self, order: int, hz: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Size of a harmonic at so many times the frequencies, rms over the band, and what noise is there."""
        late = min(0.45 * (self.sweep.ahead_s(order) - self.sweep.ahead_s(order - 1)), 0.3)
        early = min(0.45 * (self.sweep.ahead_s(order + 1) - self.sweep.ahead_s(order)), 0.1)
        seen = self._means(self.spectrum(self.sweep.ahead_s(order), early, late), order * hz, squared=True)
        free = self._means(self.spectrum(self._free() + 1e-4 * order, early, late), order * hz, squared=True)
        return seen, free

    def _means(self, spectrum: np.ndarray, hz: np.ndarray, squared: bool = False) -> np.ndarray:
        step = RATE / self.count
        total = np.concatenate([[0.0], np.cumsum(np.abs(spectrum) ** 2 if squared else spectrum)])
        low = np.clip(np.ceil(hz / SIDE / step).astype(int), 0, len(spectrum) - 1)
        high = np.clip(np.floor(hz * SIDE / step).astype(int) + 1, low + 1, len(spectrum))
        mean = (total[high] - total[low]) / (high - low)
        return np.sqrt(np.maximum(mean.real, 0)) if squared else mean


def _fade(hz: np.ndarray, low: float, high: float) -> np.ndarray:
    """From 0 below to 1 above."""
    return np.sin(0.5 * np.pi * np.clip((hz - low) / (high - low), 0, 1)) ** 2
