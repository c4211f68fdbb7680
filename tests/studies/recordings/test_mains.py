"""Hum lines and the mains they belong to, against lines that were put in and against what theory allows."""

import os

import numpy as np
import pytest
import scipy.special

from piezolab.audio import RATE
from piezolab.studies.recordings.mains_lines import mains_lines
from piezolab.studies.recordings.steady_tones import is_partial, stands_out, tones

LONG = bool(os.environ.get("PIEZOLAB_LONG"))
NOISE = 1e-3
PER_TENTH = NOISE**2 * 0.1 / (RATE / 2)  # mean square within 0.1 Hz, white
FIFTEEN = 10**1.5
#: Order and share of the lines of the trial: a coil's, a single one, a ripple, a rectifier's with harmonics.
TRIAL = ([(1, 0.7), (3, 0.3)], [(1, 1.0)], [(2, 1.0)], [(2, 0.6), (4, 0.3), (8, 0.1)])
FOUR = [(order, 0.25) for order in (1, 2, 3, 5)]


def quiet(seed, lines, seconds=5.0, slope=0.0):
    """Noise whose power falls as frequency to that power, with `PER_TENTH` at 100 Hz, and steady lines: (Hz, mean
    square)."""
    chance, time = np.random.default_rng(seed), np.arange(round(seconds * RATE)) / RATE
    out = chance.normal(0, NOISE, len(time))
    if slope:
        hz = np.maximum(np.fft.rfftfreq(len(out), 1 / RATE), 10.0)
        out = np.fft.irfft(np.fft.rfft(out) * (hz / 100.0) ** (-slope / 2), len(out))
    for hz, power in lines:
        out += np.sqrt(2 * power) * np.sin(2 * np.pi * hz * time + chance.uniform(0, 6.28))
    return out


def told(shares, count, seed, above=FIFTEEN, seconds=5.0, stretches=1):
    """Shares of takes whose mains, off by up to 0.2 Hz, is named rightly and wrongly."""
    right = wrong = 0
    for n in range(count):
        base = (50.0, 60.0)[n % 2] + np.random.default_rng((seed, n)).uniform(-0.2, 0.2)
        lines = [(base * order, share * above * PER_TENTH) for order, share in shares]
        first, *others = (quiet((seed, n, k), lines, seconds) for k in range(stretches))
        found = mains_lines(first, others).mains_hz
        right += found == round(base, -1)
        wrong += found > 0 and found != round(base, -1)
    return right / count, wrong / count


# -- what theory allows ----------------------------------------------------------------------------------------------
def bound(shares, seconds=5.0, count=2000, above=FIFTEEN):
    """How often the best of all tests names the right mains, told which lines hum and how strongly, but neither their
    phases nor the mains nor its frequency, while it names one in 1 % of noise.

    Neyman and Pearson 1933: the likelihood ratio, here of Rice's densities, ln I0(2 sqrt(E x)) - E of the energy over
    the noise E and the matched filter's power x, added over the lines, averaged over the frequencies that may be.
    """
    chance = np.random.default_rng(1)
    steps, off = 64, np.linspace(-0.2, 0.2, 33)
    time = (np.arange(steps) - (steps - 1) / 2) * seconds / steps
    energy = above * 0.1 * seconds * np.array([share for _, share in shares])

    def odds(there):
        """Of one mains, from the noise near each line and, with `there`, the line in it, shape (count,)."""
        total = 0.0
        actual = chance.uniform(-0.2, 0.2, (count, 1))
        for (order, _), own in zip(shares, energy, strict=True):
            near = chance.normal(0, 0.5**0.5, (count, steps, 2)) @ [1, 1j]
            if there:
                phase = chance.uniform(0, 2 * np.pi, (count, 1))
                near = near + np.sqrt(own / steps) * np.exp(1j * (2 * np.pi * order * actual * time + phase))
            x = np.abs(near @ np.exp(-2j * np.pi * order * np.outer(time, off))) ** 2 / steps
            z = 2 * np.sqrt(own * x)
            total = total + np.log(scipy.special.ive(0, z)) + z - own
        return np.logaddexp.reduce(total, axis=1)

    threshold = np.quantile(np.maximum(odds(False), odds(False)), 0.99)
    right = odds(True)
    return float(np.mean((right > threshold) & (right > odds(False))))


def test_the_bound_of_theory():
    """A single line of known frequency and phase known not: Marcum's Q, in closed form; beside it one that must be
    looked for in a few cells of two mains."""
    energy = FIFTEEN * 0.1 * 5.0
    known = float(scipy.special.chndtr(2 * np.log(1 / 0.01), 2, 2 * energy))
    places = float(scipy.special.chndtr(2 * np.log(2 * (0.4 * 5 + 1) / 0.01), 2, 2 * energy))
    assert 1 - places - 0.015 < bound([(1, 1.0)]) < 1 - known
    reached = [bound(shares) for shares in TRIAL]
    assert reached == pytest.approx([0.95, 0.98, 0.97, 0.92], abs=0.02)
    assert bound(FOUR) == pytest.approx(0.84, abs=0.02)
    assert min(bound(shares, 10.0, 200) for shares in (*TRIAL, FOUR)) > 0.99


# -- which mains -----------------------------------------------------------------------------------------------------
def test_mains_at_fifteen_decibels_above_the_noise_in_a_tenth_of_a_hertz():
    """From one stretch of five seconds, not told which multiples hum: some points under `bound`, which is."""
    count = 600 if LONG else 12
    found = [told(shares, count, 40 + k) for k, shares in enumerate(TRIAL)]
    if LONG:
        print(found)
    # long run of 600 each: 0.822, 0.913, 0.890, 0.722 right, 0.0004 wrong; told all, 0.95, 0.98, 0.97, 0.91
    assert np.mean([right for right, _ in found]) >= (0.80 if LONG else 0.7)
    assert sum(wrong for _, wrong in found) <= 0.01 * len(TRIAL)
    if LONG:
        for (right, _), shares in zip(found[:3], TRIAL, strict=False):
            assert right > bound(shares) - 0.15


def test_mains_is_right_where_lines_stand_fifteen_decibels_above_what_they_are_measured_with():
    """Of five seconds weighted with half a sine that is the noise in 1.23 bins, about a quarter of a hertz."""
    count, above = 400 if LONG else 8, FIFTEEN * 1.2337 / 5.0 / 0.1
    found = [told(shares, count, 110 + k, above) for k, shares in enumerate(TRIAL)]
    if LONG:
        print(found)
    # long run of 400 each: all right, none wrong
    assert np.mean([right for right, _ in found]) >= (0.96 if LONG else 0.9)
    assert sum(wrong for _, wrong in found) <= 0.01 * len(TRIAL)


def test_for_how_many_equal_lines_it_stops():
    """At 15 dB together: over 5 s four lines, 9 dB each, are told in half of all takes; over 10 s eight are."""
    count = 300 if LONG else 10
    eight = [(order, 1 / 8) for order in (1, 2, 3, 4, 5, 7, 8, 9)]
    two, four = (told([(order, 1 / n) for order in (1, 3, 2, 5)[:n]], count, n)[0] for n in (2, 4))
    longer = told(eight, count // 2, 9, seconds=10.0)[0]
    if LONG:
        print(two, four, longer, told(eight, count, 8)[0])
    # long run of 300: 0.81, 0.48, 0.71 (of 150); eight over 5 s, 0.21
    assert two > four and two >= 0.6 and longer >= 0.4


@pytest.mark.parametrize("seconds", [10.0, 20.0])
def test_longer_stretches_tell_the_mains_at_fifteen_decibels(seconds):
    for k, shares in enumerate((*TRIAL, FOUR)):
        right, wrong = told(shares, 100 if LONG else 2, 70 + k, seconds=seconds)
        # long run of 100 each: passed
        assert right >= 0.9 and wrong == 0, shares


def test_several_quiet_stretches_tell_the_mains_together():
    """What one does not tell."""
    count = 200 if LONG else 8
    alone, both = told(FOUR, count, 5)[0], told(FOUR, count, 5, stretches=2)[0]
    if LONG:
        print(alone, both)
    # long run of 200: 0.465 by one, 0.755 by both
    assert both > alone and both >= 0.7


@pytest.mark.parametrize("above_db", [0.0, 6.0, 9.0, 12.0])
def test_weak_lines_are_told_rightly_or_not_at_all(above_db):
    count = 100 if LONG else 8
    wrong = [told(shares, count, 90 + k, 10 ** (above_db / 10))[1] for k, shares in enumerate((*TRIAL, FOUR))]
    if LONG:
        print(above_db, wrong)
    # long run of 100 each: 0.002 to 0.004 at each level
    assert np.mean(wrong) <= (0.01 if LONG else 0.03)


@pytest.mark.parametrize("slope", [0.0, 1.0, 2.0])
def test_noise_alone_is_given_no_mains(slope):
    """White, pink and red."""
    count = (1000 if slope else 2000) if LONG else 40
    named = sum(mains_lines(quiet((3, n), [], slope=slope)).mains_hz > 0 for n in range(count))
    if LONG:
        print(slope, named / count)
    # long run of 2,000, 1,000 and 1,000: 0.0085, 0.007, 0.007 (0.006 of 2,000 other seeds); before 0.02 to 0.03
    assert named <= (0.01 if LONG else 0.05) * count


def drone(seed):
    """Partials of a tone that goes on, (Hz, mean square), no multiple of a mains: its pitch, loudness and brightness by
    chance, the last from 10 to 60 dB above the noise in 0.1 Hz."""
    chance = np.random.default_rng(seed)
    while True:
        hz = chance.uniform(40.0, 400.0)
        if all(abs(hz - base * round(hz / base)) > 0.3 * max(round(hz / base), 1) for base in (50.0, 60.0)):
            break
    falls, power = chance.uniform(0.6, 4.0), 10 ** chance.uniform(1, 6) * PER_TENTH
    return [(hz * n, power * n**-falls) for n in range(1, 20) if hz * n < 1300]


def test_a_drone_is_given_no_mains():
    count = 2000 if LONG else 40
    named = sum(mains_lines(quiet((4, n), drone((4, n)))).mains_hz > 0 for n in range(count))
    if LONG:
        print(named / count)
    # long run of 2,000: 0.0085; before its skirts and partials were known for what they are, 0.05
    assert named <= (0.01 if LONG else 0.05) * count


def test_tones_that_are_no_mains():
    """A tone is found where it stands, a mains that is a little off is not; what is a partial of the one is told from
    what is near."""
    time, width = np.arange(15000) / 3000.0, 0.2
    low = np.random.default_rng(2).normal(0, 1e-3, 15000)
    low += sum(np.sin(2 * np.pi * hz * time) for hz in (74.9, 224.7, 50.15, 60.2 * 7))
    step = 3000.0 / 2**17
    power = np.abs(np.fft.rfft(low * np.hanning(15000), 2**17)) ** 2
    found = np.sort(tones(power, step, width, (50.0, 60.0), 0.25))
    assert found == pytest.approx([74.9, 224.7], abs=0.02)
    near = np.array([149.8, 149.95, 299.6, 37.45, 100.3, 50.15])
    assert is_partial(near, found[:1], width).tolist() == [True, False, True, True, False, False]
    assert stands_out(power, step) > 1e4


def test_hum_beside_a_drone_is_told():
    """What a drone explains is left out, and no more than that."""
    count = 100 if LONG else 10
    lines = [(50.1, 1000 * PER_TENTH), (150.3, 300 * PER_TENTH)]
    named = [mains_lines(quiet((6, n), [*drone((6, n)), *lines])).mains_hz for n in range(count)]
    # long run of 100: passed
    assert sum(found == 50.0 for found in named) >= 0.8 * count and 60.0 not in named


@pytest.mark.parametrize("hz", [41.2, 49.0, 50.0, 55.0, 60.0, 110.0])
def test_a_string_that_still_rings_is_no_mains(hz):
    """Low strings with partials that fall on multiples of 50 and 60 Hz: 11 times 50 and 60 on 550 and 660 Hz, say."""
    time, out = np.arange(5 * RATE) / RATE, quiet(11, [])
    for n in range(1, 13):
        fades = 10 ** (-3 * time / 4.0)
        out += 0.01 / n * np.sin(2 * np.pi * hz * n * np.sqrt(1 + 2e-5 * n * n) * time + n) * fades
    assert np.isnan(mains_lines(out).mains_hz)


def test_silence_has_no_mains():
    assert np.isnan(mains_lines(np.zeros(5 * RATE)).mains_hz)


# -- how strong ------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("mains", [49.8, 50.0, 60.2])
def test_strong_lines_are_within_half_a_decibel(mains):
    power = 1000 * PER_TENTH  # 30 dB above
    found = mains_lines(quiet(3, [(mains, power), (3 * mains, power)]))
    assert found.mains_hz == round(mains, -1) and found.found_hz == pytest.approx(mains, abs=0.02)
    np.testing.assert_allclose(10 * np.log10(found.level[[0, 2]] / power), 0.0, atol=0.5)


@pytest.mark.parametrize("slope", [0.0, 1.0, 2.0])
def test_noise_beside_a_line_is_what_was_put_in(slope):
    """On average over stretches, within 4 %, beside strong lines or none."""
    over = []
    for n in range(16):
        found = mains_lines(quiet((8, n), [(50.0, 1e4 * PER_TENTH)] * (n % 2), slope=slope))
        over.append((found.per_tenth_hz / PER_TENTH * (found.hz / 100.0) ** slope)[[0, 1, 4, 9]])
    np.testing.assert_allclose(np.mean(over, axis=0), 1.0, rtol=0.04)


def test_intervals_of_a_line_and_of_all_lines_hold():
    count = 2000 if LONG else 60
    strong, kept = 1e5 * PER_TENTH, np.zeros(2)
    for n in range(count):
        power = 10 ** (0.5 + (n % 5) / 2) * PER_TENTH
        found = mains_lines(quiet(n, [(50.0, strong), (150.0, power)]))
        low, high = found.intervals()[:, 2]
        kept += low <= power <= high, found.total.low <= strong + power <= found.total.high
    if LONG:
        print(kept / count)
    # long run of 2,000: 0.943 of the weak line, 0.958 of all; read on its bin instead of at its top, the line 50 dB
    # above the noise, known to hundredths of a decibel, had all together held in 0.915
    shares = kept / count
    assert (shares >= (0.93 if LONG else 0.85)).all() and (shares <= (0.97 if LONG else 1.0)).all()
