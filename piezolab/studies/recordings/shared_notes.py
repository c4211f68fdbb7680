"""Notes that were played bare and with the stage, matched by pitch, and the levels of their partials."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.studies.recordings.played_notes import PlayedNotes
from piezolab.studies.recordings.quiet_part import BIN_HZ
from piezolab.studies.recordings.studied_take import StudiedTake

SAME = 0.6 / 12  # octaves: what lies closer is one note, played again
LEAST_DB = 10.0  # of a partial above the noise, in both kinds of takes
#: What is weaker than the strongest by more, in the mean of both kinds of takes, may be what rings on or the attack.
REACH_DB = 40.0
MOST_PARTIALS, TOP_HZ = 24, 6000.0
_LOST, _IN_FEW = 4.0, 0.05  # times the noise; part of the plucks
_SIDE, _LOWEST_HZ = 2, 25.0  # bins that a partial spreads to either side
_NEAR = 0.006  # of its frequency, where a partial is looked for in each note


@dataclass(frozen=True)
class SharedNote:
    """One note of both kinds of takes.

    pitch_hz; hz: its partials, shape (P,); bare, staged: level of each partial in each note played, dB of full scale,
    shapes (n, P) and (m, P).
    """

    pitch_hz: float
    hz: np.ndarray
    bare: np.ndarray
    staged: np.ndarray


def shared_notes(takes: tuple[StudiedTake, ...]) -> tuple[SharedNote, ...]:
    """What was played twice or more bare, and twice or more with the stage."""
    sides = [_joined([take for take in takes if take.staged == staged]) for staged in (False, True)]
    if any(side is None for side in sides):
        return ()
    found = []
    every = np.concatenate([np.log2(pitch) for pitch, _, _ in sides])
    for low, high in _clusters(np.sort(every)):
        picked = [_within(side, low, high) for side in sides]
        if min(len(one[0]) for one in picked) < 2:
            continue
        note = _note(*picked)
        if note is not None:
            found.append(note)
    return tuple(found)


Side = tuple[np.ndarray, np.ndarray, np.ndarray]  # pitches (n,), spectra (n, bins), noise of each (n, bins)


def _joined(takes: list[StudiedTake]) -> Side | None:
    """The notes of all takes of one kind."""
    takes = [take for take in takes if len(take.notes)]
    if not takes:
        return None
    pitch = np.concatenate([take.notes.pitch_hz for take in takes])
    power = np.concatenate([take.notes.spectrum for take in takes])
    noise = np.concatenate([np.broadcast_to(_noise(take), take.notes.spectrum.shape) for take in takes])
    return pitch, power, noise


def _noise(take: StudiedTake) -> np.ndarray:
    """Noise and hum in each bin of the take's notes, shape (bins,); without a quiet part the least of any note."""
    notes: PlayedNotes = take.notes
    bins = notes.spectrum.shape[1]
    if take.quiet is not None:
        return take.quiet.spectrum[:bins].astype(np.float32)
    return notes.spectrum.min(axis=0)


def _clusters(octave: np.ndarray) -> list[tuple[float, float]]:
    """Lowest and highest of groups of pitches that follow each other closely."""
    cuts = np.flatnonzero(np.diff(octave) > SAME)
    first, last = np.r_[0, cuts + 1], np.r_[cuts, len(octave) - 1]
    return [(float(octave[a]), float(octave[b])) for a, b in zip(first, last, strict=True)]


def _within(side: Side, low: float, high: float) -> Side:
    octave = np.log2(side[0])
    inside = (octave >= low - 1e-9) & (octave <= high + 1e-9)
    return side[0][inside], side[1][inside], side[2][inside]


def _note(bare: Side, staged: Side) -> SharedNote | None:
    means = [np.maximum(power.mean(axis=0), 1e-30) for _, power, _ in (bare, staged)]
    both = np.log10(means[0]) + np.log10(means[1])
    pitch = float(np.median(np.concatenate([bare[0], staged[0]])))
    lowest = pitch - max(1.5 * BIN_HZ, 0.03 * pitch)  # a window of so many bins tells it no closer
    found = []
    for k in range(max(round(_LOWEST_HZ / BIN_HZ), _SIDE + 1), min(round(TOP_HZ / BIN_HZ), len(both) - 4)):
        if both[k] >= both[k - 3 : k + 4].max() and k * BIN_HZ > lowest and _stands_out((bare, staged), k):
            found.append(k)
    if not found:
        return None
    weakest = max(both[k] for k in found) - 2 * REACH_DB / 10
    apart: list[int] = []  # where two stand so close, some plucks would show the one and some the other
    for k in sorted((k for k in found if both[k] > weakest), key=lambda k: -both[k]):
        if all(abs(k - other) > 2 * _reach(k) for other in apart):
            apart.append(k)
    found = sorted(apart[:MOST_PARTIALS])
    near = np.array(found)[:, None] + np.arange(-_SIDE, _SIDE + 1)
    weight = (means[0] * means[1])[near] ** 0.5
    hz = (weight * near).sum(axis=1) / weight.sum(axis=1) * BIN_HZ
    return SharedNote(pitch, hz, _levels(bare, hz, pitch), _levels(staged, hz, pitch))


def _stands_out(sides: tuple[Side, Side], k: int) -> bool:
    """Of their means, and in all but a few plucks: what is lost in the noise of some would look louder than it is."""
    around = slice(k - _SIDE, k + _SIDE + 1)
    for _, power, noise in sides:
        seen, rest = power[:, around].sum(axis=1), noise[:, around].sum(axis=1)
        if seen.mean() <= (1 + 10 ** (LEAST_DB / 10)) * rest.mean() or np.mean(seen <= _LOST * rest) > _IN_FEW:
            return False
    return True


def _reach(bin_: float) -> int:
    """Bins to either side in which a partial is looked for."""
    return max(_SIDE, round(_NEAR * bin_))


def _levels(side: Side, hz: np.ndarray, pitch: float) -> np.ndarray:
    """Level of each partial in each note, dB, shape (n, P): the power of five bins less the noise in them."""
    out = np.empty((len(side[0]), len(hz)))
    for row, own, power, noise in zip(out, *side, strict=True):
        for p, at in enumerate(hz * own / pitch):
            reach = _reach(at / BIN_HZ)
            low = max(round(at / BIN_HZ) - reach, _SIDE)
            k = low + int(np.argmax(power[low : low + 2 * reach + 1]))
            around = slice(k - _SIDE, k + _SIDE + 1)
            found, rest = float(power[around].sum()), float(noise[around].sum())
            row[p] = 10 * np.log10(max(found - rest, 0.3 * rest, 1e-30))
    return out
