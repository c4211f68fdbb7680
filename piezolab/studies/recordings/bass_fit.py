"""From the levels of shared notes to what the stage brings: how much bass, from which corner, how loud.

A partial at f of a note p was so many decibels louder with the stage: D = a_p + S(f) + 10 lg(1 + u/f^2). S is what the
chain does besides the bare pickup's corner, taken from the prediction; a_p holds the gain and how hard that note was
plucked, u the square of the bare pickup's corner. The bass that is restored at the lowest partial, a figure in
decibels, is what the takes fix best and what is fitted; the corner follows from it.

Intervals come from the scatter between notes played, which includes that their partials vary together: each note's
influence on the fitted figure is summed up squared (Huber 1967, 5th Berkeley Symp. 1, 221; from memory). What a pluck
adds is weighed by the scatter of all others: weights that a pluck had a hand in would make its own influence small.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from piezolab.audio.third_octaves import ORDERS, band_of
from piezolab.studies.recordings import Estimate
from piezolab.studies.recordings.pluck_scatter import DULL_HZ, READ_DB, sureness, sureness_without
from piezolab.studies.recordings.shared_notes import SharedNote
from piezolab.studies.recordings.student_t import quantile_t

#: How hard somebody plucks two takes alike: an assumption, dB.
PLUCKED_DB = 3.0
LOWEST_DB, _HIGHEST_DB = -6.0, 60.0
_MOST_DB = 300.0  # an end of an interval that says nothing


@dataclass(frozen=True)
class BassFit:
    """What the takes say.

    low_hz: the lowest partial that stands out of the noise; bass: what the corner took there and the stage gives back,
    dB; level: how much louder, far above the corner, dB, where S is 0 dB; level_scatter: its interval from notes alone;
    bands: which third-octaves have partials, places in `ORDERS`, shape (B,); band_hz: where in them, Hz; gain: in each
    band, dB, S included, shape (B,), and half its interval; misfit_db: rms of gain less fit,
    what the scatter between notes explains taken off.
    """

    low_hz: float
    bass: Estimate
    level: Estimate
    level_scatter: Estimate
    bands: np.ndarray
    band_hz: np.ndarray
    gain: np.ndarray
    gain_half: np.ndarray
    misfit_db: float

    @property
    def corner(self) -> Estimate:
        """The bare pickup's corner, Hz; its lower end is 0 where it cannot be told from none."""
        return Estimate(*(corner_of(db, self.low_hz) for db in (self.bass.value, self.bass.low, self.bass.high)))


def corner_of(bass_db: float, low_hz: float) -> float:
    """The corner that takes so many decibels at a frequency; 0 for none and less."""
    return low_hz * float(np.sqrt(max(10 ** (min(bass_db, _MOST_DB) / 10) - 1, 0.0)))


def bass_fit(notes: Sequence[SharedNote], rest_db: Callable[[np.ndarray], np.ndarray], pairs: int = 1) -> BassFit:
    """Fit the shared notes, at least one with a partial.

    rest_db: S of frequencies in Hz; pairs: how often a bare take and one with the stage were made, by which the
    assumption on plucking shrinks.
    """
    hz = np.concatenate([note.hz for note in notes])
    group = np.concatenate([np.full(len(note.hz), n) for n, note in enumerate(notes)])
    gain = np.concatenate([note.staged.mean(axis=0) - note.bare.mean(axis=0) for note in notes])
    played = np.array([len(note.bare) * len(note.staged) / (len(note.bare) + len(note.staged)) for note in notes])
    weight = played[group] / (1 + (hz / DULL_HZ) ** 2)
    rest, low = rest_db(hz), float(hz.min())
    centred = _Centred([sureness(note) for note in notes])
    bass, slope = _solved(gain - rest, hz, low, centred)
    t = quantile_t(sum(len(note.bare) + len(note.staged) - 2 for note in notes))
    left = gain - rest - _lost(bass, hz, low)
    offset = centred.means(left)
    shares = played / played.sum()
    level = float(shares @ offset)
    half, scatter = (
        float(np.hypot(t * spread, READ_DB)) for spread in _spreads(notes, shares, slope, centred)
    )
    known = float(np.hypot(scatter, PLUCKED_DB / np.sqrt(pairs)))
    bands, band_hz, seen, seen_half, misfit = _by_band(notes, hz, left - offset[group], weight, slope, t, centred)
    fitted = rest_db(band_hz) + _lost(bass, band_hz, low) + level
    return BassFit(
        low, Estimate(bass, bass - half, bass + half), Estimate(level, level - known, level + known),
        Estimate(level, level - scatter, level + scatter), bands, band_hz, fitted + seen, seen_half, misfit,
    )  # fmt: skip


class _Centred:
    """Takes each note's weighted mean out of what its partials have. sureness: of each note, shape (P, P)."""

    def __init__(self, sureness: Sequence[np.ndarray]) -> None:
        self.sureness = sureness
        self.counts = [len(one) for one in sureness]
        self._cuts = np.cumsum(self.counts)[:-1]
        self._group = np.repeat(np.arange(len(sureness)), self.counts)
        self.sums = np.array([one.sum() for one in sureness])

    def split(self, values: np.ndarray) -> list[np.ndarray]:
        """By note."""
        return np.split(values, self._cuts)

    def weighed(self, values: np.ndarray) -> np.ndarray:
        """Values of all partials times the sureness of their note."""
        parts = zip(self.sureness, self.split(values), strict=True)
        return np.concatenate([one @ own for one, own in parts])

    def by_note(self, values: np.ndarray) -> np.ndarray:
        """Sum over each note's partials."""
        return np.bincount(self._group, values, len(self.sums))

    def influences(self, slope: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """How a partial moves its note's mean and how it moves the bass, by partial; mean of the slope by note."""
        steep = self(slope)
        pull = self.weighed(steep)
        own = np.concatenate([one.sum(axis=1) / one.sum() for one in self.sureness])
        return own, pull / max(float(steep @ pull), 1e-12), self.means(slope)

    def means(self, values: np.ndarray) -> np.ndarray:
        return np.bincount(self._group, self.weighed(values), len(self.sums)) / self.sums

    def __call__(self, values: np.ndarray) -> np.ndarray:
        return values - self.means(values)[self._group]


def _lost(bass: float, hz: np.ndarray, low: float) -> np.ndarray:
    """What a corner takes at some frequencies, dB, that takes `bass` at `low`."""
    return 10 * np.log10(np.maximum(1 + (10 ** (bass / 10) - 1) * (low / hz) ** 2, 1e-6))


def _solved(wanted: np.ndarray, hz: np.ndarray, low: float, centred: _Centred) -> tuple[float, np.ndarray]:
    """The bass that fits best, and how each partial's level follows it."""
    trial = np.linspace(LOWEST_DB, _HIGHEST_DB, 100)
    left = [centred(wanted - _lost(one, hz, low)) for one in trial]
    bass = float(trial[int(np.argmin([float(one @ centred.weighed(one)) for one in left]))])
    for _ in range(30):
        slope = (_lost(bass + 0.01, hz, low) - _lost(bass - 0.01, hz, low)) / 0.02
        steep = centred(slope)
        pull = centred.weighed(steep)
        bottom = float(steep @ pull)
        if bottom < 1e-12:
            break
        step = float(pull @ centred(wanted - _lost(bass, hz, low))) / bottom
        bass = float(np.clip(bass + np.clip(step, -3, 3), LOWEST_DB, _HIGHEST_DB))
        if abs(step) < 1e-7:
            break
    return bass, (_lost(bass + 0.01, hz, low) - _lost(bass - 0.01, hz, low)) / 0.02


def _spreads(
    notes: Sequence[SharedNote], shares: np.ndarray, slope: np.ndarray, centred: _Centred
) -> tuple[float, float]:
    """Standard deviations of bass and level from the scatter between plucks, each weighed as all others say."""
    parts = centred.split(slope)
    bottoms = np.array([_pulled(one, own)[2] for one, own in zip(centred.sureness, parts, strict=True)])
    means = centred.means(slope)
    bass = level = 0.0
    for n, note in enumerate(notes):
        for levels, without in zip((note.bare, note.staged), sureness_without(note), strict=True):
            count, one = len(levels), without
            off = (levels - levels.mean(axis=0)) * count / (count - 1)
            mean, pull, bottom = _pulled(one, parts[n])
            pull = pull / np.maximum(bottom + bottoms.sum() - bottoms[n], 1e-12)[:, None]
            mean_slope = shares @ means + shares[n] * (mean - means[n])
            sums = one.sum(axis=-1)
            own = sums / sums.sum(axis=-1, keepdims=True) * shares[n] - mean_slope[:, None] * pull
            both = [((off * row).sum(axis=1) ** 2).sum() * (count - 1) / count**3 for row in (pull, own)]
            bass, level = bass + both[0], level + both[1]
    return float(np.sqrt(bass)), float(np.sqrt(level))


def _pulled(sure: np.ndarray, slope: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Of a note's sureness (..., P, P): the slope's mean, shape (...), its partials' pull, (..., P), and what both
    add to the sum of squares, (...)."""
    sums = sure.sum(axis=-1)
    mean = (sums @ slope) / sums.sum(axis=-1)
    steep = slope - mean[..., None]
    pull = (sure @ steep[..., None])[..., 0]
    return mean, pull, (steep * pull).sum(axis=-1)


def _spread(notes: Sequence[SharedNote], pull: np.ndarray) -> float:
    """Standard deviation of a sum over partials of pull times gain, from the scatter between notes played."""
    variance, at = 0.0, 0
    for note in notes:
        own = pull[at : at + len(note.hz)]
        at += len(note.hz)
        for levels in (note.bare, note.staged):
            n = len(levels)
            influence = (levels - levels.mean(axis=0)) @ own / n
            variance += float((influence**2).sum()) * n / (n - 1)
    return float(np.sqrt(variance))


def _by_band(
    notes: Sequence[SharedNote], hz: np.ndarray, left: np.ndarray, weight: np.ndarray, slope: np.ndarray, t: float,
    centred: _Centred,
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, float]:  # fmt: skip
    """Which bands have partials; where in them; what the fit leaves there; half the interval of fit and that together,
    beside the level; rms of what is left.

    A pluck moves a band by its own partials there, by the notes' levels, which are taken off, and by the bass, which
    those levels follow.
    """
    place = band_of(hz)
    bands = np.array([n for n in range(len(ORDERS)) if (place == n).any()])
    own_mean, pull, means = centred.influences(slope)
    middle, mean, half, scatter = (np.empty(len(bands)) for _ in range(4))
    for k, band in enumerate(bands):
        own = weight * (place == band)
        own /= own.sum()
        middle[k] = np.exp(own @ np.log(hz))
        mean[k] = own @ left
        share = centred.by_note(own)
        beside = own - own_mean * np.repeat(share, centred.counts) + share @ means * pull
        half[k] = t * _spread(notes, beside)
        scatter[k] = _spread(notes, beside - own @ slope * pull)
    seen = np.bincount(np.searchsorted(bands, place), weight, len(bands))
    more = (seen * (mean**2 - scatter**2)).sum() / seen.sum()
    return bands, middle, mean, half, float(np.sqrt(max(more, 0.0)))
