"""A recorded sweep: response, distortion by order, hum and noise of what it went through.

The recording over what went in, frequency by frequency, is the response together with copies of it, earlier in time,
that the harmonics leave (Farina 2000, see `audio.sweep`). With the loop-back on the second channel what went in is that
channel, so drift of the recorder's clock, delay and the interface's own corners stand in both and cancel. Without it
the two sweeps of the file tell the clock, and the interface's corners stay in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.audio import RATE, AudioError
from piezolab.audio.loudness import hop_powers
from piezolab.audio.sound_file import Recording
from piezolab.audio.sweep import TONE_HZ, Sweep
from piezolab.giving_way import give_way
from piezolab.studies.recordings.quiet_part import QuietPart, quiet_part

#: Where the response is given, Hz: middles of twelfths of an octave about 1 kHz.
TWELFTHS = 1000.0 * 2.0 ** (np.arange(-67, 52) / 12)
ORDERS = (2, 3, 4, 5)  # harmonics that are told apart
METHOD_DB = 0.01  # what the method is off by without noise, by its tests
CLEAR_DB = 6.0  # a harmonic above its noise, before it is more than "below"
_SIDE = 2 ** (1 / 24)
_BEFORE_S, _AFTER_S = 0.5, 1.5  # of the sweep, that are looked at with it
_EARLY_S, _LATE_S = 0.25, 0.9  # of the response in time, that are kept
_DOWN = 8
_SEEN = 8.0  # how far the sweep's beginning stands above what else is like it
_MOST_DRIFT = 5e-4
_SAME = 1e-6  # share of the power, by which two channels differ at least


@dataclass(frozen=True, eq=False)
class SweptTake:
    """What a recorded sweep says.

    hz: shape (F,); response: complex, recording over what went in, shape (F,): with an unknown delay, and without
    loop-back an unknown level; half_db: half the 95 % interval of its level from noise, dB, shape (F,); order_hz:
    fundamentals, shape (G,); harmonics: ratio to the fundamental by order, shape (4, G), nan where the harmonic is
    beyond the sweep; floors: what noise alone makes of that ratio, likewise; drift: the recorder's clock over the
    player's, less 1; looped: whether a loop-back was there; clipped: moments at the recorder's full scale; peak: of the
    chain's channel, of full scale; quiet: the silence before, None where it is not; tone_peak: of the
    chain's channel while the sweep passes the meter's tone, of full scale.
    """

    name: str
    hz: np.ndarray
    response: np.ndarray
    half_db: np.ndarray
    order_hz: np.ndarray
    harmonics: np.ndarray
    floors: np.ndarray
    drift: float
    looped: bool
    clipped: int
    peak: float
    quiet: QuietPart | None
    tone_peak: float

    def stands_out(self) -> np.ndarray:
        """Where a harmonic is more than noise, shape (4, G)."""
        return self.harmonics > self.floors * 10 ** (CLEAR_DB / 20)


def swept(recording: Recording, sweep: Sweep | None = None, from_hz: float = 20.0, to_hz: float = 20e3) -> SweptTake:
    """Study a recording of both channels, chain left, loop-back right, or of one; sweep: what was played.

    Raises AudioError with a sentence where no sweep is in it, or the channels cannot be what they should.
    """
    sweep = sweep or Sweep()
    samples = recording.samples
    left, right = (samples, None) if samples.ndim == 1 else (samples[:, 0], samples[:, 1])
    if right is not None:
        right = _loop(left, right, recording.name)
    starts = _starts(left if right is None else right, sweep, recording.name)
    drift = _drift(left if right is None else right, starts, sweep)
    if abs(drift) > _MOST_DRIFT:
        raise AudioError(
            f"{recording.name}: its sweeps are {drift * 1e6:.0f} ppm off in time; up to {_MOST_DRIFT * 1e6:.0f} is "
            "allowed. Play the file itself, at its own speed and unaltered."
        )
    hz = TWELFTHS[(from_hz * 0.999 <= TWELFTHS / _SIDE) & (TWELFTHS * _SIDE <= to_hz * 1.001)]
    # one after the other: each holds some tens of megabytes
    runs = [_Run(left, right, start, sweep, drift, (from_hz, to_hz)).found(hz) for start in starts]
    response = (runs[0].response + runs[1].response * _turned(runs[0].response, runs[1].response, hz)) / 2
    noise = np.hypot(runs[0].noise, runs[1].noise) / 2  # of the mean of both
    harmonics, floors = _harmonics(runs)
    before = left[: max(starts[0] - RATE // 4, 0)]
    quiet = quiet_part(before, hop_powers(before)[1]) if len(before) >= 3 * RATE else None
    # of the noise, half the power is in phase with the response
    half = METHOD_DB + 20 * np.log10(1 + 1.96 * noise / np.sqrt(2) / np.maximum(np.abs(response), 1e-12))
    return SweptTake(
        recording.name, hz, response, half, hz[::2], harmonics, floors, drift, right is not None, recording.clipped,
        float(np.abs(left).max()), quiet, float(np.mean([_passing(left, start, sweep) for start in starts])),
    )  # fmt: skip


def _passing(left: np.ndarray, start: int, sweep: Sweep) -> float:
    """Peak of a twentieth of a second about the moment at which the sweep passes the meter's tone."""
    middle = start + round(sweep.rate_s * np.log(TONE_HZ / sweep.from_hz) * RATE)
    return float(np.sqrt(2 * np.mean(np.square(left[middle - RATE // 40 : middle + RATE // 40], dtype=float))))


def _loop(left: np.ndarray, right: np.ndarray, name: str) -> np.ndarray | None:
    """The loop-back; None where that channel holds next to nothing."""
    powers = [float(np.mean(np.square(one, dtype=float))) for one in (left, right)]
    if float(np.mean(np.square(left - right, dtype=float))) < _SAME * powers[0]:
        raise AudioError(
            f"{name}: both channels hold the same sound; the chain belongs on the left one, what is played on the "
            "right one."
        )
    return right if powers[1] > 1e-7 else None


def _starts(samples: np.ndarray, sweep: Sweep, name: str) -> tuple[int, int]:
    """First samples of the two sweeps, within a millisecond or so: where the sound is most like one, up to 3 kHz."""
    low = _brought_down(samples)
    one = _brought_down(sweep.samples())
    length = 1 << (len(low) + len(one)).bit_length()
    spectrum, own = np.fft.rfft(low, length), np.fft.rfft(one, length)
    give_way()
    # what is flat in the sweep's own spectrum, so that its low end does not smear the place
    size = np.abs(own) ** 2
    like = np.abs(np.fft.irfft(spectrum * own.conj() / (size + 1e-3 * size.max()), length)[: len(low)])
    give_way()
    reach = round(0.05 * RATE / _DOWN)
    apart = round(sweep.apart_s * RATE / _DOWN)
    if len(like) <= apart + reach:
        raise AudioError(f"{name}: it is shorter than what was to be played; record the whole file, both its sweeps.")
    # both sweeps at once: the place whose like follows one distance on
    later = np.lib.stride_tricks.sliding_window_view(np.pad(like[apart - reach :], (0, 1)), 2 * reach + 1).max(axis=1)
    count = min(len(later), len(like))
    first = int(np.argmax(np.minimum(like[:count], later[:count])))
    around = slice(max(first + apart - reach, 0), first + apart + reach + 1)
    second = around.start + int(np.argmax(like[around]))
    rest = float(np.sqrt(np.mean(like**2)))
    if min(like[first], like[second]) < _SEEN * rest:
        raise AudioError(
            f"{name}: the sweep of the file to be played is not in it twice; record it from before the first."
        )
    return first * _DOWN, second * _DOWN


def _brought_down(samples: np.ndarray) -> np.ndarray:
    count = len(samples) // _DOWN
    return samples[: count * _DOWN].reshape(count, _DOWN).mean(axis=1, dtype=float)


def _drift(samples: np.ndarray, starts: tuple[int, int], sweep: Sweep) -> float:
    """The recorder's clock over the player's, less 1: from how much later the second sweep comes, within a hundredth of
    a sample, by the phase between both."""
    first, second = (np.fft.rfft(_cut(samples, start, sweep)) for start in starts)
    give_way()
    count = 2 * (len(first) - 1)
    hz = np.arange(len(first)) * RATE / count
    inside = (hz > 2 * sweep.from_hz) & (hz < min(0.8 * sweep.to_hz, 15e3))
    cross = (second * first.conj())[inside]
    late = np.fft.irfft(np.where(inside, second * first.conj(), 0))
    peak = int(np.argmax(late))
    whole = peak if peak < len(late) // 2 else peak - len(late)
    turn = 2 * np.pi * hz[inside] / RATE
    left = np.angle(cross * np.exp(1j * turn * whole))
    size = np.abs(cross)
    fraction = -float((size * turn * left).sum() / (size * turn**2).sum())
    return (starts[1] - starts[0] + whole + fraction) / (sweep.apart_s * RATE) - 1


def _cut(samples: np.ndarray, start: int, sweep: Sweep) -> np.ndarray:
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
class _Found:
    """Of one sweep: response and its noise, shape (F,); size of each harmonic and of noise there, shape (4, G)."""

    response: np.ndarray
    noise: np.ndarray
    seen: np.ndarray
    free: np.ndarray


class _Run:
    """One of the two sweeps, as a response over time."""

    def __init__(
        self, left: np.ndarray, right: np.ndarray | None, start: int, sweep: Sweep, drift: float,
        within: tuple[float, float],
    ) -> None:  # fmt: skip
        self.sweep, self.to_hz = sweep, within[1]
        out = np.fft.rfft(_cut(left, start, sweep))
        give_way()
        if right is not None:
            put_in = _cut(right, start, sweep)
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

    def found(self, hz: np.ndarray) -> _Found:
        """All that is asked of it; harmonics of every second frequency, nan beyond the sweep."""
        seen, free = (np.full((len(ORDERS), len(hz[::2])), np.nan) for _ in range(2))
        for k, order in enumerate(ORDERS):
            inside = order * hz[::2] * _SIDE <= self.to_hz
            seen[k, inside], free[k, inside] = self._harmonic(order, hz[::2][inside])
        return _Found(self._response(hz), self._noise(hz), seen, free)

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
        return free / np.sqrt(np.maximum(hz * (_SIDE - 1 / _SIDE) * (self._early() + _LATE_S) * 0.8, 1.0))

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
        low = np.clip(np.ceil(hz / _SIDE / step).astype(int), 0, len(spectrum) - 1)
        high = np.clip(np.floor(hz * _SIDE / step).astype(int) + 1, low + 1, len(spectrum))
        mean = (total[high] - total[low]) / (high - low)
        return np.sqrt(np.maximum(mean.real, 0)) if squared else mean


def _fade(hz: np.ndarray, low: float, high: float) -> np.ndarray:
    """From 0 below to 1 above."""
    return np.sin(0.5 * np.pi * np.clip((hz - low) / (high - low), 0, 1)) ** 2


def _turned(one: np.ndarray, other: np.ndarray, hz: np.ndarray) -> np.ndarray:
    """The second run's delay against the first's, undone: what is left of a sample between both."""
    cross = one * other.conj()
    turn = 2 * np.pi * hz
    fraction = float((turn * np.angle(cross)).sum() / (turn**2).sum())
    return np.exp(1j * turn * fraction)


def _harmonics(runs: list[_Found]) -> tuple[np.ndarray, np.ndarray]:
    """Each harmonic over the fundamental, noise taken off, and what noise alone makes of it, shape (4, G)."""
    main = np.mean([np.abs(run.response[::2]) for run in runs], axis=0)
    power, noise = (np.mean([part**2 for part in parts], axis=0) for parts in (
        [run.seen for run in runs], [run.free for run in runs]
    ))  # fmt: skip
    return np.sqrt(np.maximum(power - noise, 0)) / main, np.sqrt(noise) / main
