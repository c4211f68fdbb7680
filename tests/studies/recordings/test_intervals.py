"""Intervals of 95 % hold what was put in as often as they say. Long runs of 2,000 cases take PIEZOLAB_LONG=1."""

import os

import numpy as np
import pytest

from piezolab.audio import RATE
from piezolab.audio.loudness import hop_powers
from piezolab.studies.recordings.bass_fit import bass_fit
from piezolab.studies.recordings.quiet_part import AUDIBLE_HZ, quiet_part
from tests.studies.recordings.test_mains import NOISE, PER_TENTH, quiet
from tests.studies.recordings.test_takes import drawn

LONG = bool(os.environ.get("PIEZOLAB_LONG"))


def holds(kept: np.ndarray, least: float, most: float) -> bool:
    """Whether a share of cases, in each of the last axis, is within the bounds; prints a long run's."""
    shares = np.mean(kept, axis=0)
    if LONG:
        print(np.round(shares, 4), "of", len(kept))
    return bool(np.all(shares >= (0.93 if LONG else least)) and np.all(shares <= (0.97 if LONG else most)))


@pytest.mark.parametrize("slope", [0.0, 1.0])
def test_noise_of_a_quiet_part(slope):
    """White and pink, with hum lines 20 and 10 dB above a tenth of a hertz's noise, from 4 to 7 s."""
    hz = np.fft.rfftfreq(RATE, 1 / RATE)
    inside = (hz >= AUDIBLE_HZ[0]) & (hz <= AUDIBLE_HZ[1])
    truth = NOISE**2 * ((np.maximum(hz, 10) / 100) ** -slope)[inside].sum() / (RATE / 2)
    kept = []
    for n in range(2000 if LONG else 60):
        samples = quiet((1, n), [(50.1, 100 * PER_TENTH), (150.3, 10 * PER_TENTH)], 4.0 + n % 4, slope)
        found = quiet_part(samples, hop_powers(samples)[1]).noise
        kept.append(found.low <= truth <= found.high)
    assert holds(np.array(kept), 0.85, 1.0)


def test_gain_in_third_octaves():
    """What is left of each band beside the note's mean."""
    kept = []
    for n in range(2000 if LONG else 100):
        notes = drawn(n, 500.0)
        fit = bass_fit(notes, lambda hz: np.zeros_like(hz))
        truth = 10 * np.log10(1 + (500.0 / fit.band_hz) ** 2)
        kept.append(np.abs(fit.gain - fit.level.value - truth) <= fit.gain_half)
    # long run of 2,000: 0.936 to 0.948; before what notes' levels and the bass add was reckoned in, 0.80 to 0.99
    assert holds(np.array(kept), 0.85, 1.0)
