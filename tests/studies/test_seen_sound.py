"""A sound as it is drawn: the loudest moment, and power by bands against closed forms and another library."""

import numpy as np
import pytest
import scipy.signal
from hypothesis import given
from hypothesis import strategies as st

from piezolab.audio import RATE
from piezolab.studies.listening import TURN_S
from piezolab.studies.seen_sound import PERIODS, band_powers, seen_sound

COUNT = round(TURN_S * RATE)
TIME = np.arange(COUNT) / RATE


@given(st.floats(30, 15e3), st.floats(1e-3, 2.0), st.floats(0, 6.28))
def test_the_power_of_a_tone_lies_in_its_band(frequency: float, amplitude: float, phase: float) -> None:
    tone = amplitude * np.sin(2 * np.pi * frequency * TIME + phase)
    below, within, above = band_powers(tone, frequency * np.array([0.5, 0.9, 1.1, 2.0]))
    assert within == pytest.approx(amplitude**2 / 2, rel=1e-4)
    assert below + above < 1e-6 * amplitude**2


@given(st.integers(0, 10**6), st.lists(st.floats(25, 20e3), min_size=2, max_size=9, unique=True))
def test_bands_of_noise_agree_with_another_periodogram(seed: int, edges: list[float]) -> None:
    noise = np.random.default_rng(seed).standard_normal(RATE // 8)
    frequency, density = scipy.signal.periodogram(noise, RATE, "hann", detrend=False)
    cells = np.arange(0.5, RATE / 2)  # of 1 Hz each: a bin of 8 Hz is wider than a narrow band
    held = density[np.rint(cells / frequency[1]).astype(int)]
    edges = np.round(np.sort(edges))
    wanted = [held[(cells > low) & (cells < high)].sum() for low, high in zip(edges[:-1], edges[1:], strict=True)]
    assert band_powers(noise, edges) == pytest.approx(wanted, rel=1e-9, abs=1e-12)


def test_a_square_wave_has_its_harmonics() -> None:
    """Fourier's series of a square wave: odd harmonics as 1/n, so 20 lg 3 and 20 lg 5 under the first."""
    n = np.arange(1, 60, 2)[:, None]
    square = (np.sin(2 * np.pi * n * 200 * TIME) / n).sum(axis=0)
    seen = seen_sound({"one": square}, 200.0)
    level = [seen.level_db[0][np.abs(np.log2(seen.frequency / hz)).argmin()] for hz in (200, 400, 600, 1000)]
    assert level[0] == pytest.approx(0, abs=0.02) and level[1] < -60
    assert level[2:] == pytest.approx([-20 * np.log10(3), -20 * np.log10(5)], abs=0.05)


def test_the_moment_is_the_loudest_and_shows_what_is_cut() -> None:
    grown = np.sin(2 * np.pi * 100 * TIME) * np.exp(-(((TIME - 1.0) / 0.2) ** 2))
    cut = np.clip(grown, -0.5, 0.5)
    seen = seen_sound({"whole": 0.4 * grown, "cut": 0.4 * cut}, 100.0)
    assert seen.time_s[0] < 1.0 < seen.time_s[-1]
    assert seen.time_s[-1] - seen.time_s[0] == pytest.approx(PERIODS / 100, rel=0.02)
    whole, flat = seen.moment
    assert np.abs(whole).max() == pytest.approx(1, abs=0.01) and np.abs(flat).max() == pytest.approx(0.5, abs=0.01)
    assert (np.abs(flat) > 0.499).mean() > 0.5 and (np.abs(whole) > 0.99).mean() < 0.2


@pytest.mark.parametrize("pitch", [0.1, 20.0, 5000.0])
def test_any_pitch_has_its_moment_and_silence_has_none(pitch: float) -> None:
    tone = np.sin(2 * np.pi * pitch * TIME + 1)
    seen = seen_sound({"a": tone, "b": 0 * tone}, pitch)
    assert 0 <= seen.time_s[0] <= seen.time_s[-1] < TURN_S and len(seen.time_s) < 2500
    assert np.all(seen.level_db[1] == -150) and np.all(seen.moment[1] == 0)
    assert seen_sound({"b": 0 * tone}, pitch) is None
