"""Hiss has the density asked for, hum the levels asked for."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import welch

from piezolab.audio import RATE, AudioError
from piezolab.audio.noise_samples import hiss, hum

FREQUENCY = np.geomspace(5, 24e3, 200)


@pytest.mark.parametrize(
    "density",
    [np.full(200, 20e-9), 10e-9 * np.sqrt(1 + 1000 / FREQUENCY), 50e-9 / np.hypot(1, FREQUENCY / 2000)],
    ids=["white", "rising to the bass", "falling to the treble"],
)
@pytest.mark.parametrize("seed", [1, 2])
def test_density_by_averaged_periodograms(density: np.ndarray, seed: int) -> None:
    """Welch's estimate in octave bands; 2**21 samples in blocks of 2**12 leave a standard error under 3 %."""
    signal = hiss(FREQUENCY, density, 2**21, seed)
    at, power = welch(signal, RATE, nperseg=2**12)
    for low in (100, 400, 1600, 6400):
        band = (at >= low) & (at < 2 * low)
        wanted = np.mean(np.interp(np.log(at[band]), np.log(FREQUENCY), density) ** 2)
        assert np.mean(power[band]) == pytest.approx(wanted, rel=0.06)


@given(level=st.floats(1e-9, 1e-3), count=st.integers(20_000, 60_000), seed=st.integers(0, 1000))
def test_white_hiss_has_the_rms_of_its_band(level: float, count: int, seed: int) -> None:
    """rms = density times the root of the bandwidth, 24 kHz; n squares stray by sqrt(2/n); five times that."""
    signal = hiss(np.array([1.0, 30e3]), np.array([level, level]), count, seed)
    assert signal.shape == (count,)
    assert np.mean(signal**2) == pytest.approx(level**2 * RATE / 2, rel=5 * np.sqrt(2 / count) + 1e-3)
    np.testing.assert_array_equal(signal, hiss(np.array([1.0, 30e3]), np.array([level, level]), count, seed))


def test_hiss_is_gaussian_and_differs_with_the_seed() -> None:
    one, other = (hiss(FREQUENCY, np.full(200, 1e-6), 2**18, seed) for seed in (1, 2))
    assert abs(np.corrcoef(one, other)[0, 1]) < 0.01
    z = one / one.std()
    assert np.mean(z**4) == pytest.approx(3.0, abs=0.06)
    assert abs(one.mean()) < 1e-12


def test_silent_where_the_density_is_nothing() -> None:
    assert not hiss(FREQUENCY, np.zeros(200), 1001).any()


@given(
    mains=st.sampled_from([50, 60]),
    rms=st.lists(st.floats(0, 10), min_size=1, max_size=8),
)
def test_hum_harmonics(mains: int, rms: list[float]) -> None:
    """Over a whole second every harmonic of 50 or 60 Hz falls on a bin of its own."""
    order = np.arange(1, len(rms) + 1)
    level = np.abs(np.fft.rfft(hum(mains * order, np.array(rms), RATE))) / (RATE / 2) / np.sqrt(2)
    np.testing.assert_allclose(level[mains * order], rms, atol=1e-9)
    level[mains * order] = 0
    assert level.max() < 1e-9


@pytest.mark.parametrize(
    "work, said",
    [
        (lambda: hiss([1.0, 2.0], [1.0, -1.0], 10), "0 or more"),
        (lambda: hiss([1.0, 2.0], [1.0], 10), "one value for each"),
        (lambda: hiss([1.0], [1.0], 1), "from 2 is allowed"),
        (lambda: hum([50.0, 24e3], [1.0, 1.0], 10), "below 24000 Hz"),
        (lambda: hum([-50.0], [1.0], 10), "above 0 Hz"),
    ],
)
def test_bad_input(work, said: str) -> None:
    with pytest.raises(AudioError, match=said):
        work()
