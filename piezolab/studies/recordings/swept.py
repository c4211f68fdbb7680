"""A recorded sweep: response, distortion by order, hum and noise of what it went through.

The recording over what went in, frequency by frequency, is the response together with copies of it, earlier in time,
that the harmonics leave (Farina 2000, see `audio.exponential_sweep`). With the loop-back on the second channel what
went in is that channel, so drift of the recorder's clock, delay and the interface's own corners stand in both and
cancel. Without it the two sweeps of the file tell the clock, and the interface's corners stay in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.audio import RATE, AudioError
from piezolab.audio.exponential_sweep import TONE_HZ, ExponentialSweep
from piezolab.audio.loudness import hop_powers
from piezolab.audio.sound_file import Recording
from piezolab.giving_way import give_way
from piezolab.studies.recordings.quiet_part import QuietPart, quiet_part
from piezolab.studies.recordings.sweep_run import SIDE, RunFound, SweepRun, cut_out

#: Where the response is given, Hz: middles of twelfths of an octave about 1 kHz.
TWELFTHS = 1000.0 * 2.0 ** (np.arange(-67, 52) / 12)
METHOD_DB = 0.01  # what the method is off by without noise, by its tests
CLEAR_DB = 6.0  # a harmonic above its noise, before it is more than "below"
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


def swept(
    recording: Recording, sweep: ExponentialSweep | None = None, from_hz: float = 20.0, to_hz: float = 20e3
) -> SweptTake:
    """Study a recording of both channels, chain left, loop-back right, or of one; sweep: what was played.

    Raises AudioError with a sentence where no sweep is in it, or the channels cannot be what they should.
    """
    sweep = sweep or ExponentialSweep()
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
    hz = TWELFTHS[(from_hz * 0.999 <= TWELFTHS / SIDE) & (TWELFTHS * SIDE <= to_hz * 1.001)]
    # one after the other: each holds some tens of megabytes
    runs = [SweepRun(left, right, start, sweep, drift, (from_hz, to_hz)).found(hz) for start in starts]
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


def _passing(left: np.ndarray, start: int, sweep: ExponentialSweep) -> float:
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


def _starts(samples: np.ndarray, sweep: ExponentialSweep, name: str) -> tuple[int, int]:
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


def _drift(samples: np.ndarray, starts: tuple[int, int], sweep: ExponentialSweep) -> float:
    """The recorder's clock over the player's, less 1: from how much later the second sweep comes, within a hundredth of
    a sample, by the phase between both."""
    first, second = (np.fft.rfft(cut_out(samples, start, sweep)) for start in starts)
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


def _turned(one: np.ndarray, other: np.ndarray, hz: np.ndarray) -> np.ndarray:
    """The second run's delay against the first's, undone: what is left of a sample between both."""
    cross = one * other.conj()
    turn = 2 * np.pi * hz
    fraction = float((turn * np.angle(cross)).sum() / (turn**2).sum())
    return np.exp(1j * turn * fraction)


def _harmonics(runs: list[RunFound]) -> tuple[np.ndarray, np.ndarray]:
    """Each harmonic over the fundamental, noise taken off, and what noise alone makes of it, shape (4, G)."""
    main = np.mean([np.abs(run.response[::2]) for run in runs], axis=0)
    power, noise = (np.mean([part**2 for part in parts], axis=0) for parts in (
        [run.seen for run in runs], [run.free for run in runs]
    ))  # fmt: skip
    return np.sqrt(np.maximum(power - noise, 0)) / main, np.sqrt(noise) / main
