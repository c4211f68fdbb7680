"""Notes of a take: where each begins, its pitch, its spectrum."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.audio import RATE
from piezolab.audio.loudness import HOP
from piezolab.audio.third_octaves import band_shares
from piezolab.giving_way import give_way
from piezolab.studies.recordings.quiet_part import BIN_HZ, WINDOW, window

#: Notes looked at in one take.
MOST_NOTES = 200
TOP_HZ = 12_000.0
LOWEST_HZ, HIGHEST_HZ = 25.0, 1500.0
CLEAR = 0.75  # how alike two periods are of what has one pitch
_RISES, _ABOVE_FLOOR = 10**0.6, 10**1.2
_APART, _AFTER_S = 30, 0.012  # hops between two beginnings; from the beginning to the window
_NEAR_BEST, _STANDS_OUT = 0.9, 6.0
_LAG, _AT_ONCE = 8, 500  # samples; hops
_FINE, _BRIGHT = HOP // 10, 0.1  # samples; of the brightest
_PARTIALS, _THUMP, _BETWEEN = 4, 10**-1.2, 10**-2.5  # of a pitch; parts of their power


@dataclass(frozen=True)
class PlayedNotes:
    """Notes of a take, in the order in which they were played.

    start_s: where their windows begin, shape (n,); pitch_hz: shape (n,); spectrum: power in each bin of their windows
    up to 12 kHz, float32, shape (n, bins); bands: mean square in each third-octave, of full scale squared, shape
    (n, 31); unclear: sounds that were left out, since they have no one pitch or run into the next.
    """

    start_s: np.ndarray
    pitch_hz: np.ndarray
    spectrum: np.ndarray
    bands: np.ndarray
    unclear: int

    def __len__(self) -> int:
        return len(self.pitch_hz)


def played_notes(samples: np.ndarray, quiet: np.ndarray | None) -> PlayedNotes:
    """The notes of a take. samples: shape (N,); quiet: what a note's window holds in each bin while nobody plays, None
    where that is not known."""
    begins = _beginnings(_bright_powers(samples))
    weight, bins = window(), round(TOP_HZ / BIN_HZ)
    shares = band_shares(BIN_HZ, WINDOW // 2 + 1) * (2 / (WINDOW * float((weight**2).sum())))
    starts, pitches, spectra, bands, unclear = [], [], [], [], 0
    for n, begin in enumerate(begins[:MOST_NOTES]):
        start = _attack(samples, begin * HOP) + round(_AFTER_S * RATE)
        after = begins[n + 1] * HOP if n + 1 < len(begins) else len(samples)
        if start + WINDOW > after:
            unclear += 1
            continue
        part = np.asarray(samples[start : start + WINDOW], float)
        pitch = pitch_of(part, quiet)
        give_way()
        if not pitch:
            unclear += 1
            continue
        power = np.abs(np.fft.rfft(part * weight)) ** 2
        starts.append(start / RATE)
        pitches.append(pitch)
        spectra.append(power[:bins].astype(np.float32))
        bands.append(shares @ power)
        give_way()
    return PlayedNotes(
        np.array(starts), np.array(pitches), np.array(spectra, np.float32).reshape(-1, bins),
        np.array(bands).reshape(-1, len(shares)), unclear,
    )  # fmt: skip


def _bright_powers(samples: np.ndarray) -> np.ndarray:
    """Mean squares of pieces of 10 ms of the difference to the sample a sixth of a millisecond before: a pluck is
    bright, hum is not."""
    count, out = len(samples) // HOP, []
    for start in range(0, count * HOP, _AT_ONCE * HOP):
        part = np.asarray(samples[max(start - _LAG, 0) : min(start + _AT_ONCE * HOP, count * HOP)], float)
        part = part if start else np.concatenate([np.zeros(_LAG), part])
        out.append(((part[_LAG:] - part[:-_LAG]).reshape(-1, HOP) ** 2).mean(axis=1))
        give_way()
    return np.concatenate(out) if out else np.empty(0)


def _beginnings(bright: np.ndarray) -> list[int]:
    """Pieces of 10 ms in which a note begins: the level rises by 6 dB and stands 12 dB above the lowest of the take."""
    if len(bright) < 12:
        return []
    floor = max(float(np.percentile(bright, 5)), 1e-16)
    total = np.concatenate([[0.0], np.cumsum(bright)])
    at = np.arange(6, len(bright) - 4)
    now = (total[at + 4] - total[at]) / 4
    before = np.maximum((total[at - 1] - total[at - 6]) / 5, floor)
    rise = np.where(now > _ABOVE_FLOOR * floor, now / np.maximum(before, 1e-30), 0.0)
    found: list[int] = []
    for k in np.flatnonzero(rise > _RISES):
        if found and at[k] - found[-1] < _APART:
            continue
        near = slice(k, k + 6)
        found.append(int(at[near][np.argmax(rise[near])]))
    return found


def _attack(samples: np.ndarray, begin: int) -> int:
    """The sample at which the note that begins near one is bright first: two takes of one note are to begin alike."""
    first = max(begin - 2 * HOP, 0)
    part = np.asarray(samples[first : begin + 4 * HOP], float)
    bright = (part[_LAG:] - part[:-_LAG]) ** 2
    power = bright[: len(bright) // _FINE * _FINE].reshape(-1, _FINE).mean(axis=1)
    rests = power[: HOP // _FINE].mean()
    return first + _FINE * int(np.argmax(power > rests + _BRIGHT * (power.max() - rests)))


def pitch_of(part: np.ndarray, quiet: np.ndarray | None = None) -> float:
    """Pitch in Hz of a piece of sound, shape (WINDOW,); 0 where it has no one pitch from 25 Hz to 1.5 kHz. quiet: as of
    `played_notes`; bins that are no more than that are left out.

    The first high peak of the normalised square difference (McLeod & Wyvill 2005, A smarter way to find pitch, from
    memory): how alike the sound and itself a period later are. The sound is tilted by 6 dB an octave first: high
    partials of stiff strings are out of tune, and most of what a bare pickup gives.
    """
    tilt = 1 / np.maximum(np.arange(WINDOW // 2 + 1), LOWEST_HZ / BIN_HZ)
    tilt[: round(0.8 * LOWEST_HZ / BIN_HZ)] = 0
    heard = np.fft.rfft(part * window())
    if quiet is not None:
        tilt = tilt * (np.abs(heard) ** 2 > _STANDS_OUT * quiet)
    part = np.fft.irfft(heard * tilt)
    longest = round(RATE / LOWEST_HZ)
    spectrum = np.fft.rfft(part, 2 * WINDOW)
    alike = np.fft.irfft(np.abs(spectrum) ** 2)[: longest + 2]
    square = np.concatenate([[0.0], np.cumsum(part**2)])
    lag = np.arange(longest + 2)
    both = square[WINDOW - lag] + square[-1] - square[lag]
    if not both[0] > 0:
        return 0.0
    share = 2 * alike / both
    inner = share[1:-1]
    peaks = np.flatnonzero((inner > share[:-2]) & (inner >= share[2:])) + 1
    fell = np.flatnonzero(share < 0.3)
    peaks = peaks[(peaks >= RATE / HIGHEST_HZ) & (peaks > (fell[0] if fell.size else longest))]
    if not peaks.size or share[peaks].max() < CLEAR:
        return 0.0
    first = peaks[np.argmax(share[peaks] >= _NEAR_BEST * share[peaks].max())]
    below, at, above = share[first - 1 : first + 2]
    pitch = RATE / (first + 0.5 * (below - above) / (below - 2 * at + above))
    return _lifted(pitch, np.abs(heard) ** 2 * (tilt > 0))


def _lifted(pitch: float, power: np.ndarray) -> float:
    """The pitch, or its double or threefold where only every second or third partial is there: no string has those
    alone, and what lies lower is the thump of the attack."""
    for times in (2, 3):
        order = np.arange(1, _PARTIALS * times + 1)
        at = np.rint(order * pitch / BIN_HZ).astype(int)[:, None] + np.arange(-2, 3)
        held = power[np.minimum(at, len(power) - 1)].sum(axis=1)
        own = held[order % times == 0].sum()
        thump, between = held[order < times].sum(), held[(order > times) & (order % times != 0)].sum()
        if thump < _THUMP * own and between < _BETWEEN * own and times * pitch <= HIGHEST_HZ:
            return _lifted(times * pitch, power)
    return pitch
