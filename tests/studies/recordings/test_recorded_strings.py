"""The comparison of takes held to plucks that somebody recorded (see `plucked_bank`).

Every pluck is drawn from all recordings of its instrument, whatever string they were made on, moved to one of three
pitches: two takes differ by far more than one player's plucks of one string do. A long run takes PIEZOLAB_LONG=1.
"""

import os

import numpy as np
import pytest

from piezolab.audio import RATE
from piezolab.studies.recordings.bass_fit import BassFit, bass_fit
from piezolab.studies.recordings.shared_notes import shared_notes
from piezolab.studies.recordings.studied_take import StudiedTake, studied
from tests.studies.recordings.plucked_bank import PLUCKED, bank, of_kind, played
from tests.studies.recordings.test_takes import recording, through

LONG = bool(os.environ.get("PIEZOLAB_LONG"))
PITCHES = (146.8, 220.0, 293.7)
BARE_HZ, STAGED_HZ, LOUDER_DB = 600.0, 20.0, 2.0


def performance(kind: str, notes: int, seed: int) -> np.ndarray:
    """Six seconds of quiet, then a pluck every 0.6 s: hard or soft, dying away soon or late, a few cents off."""
    chance, own, out = np.random.default_rng(seed), of_kind(kind), [np.zeros(6 * RATE)]
    for n in range(notes):
        hz = PITCHES[n % 3] * 2 ** (chance.normal(0, 4) / 1200)
        one = own[chance.integers(len(own))]
        out.append(chance.uniform(0.35, 1.0) * played(one, hz, 0.6, chance.uniform(1.0, 3.0)))
    return np.concatenate(out)


def take(sound: np.ndarray, staged: bool, seed: int) -> StudiedTake:
    """Through the filter of its kind, with hum of a mains that is a little off, and noise."""
    chance, time = np.random.default_rng((seed, 1)), np.arange(len(sound)) / RATE
    hum = sum(
        level * np.sin(2 * np.pi * 50.1 * order * time + chance.uniform(0, 6.28))
        for order, level in ((1, 1e-3), (3, 3e-4))
    )
    heard = through(sound, *((STAGED_HZ, 10 ** (LOUDER_DB / 20)) if staged else (BARE_HZ, 1.0)))
    return studied(recording(0.3 * (heard + hum) + chance.normal(0, 1e-4, len(sound))), staged)


def fitted(kind: str, notes: int, bare: int, staged: int) -> BassFit:
    """Of two takes, performances by their seeds."""
    takes = (take(performance(kind, notes, bare), False, bare), take(performance(kind, notes, staged), True, staged))
    return bass_fit(shared_notes(takes), lambda hz: -10 * np.log10(1 + (STAGED_HZ / hz) ** 2))


def held(fit: BassFit) -> tuple[bool, bool]:
    """Whether the intervals of bass and level hold what was put in."""
    bass = 10 * np.log10(1 + (BARE_HZ / fit.low_hz) ** 2)
    return fit.bass.low <= bass <= fit.bass.high, fit.level_scatter.low <= LOUDER_DB <= fit.level_scatter.high


def test_the_bank_has_what_is_plucked():
    assert all(len(of_kind(kind)) >= 2 for kind in PLUCKED)
    for one in bank():
        assert 0 < one.loop < len(one.samples) and 0.05 < np.abs(one.samples).max() <= 1
        note = played(one, 220.0, 0.5, 2.0)
        spectrum = np.abs(np.fft.rfft(note * np.hanning(len(note)), 8 * len(note)))
        hz = np.fft.rfftfreq(8 * len(note), 1 / RATE)
        on = np.abs(hz - 220 * np.rint(hz / 220)) < 6
        assert (spectrum[on] ** 2).sum() > 0.8 * (spectrum**2).sum(), f"{one.name} is no tone of that pitch"


def test_one_performance_through_two_filters():
    """Corner within 3 %, level within 0.2 dB."""
    fits = [fitted(kind, 12, seed, seed) for kind in PLUCKED for seed in range(20 if LONG else 1)]
    corner = np.array([fit.corner.value / BARE_HZ - 1 for fit in fits])
    level = np.array([fit.level.value - LOUDER_DB for fit in fits])
    within = np.mean((np.abs(corner) < 0.03) & (np.abs(level) < 0.2))
    if LONG:
        print(f"{within:.3f} of {len(fits)}; medians {np.median(np.abs(corner)):.4f}, {np.median(np.abs(level)):.3f}")
    # long run: 0.983 of 120 within both; 0.892 while a thump was taken for a note an octave lower, 0.950 while a note
    # could begin 10 ms later in one of the takes, or show another of two partials that stand close
    assert within >= (0.97 if LONG else 1.0), (corner, level)


@pytest.mark.parametrize("kind", PLUCKED if LONG else PLUCKED[3:5])
def test_two_performances_of_sixty_notes(kind):
    """The corner is off by less than 15 %."""
    for seed in range(0, 80 if LONG else 2, 2):
        assert fitted(kind, 60, seed + 500, seed + 501).corner.value == pytest.approx(BARE_HZ, rel=0.15), seed


def test_intervals_of_two_performances_hold():
    count = 2000 if LONG else 12
    kept = np.array([
        held(fitted(PLUCKED[n % len(PLUCKED)], 24 if n % 2 else 12, 10_000 + 2 * n, 10_001 + 2 * n))
        for n in range(count)
    ]).mean(axis=0)  # fmt: skip
    if LONG:
        print(f"bass {kept[0]:.3f}, level {kept[1]:.3f} of {count}")
    # of the first 200: bass 0.970, level 0.965; of the next 1,267 0.976 and 0.953: with 12 notes 0.972 and 0.962,
    # with 24 0.979 and 0.945: the bass's interval is about a sixth too wide. The long run of 2,000 is not whole yet
    assert (kept >= (0.93 if LONG else 0.75)).all()
