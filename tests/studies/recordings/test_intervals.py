"""Intervals of 95 % hold what was put in as often as they say. Long runs of 2,000 cases take PIEZOLAB_LONG=1."""

import os
from dataclasses import replace

import numpy as np
import pytest

from piezolab.audio import RATE
from piezolab.audio.loudness import hop_powers
from piezolab.chain.link import from_link
from piezolab.studies.recordings import Estimate
from piezolab.studies.recordings.against_prediction import compared, ratio_db
from piezolab.studies.recordings.bass_fit import bass_fit
from piezolab.studies.recordings.invented_takes import invented_takes
from piezolab.studies.recordings.quiet_part import AUDIBLE_HZ, quiet_part
from piezolab.studies.recordings.shared_notes import shared_notes
from piezolab.studies.recordings.studied_take import studied
from tests.studies.recordings.test_mains import NOISE, PER_TENTH, TRIAL, quiet
from tests.studies.recordings.test_takes import drawn

LONG = bool(os.environ.get("PIEZOLAB_LONG"))


def holds(kept: np.ndarray, least: float, most: float, wide: float = 0.97) -> bool:
    """Whether a share of cases, in each of the last axis, is within the bounds; prints a long run's, which has to be
    0.93 to `wide`."""
    shares = np.mean(kept, axis=0)
    if LONG:
        print(np.round(shares, 4), "of", len(kept))
    return bool(np.all(shares >= (0.93 if LONG else least)) and np.all(shares <= (wide if LONG else most)))


@pytest.mark.parametrize("slope", [0.0, 1.0])
def test_noise_of_a_quiet_part(slope):
    """White and pink, with hum lines 20 and 10 dB above a tenth of a hertz's noise, from 4 to 7 s."""
    hz = np.fft.rfftfreq(RATE, 1 / RATE)
    inside = (hz >= AUDIBLE_HZ[0]) & (hz <= AUDIBLE_HZ[1])
    truth = NOISE**2 * ((np.maximum(hz, 10) / 100) ** -slope)[inside].sum() / (RATE / 2)
    kept = []
    for n in range(2000 if LONG else 24):
        samples = quiet((1, n), [(50.1, 100 * PER_TENTH), (150.3, 10 * PER_TENTH)], 4.0 + n % 4, slope)
        found = quiet_part(samples, hop_powers(samples)[1]).noise
        kept.append(found.low <= truth <= found.high)
    # long run of 2,000: white 0.961, pink 0.960; before the scatter of what is put in place of a line was reckoned in,
    # 0.892 of pink ones
    assert holds(np.array(kept), 0.8, 1.0)


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


def test_hum_by_the_stage():
    """From one take's quiet part to the other's, from just above its noise to 40 dB above, four ways to hum, and
    stretches of 3 s, in a long run of 6 and 12 s, too."""
    chain = from_link("input=line")
    takes = tuple(studied(one, n == 1) for n, one in enumerate(invented_takes(chain)))
    notes, kept, kinds = shared_notes(takes), [], []
    for n in range(2016 if LONG else 24):
        kind = change, bare_db = (-10.0, 0.0, 5.0)[n % 3], (20.0, 30.0)[n // 3 % 2]
        way, seconds = n // 6 % len(TRIAL), (3.0, 6.0, 12.0)[n // 24 % 3]
        heard = []
        for k, take in enumerate(takes):
            power = 10 ** ((bare_db + k * change) / 10) * PER_TENTH
            samples = quiet((2, n, k), [(50.1 * order, share * power) for order, share in TRIAL[way]], seconds)
            heard.append(replace(take, quiet=quiet_part(samples, hop_powers(samples)[1])))
        found = compared(heard, notes, chain).hum.change_db
        if found is not None:
            kept.append(found.low <= change <= found.high)
            kinds.append((*kind, way, seconds))
    if LONG:
        for of, name in enumerate(("change", "bare", "way", "seconds")):
            for one in sorted({kind[of] for kind in kinds}):
                print(name, one, end=" ")
                holds(np.array([held for held, kind in zip(kept, kinds, strict=True) if kind[of] == one]), 0, 1)
    # long run of 2,016: of the 1,684 with hum in both 0.957; by change 0.958, 0.960, 0.954, by level 0.949, 0.963, by
    # way 0.967, 0.953, 0.957, 0.952, by length 0.969, 0.955, 0.950. Before, 0.967 of 1,001 of 3 s: what does not hum
    # scattered too much, and in decibels an interval was as long to either side
    assert len(kept) > (1500 if LONG else 15) and holds(np.array(kept), 0.8, 1.0)


def test_a_ratio_of_two_powers():
    """Known to three tenths each: an interval that holds as often as it says, to whose ends Fieller's condition adds
    up, and that reaches further up than down."""
    chance, kept = np.random.default_rng(9), []
    for bare, staged in np.array([1.0, 2.0]) * (1 + 0.3 / 1.96 * chance.normal(size=(4000, 2))):
        found = ratio_db(Estimate(bare, bare - 0.3, bare + 0.3), Estimate(staged, staged - 0.6, staged + 0.6))
        kept.append(found.low <= 10 * np.log10(2.0) <= found.high)
        ends = 10 ** (np.array([found.low, found.high]) / 10)
        np.testing.assert_allclose((staged - ends * bare) ** 2, 0.6**2 + (0.3 * ends) ** 2, rtol=1e-6)
    assert found.low < found.value < found.high and 0.935 < np.mean(kept) < 0.965
    even = ratio_db(Estimate(1.0, 0.6, 1.4), Estimate(1.0, 0.99, 1.01))
    assert even.high > 1.3 * -even.low > 0


def test_levels_of_notes_in_third_octaves():
    """Mean of what plucks of some scatter have, by a population that is known."""
    chain = from_link("input=line")
    take, kept = studied(invented_takes(chain)[0], False), []
    for n in range(2000 if LONG else 100):
        chance, count = np.random.default_rng((3, n)), 2 + n % 12
        levels = chance.normal(-40, 3, (count, 1)) + chance.normal(0, 2, (count, 31))
        notes = replace(take.notes, pitch_hz=np.full(count, 147.0), bands=10 ** (levels / 10))
        mean, half = replace(take, notes=notes).band_levels
        kept.append(np.abs(mean + 40) <= half)
    # long run of 2,000: 0.940 to 0.962
    assert holds(np.array(kept), 0.85, 1.0)
