"""Loudness against ITU-R BS.1770-4's own statements and against a library that implements it."""

import warnings

import numpy as np
import pyloudnorm
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from piezolab.audio import RATE, AudioError
from piezolab.audio.loudness import hop_powers, k_weighting, loudness, loudness_of, matching_gains
from piezolab.audio.strings import PluckedString, PluckedTine, pluck

TIME = np.arange(3 * RATE) / RATE


def test_full_scale_sine_reads_minus_three() -> None:
    """BS.1770-4, annex 1: a 0 dB FS, 997 Hz sine in one channel reads -3.01 LKFS (from memory)."""
    assert loudness(np.sin(2 * np.pi * 997 * TIME)) == pytest.approx(-3.01, abs=0.01)


@given(hz=st.floats(5, 20_000))
def test_weighting_is_that_of_the_analogue_filters(hz: float) -> None:
    """The table at 48 kHz comes, by the bilinear transform, from a high-pass at 38.135 Hz of Q 0.5003 and a shelf of
    3.99984 dB at 1681.97 Hz of Q 0.70718 (De Man 2014, Evaluation of implementations of the EBU R 128 loudness
    measurement; from memory)."""
    warped = np.tan(np.pi * hz / RATE)
    low, shelf = 1j * warped / np.tan(np.pi * 38.13547 / RATE), 1j * warped / np.tan(np.pi * 1681.97445 / RATE)
    top = 10 ** (3.99984385 / 20)
    wanted = low**2 / (low**2 + low / 0.50032704 + 1)
    wanted *= (top * shelf**2 + top**0.499666774 * shelf / 0.70717524 + 1) / (shelf**2 + shelf / 0.70717524 + 1)
    found = k_weighting(np.array([hz]))[0]
    # The table leaves the high-pass's own gain of 1.005 in.
    assert abs(found / wanted) == pytest.approx(1.005, abs=1e-3)


def by_library(signal: np.ndarray) -> float:
    """pyloudnorm with the filters that meet the standard's table (its default ones are a few hundredths off)."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return float(pyloudnorm.Meter(RATE, "DeMan").integrated_loudness(signal))


@settings(max_examples=25)
@given(
    hz=st.floats(30, 8000),
    db=st.floats(-50, 0),
    pause=st.floats(0.0, 2.0),
    noise=st.floats(0, 0.1),
    seed=st.integers(0, 99),
)
def test_same_as_a_library(hz: float, db: float, pause: float, noise: float, seed: int) -> None:
    """Tone, noise and a pause that the gates must leave out, in whole steps of 0.1 s, where both count alike."""
    signal = 10 ** (db / 20) * np.sin(2 * np.pi * hz * TIME)
    signal += noise * np.random.default_rng(seed).standard_normal(len(TIME))
    signal = np.concatenate([signal, np.zeros(round(pause * 10) * RATE // 10)])
    assert loudness(signal) == pytest.approx(by_library(signal), abs=1e-3)


@pytest.mark.parametrize(
    "voice, hz", [(PluckedString(), 146.8), (PluckedString(t60=1.6, bright_hz=400), 41.2), (PluckedTine(), 196)]
)
def test_plucks_same_as_a_library(voice, hz: float) -> None:
    signal = pluck(voice, hz, 3.0)
    assert loudness(signal) == pytest.approx(by_library(signal), abs=1e-3)


@settings(max_examples=15)
@given(gains=st.lists(st.floats(1e-4, 1e2), min_size=2, max_size=4))
def test_matched_signals_are_equally_loud(gains: list[float]) -> None:
    kinds = [np.sin(2 * np.pi * hz * TIME[: RATE // 2]) for hz in (60, 300, 2000, 9000)]
    signals = [gain * kind for gain, kind in zip(gains, kinds, strict=False)]
    matched = matching_gains(signals)
    assert matched[0] == 1.0
    # Brought to one peak first: the absolute gate would deafen the meter to the softest.
    level = [loudness(s * g / gains[0]) for s, g in zip(signals, matched, strict=True)]
    np.testing.assert_allclose(level, level[0], atol=1e-6)


def test_silence_stays_silent_and_first_heard_sets_the_level() -> None:
    tone = np.sin(2 * np.pi * 440 * TIME)
    np.testing.assert_allclose(matching_gains([0 * tone, 0.5 * tone, tone]), [1.0, 1.0, 0.5])
    np.testing.assert_allclose(matching_gains([0 * tone]), [1.0])
    assert loudness(0 * tone) == -np.inf and loudness(1e-5 * tone) == -np.inf


def test_too_short() -> None:
    with pytest.raises(AudioError, match="from 0.4 s"):
        loudness(np.ones(RATE // 3))


@pytest.mark.parametrize(("hz", "lkfs"), [(997.0, -23.0), (997.0, -33.0), (997.0, -20.0)])
def test_a_long_sound_is_measured_in_pieces(hz: float, lkfs: float) -> None:
    """Tones of ITU-R BS.2217's kind (from memory): a sine of 997 Hz in one channel whose level is 3.01 dB higher than
    the reading; for a minute, in the number type of a recording."""
    tone = 10 ** ((lkfs + 3.01) / 20) * np.sin(2 * np.pi * hz * np.arange(60 * RATE) / RATE)
    assert loudness_of(hop_powers(tone.astype(np.float32))[1]) == pytest.approx(lkfs, abs=0.02)


def test_gates_leave_out_what_is_quiet() -> None:
    """BS.1770-4: blocks under -70 LKFS, then those 10 LU under the mean of the rest, do not count. EBU Tech 3341's
    third case (from memory): 10 s at -36, 60 s at -23, 10 s at -36 reads -23."""
    sine = np.sin(2 * np.pi * 1000 * np.arange(80 * RATE) / RATE)
    level = np.repeat([-36.0, -23.0, -36.0], np.array([10, 60, 10]) * RATE)
    assert loudness(10 ** ((level + 3.01) / 20) * sine) == pytest.approx(-23.0, abs=0.1)


def test_pieces_do_not_show() -> None:
    noise = np.random.default_rng(5).normal(0, 0.1, 12 * RATE + 123)
    plain, weighted = hop_powers(noise)
    assert plain.shape == weighted.shape == (1200,)
    np.testing.assert_allclose(plain, (noise[: 1200 * 480].reshape(-1, 480) ** 2).mean(axis=1), rtol=1e-12)
    late = hop_powers(noise[4 * RATE :])[1]  # other seams
    np.testing.assert_allclose(weighted[450:1200], late[50:800], rtol=1e-9)
