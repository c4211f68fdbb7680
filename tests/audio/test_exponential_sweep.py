"""The exponential sweep: its frequency over time, its spectrum, and what is refused."""

import numpy as np
import pytest

from piezolab.audio import RATE, AudioError
from piezolab.audio.exponential_sweep import GAP_S, PEAK, QUIET_S, ExponentialSweep, tone
from piezolab.audio.processing import wav


def test_the_frequency_rises_by_equal_ratios():
    """Zero crossings against f1 exp(t/L); the second harmonic runs L ln 2 ahead (Farina 2000, from memory)."""
    sweep = ExponentialSweep(100.0, 8000.0, 3.0)
    samples = sweep.samples()
    rise = np.flatnonzero((samples[:-1] < 0) & (samples[1:] >= 0))
    exact = rise + samples[rise] / (samples[rise] - samples[rise + 1])
    middle, found = (exact[1:] + exact[:-1]) / 2 / RATE, RATE / np.diff(exact)
    inside = (middle > 0.1) & (middle < 2.5)
    wanted = 100.0 * np.exp(middle[inside] * np.log(80.0) / 3.0)
    np.testing.assert_allclose(found[inside], wanted, rtol=2e-3)
    assert sweep.from_hz * np.exp(sweep.ahead_s(2) / sweep.rate_s) == pytest.approx(200.0)


def test_power_falls_with_frequency():
    """Energy within a band of a hertz is A^2 L / (2 f): equal in each octave."""
    sweep = ExponentialSweep(20.0, 20e3, 6.0)
    spectrum = np.abs(np.fft.rfft(sweep.samples())) ** 2 / RATE**2
    hz = np.arange(len(spectrum)) / 6.0
    for low in (50.0, 400.0, 3200.0):
        inside = (hz >= low) & (hz < 2 * low)
        assert 2 * spectrum[inside].sum() / 6.0 == pytest.approx(0.5 * sweep.rate_s * np.log(2), rel=0.02)


def test_a_stretched_sweep_is_the_same_at_another_clock():
    sweep, late = ExponentialSweep(20.0, 2000.0, 1.0), 0.4 / RATE
    moved = sweep.samples(1.001, late)
    time = (np.arange(len(moved)) / RATE - late) / 1.001
    still = np.interp(time, np.arange(RATE) / RATE, sweep.samples())
    np.testing.assert_allclose(moved[500:-500], still[500:-500], atol=0.01)


def test_the_file_to_play():
    sweep = ExponentialSweep()
    played = sweep.played()
    assert np.abs(played).max() == pytest.approx(PEAK, rel=1e-3) and not played[: round(QUIET_S * RATE)].any()
    one = played[round(QUIET_S * RATE) :][: round(sweep.seconds * RATE)]
    again = played[round((QUIET_S + sweep.seconds + GAP_S) * RATE) :][: len(one)]
    np.testing.assert_array_equal(one, again)
    assert len(wav(played)) < 4e6 and np.abs(tone()).max() == pytest.approx(PEAK)


@pytest.mark.parametrize("values", [(0.0, 100.0, 1.0), (200.0, 100.0, 1.0), (20.0, 24e3, 1.0), (20.0, 200.0, 0.05)])
def test_refused(values):
    with pytest.raises(AudioError, match="sweep: .* is allowed"):
        ExponentialSweep(*values)
