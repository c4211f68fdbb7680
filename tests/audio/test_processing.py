"""Filtering, peaks, fades and files against closed forms, scipy and the file format itself."""

import io

import numpy as np
import pytest
import scipy.io.wavfile
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import lfilter

from piezolab.audio import RATE, AudioError
from piezolab.audio.processing import at_times_the_rate, faded, filtered, finer, gain_to_peak, wav


def one_pole(corner: float, low: bool = True):
    """Response of an RC low-pass or high-pass of that corner in Hz."""
    return lambda f: 1 / (1 + 1j * f / corner) if low else 1j * f / corner / (1 + 1j * f / corner)


def smooth_burst(seed: int = 3, count: int = 12_000) -> np.ndarray:
    """Noise without much above 5 kHz, with rounded ends."""
    noise = np.random.default_rng(seed).standard_normal(count)
    return np.convolve(noise, np.hanning(20), "same") * np.hanning(count)


@pytest.mark.parametrize("corner", [2.0, 30.0, 400.0])
def test_high_pass_of_an_exponential(corner: float) -> None:
    """RC high-pass of exp(-a t) is (a exp(-a t) - b exp(-b t))/(a - b), b = 2 pi corner, by the Laplace transform; the
    jump at the start cannot be sampled exactly, so the first milliseconds are left out."""
    time = np.arange(RATE) / RATE
    a, b = 9.0, 2 * np.pi * corner
    exact = (a * np.exp(-a * time) - b * np.exp(-b * time)) / (a - b)
    found = filtered(np.exp(-a * time), one_pole(corner, low=False))
    np.testing.assert_allclose(found[500:], exact[500:], atol=2e-3)


def test_digital_filter_by_another_route() -> None:
    signal = smooth_burst()
    b, a = [0.02, 0.01], [1.0, -1.6, 0.72]

    def response(f: np.ndarray) -> np.ndarray:
        z = np.exp(2j * np.pi * f / RATE)
        return np.polyval(b, z) * z / np.polyval(a, z)

    np.testing.assert_allclose(filtered(signal, response), lfilter(b, a, signal), atol=1e-9 * np.abs(signal).max())


@settings(max_examples=20)
@given(delay=st.integers(0, 20_000))
def test_delay_shifts_and_never_wraps(delay: int) -> None:
    """The high-pass takes the mean away, which a delay alone would leave to the real part at the lowest bin."""
    signal, response = smooth_burst(), one_pole(20.0, low=False)
    found = filtered(signal, lambda f: response(f) * np.exp(-2j * np.pi * f * delay / RATE))
    shifted = np.concatenate([np.zeros(delay), filtered(signal, response)])[: len(signal)]
    np.testing.assert_allclose(found, shifted, atol=1e-5 * np.abs(signal).max())


@settings(max_examples=20)
@given(corner=st.floats(0.5, 500.0), scale=st.floats(-20, 20).filter(lambda x: abs(x) > 1e-3), cut=st.integers(1, 9000))
def test_linear_and_blind_to_the_future(corner: float, scale: float, cut: int) -> None:
    signal = smooth_burst()
    response = one_pole(corner, low=False)
    whole = filtered(signal, response)
    np.testing.assert_allclose(filtered(scale * signal, response), scale * whole, atol=1e-9 * abs(scale))
    early = np.where(np.arange(len(signal)) < cut, signal, 0)
    # The cut of the early part holds high frequencies whose ringing reaches a little back.
    np.testing.assert_allclose(filtered(early, response)[: cut - 1], whole[: cut - 1], atol=0.01 * np.abs(signal).max())


def test_table_means_the_same_as_the_function() -> None:
    signal = smooth_burst()
    response = one_pole(60.0, low=False)
    f = np.geomspace(0.05, 24e3, 2000)
    np.testing.assert_allclose(
        filtered(signal, (f, response(f))), filtered(signal, response), atol=1e-5 * np.abs(signal).max()
    )


@pytest.mark.parametrize("corner", [0.5, 3.0, 10.0, 100.0])
@pytest.mark.parametrize("low", [True, False])
def test_response_before_its_cause_is_refused(corner: float, low: bool) -> None:
    response = one_pole(corner, low)
    filtered(smooth_burst(), response)
    with pytest.raises(AudioError, match="begins before what goes in"):
        filtered(smooth_burst(), lambda f: np.conj(response(f)))


def test_response_that_never_settles_is_refused() -> None:
    """A resonance of 500 Hz whose Q is a million rings for ten minutes."""
    with pytest.raises(AudioError, match="circuit that settles"):
        filtered(smooth_burst(), lambda f: 1 / (1 - (f / 500) ** 2 + 1j * f / 500 / 1e6))


@pytest.mark.parametrize(
    "response, said",
    [
        (lambda f: np.full(len(f), np.nan), "has gaps"),
        (lambda f: np.ones(3), "has gaps"),
        ((np.array([1.0, 2.0]), np.array([1.0])), "one value for each"),
        ((np.array([2.0, 1.0]), np.array([1.0, 1.0])), "must rise"),
        ((np.array([0.0, 1.0]), np.array([1.0, 1.0])), "above 0 Hz"),
        ((np.array([1.0, 2.0]), np.array([1.0, np.inf])), "no number"),
    ],
)
def test_bad_responses(response, said: str) -> None:
    with pytest.raises(AudioError, match=said):
        filtered(np.ones(100), response)


@pytest.mark.parametrize("signal", [np.ones((2, 3)), np.array([]), np.array([1.0, np.nan])])
def test_bad_signals(signal: np.ndarray) -> None:
    for work in (lambda s: filtered(s, one_pole(1.0)), wav, faded, lambda s: gain_to_peak([s], 0.5)):
        with pytest.raises(AudioError, match="signal"):
            work(signal)


@given(
    signals=st.lists(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=20), min_size=1, max_size=4),
    peak=st.floats(0.01, 1.0),
)
def test_one_gain_brings_the_largest_of_all_to_the_peak(signals: list[list[float]], peak: float) -> None:
    arrays = [np.array(signal) for signal in signals]
    gain = gain_to_peak(arrays, peak)
    top = max(np.abs(array).max() for array in arrays)
    if top == 0:
        assert gain == 1.0
    else:
        assert max(np.abs(array * gain).max() for array in arrays) == pytest.approx(peak, rel=1e-12)


@pytest.mark.parametrize("peak", [0.0, -0.5, 1.01, float("nan")])
def test_peak_out_of_range(peak: float) -> None:
    with pytest.raises(AudioError, match="up to 1 is allowed"):
        gain_to_peak([np.ones(3)], peak)


def test_fades_leave_the_middle_and_silence_the_ends() -> None:
    signal = faded(np.ones(RATE), 0.01, 0.2)
    assert signal[0] == 0 and abs(signal[-1]) < 1e-12
    assert (signal[round(0.01 * RATE) : -round(0.2 * RATE)] == 1).all()
    assert (np.diff(signal[: round(0.01 * RATE)]) > 0).all() and (np.diff(signal[-round(0.2 * RATE) :]) < 0).all()
    assert (faded(np.ones(7), 0.0, 0.0) == 1).all()
    with pytest.raises(AudioError, match="fade"):
        faded(np.ones(100), 1.0, 1.0)


@given(top=st.sampled_from([0.0, 1e-4, 0.1, 0.5, 1.0]), count=st.integers(1, 5000), seed=st.integers(0, 99))
def test_file_reads_back_within_the_dither(top: float, count: int, seed: int) -> None:
    signal = top * np.random.default_rng(seed).uniform(-1, 1, count)
    signal[0] = top
    rate, steps = scipy.io.wavfile.read(io.BytesIO(wav(signal)))
    assert rate == RATE and steps.dtype == np.int16 and steps.shape == (count,)
    assert np.abs(steps / 32766 - signal).max() < 1.51 / 32766
    assert wav(signal) == wav(signal)


def test_dither_turns_distortion_into_even_noise() -> None:
    """A tone of half a step would vanish or turn square without dither; with it, its third harmonic is in the noise."""
    time = np.arange(RATE) / RATE
    tone = 0.4 / 32766 * np.sin(2 * np.pi * 1000 * time)
    _, steps = scipy.io.wavfile.read(io.BytesIO(wav(tone)))
    level = np.abs(np.fft.rfft(steps)) / (RATE / 2)
    assert level[1000] == pytest.approx(0.4, rel=0.05)
    # Triangular dither trebles the rounding's own variance of 1/12 (Lipshitz et al. 1992, from memory).
    assert np.var(steps - tone * 32766) == pytest.approx(0.25, rel=0.02)
    assert level[3000] < 0.03


def test_beyond_full_scale_is_refused_not_clipped() -> None:
    wav(np.array([1.0, -1.0]))
    with pytest.raises(AudioError, match=r"1\.001 times full scale"):
        wav(np.array([0.0, -1.001]))


@given(st.floats(0.0, 0.445), st.floats(0, 6.28), st.integers(1, 9))
def test_between_the_samples_stands_the_tone(part: float, phase: float, times: int) -> None:
    """part: of the signal's rate; a tone that fades in and out, so that nothing is cut off."""
    count, middle = 2000, 1000.0

    def tone(at: np.ndarray) -> np.ndarray:
        return np.exp(-(((at - middle) / 200) ** 2)) * np.cos(2 * np.pi * part * (at - middle) + phase)

    wanted, found = tone(np.arange(count * times) / times), finer(tone(np.arange(count)), times)
    assert found.shape == (count * times,) and np.abs(found - wanted).max() < 5e-5


def test_between_the_samples_as_a_fourier_transform_has_it() -> None:
    noise = np.random.default_rng(3).standard_normal(4096)
    spectrum = np.fft.rfft(noise)
    spectrum[int(0.88 * len(spectrum)) :] = 0
    signal = np.fft.irfft(spectrum)
    wanted = at_times_the_rate(spectrum, len(signal), 4)
    away = slice(400, -400)  # the transform goes round, the sinc does not
    assert np.abs(finer(signal, 4) - wanted)[away].max() < 1e-4 * np.abs(wanted).max()
    assert finer(signal, 4)[::4] == pytest.approx(signal, abs=1e-12)
