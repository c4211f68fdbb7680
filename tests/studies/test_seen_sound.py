"""Pictures of sounds: lines of known sines, also by another library, and the same instants for all."""

import numpy as np
import pytest
import scipy.signal

from piezolab.audio import RATE
from piezolab.studies.seen_sound import BANDS_HZ, LEAST_DB, seen_sounds

TIME = np.arange(2 * RATE) / RATE
CENTRES = np.sqrt(BANDS_HZ[:-1] * BANDS_HZ[1:])


def _band(hz: float) -> int:
    return int(np.searchsorted(BANDS_HZ, hz) - 1)


def test_lines_are_the_amplitudes_of_sines_and_a_clipped_one_has_its_third() -> None:
    """A square wave's third harmonic is a third of the first, -9.54 dB, by its Fourier series."""
    sine = 0.4 * np.sin(2 * np.pi * 440 * TIME)
    square = 0.3 * np.sign(np.sin(2 * np.pi * 440 * TIME + 1e-9))
    seen = seen_sounds({"sine": sine, "square": square}, 440.0)
    largest = 20 * np.log10(0.3 * 4 / np.pi / 0.4)
    assert seen["sine"].level_db[_band(440)] == pytest.approx(min(0.0, -largest), abs=0.01)
    assert seen["sine"].level_db[_band(1320)] < -80
    square_db = seen["square"].level_db
    assert square_db[_band(1320)] - square_db[_band(440)] == pytest.approx(20 * np.log10(1 / 3), abs=0.05)
    assert len(seen["sine"].wave) == round(4 * RATE / 440) and np.array_equal(
        seen["sine"].time_s, seen["square"].time_s
    )


def test_lines_by_another_library() -> None:
    rng = np.random.default_rng(5)
    sound = rng.normal(size=RATE) * np.exp(-3 * TIME[:RATE])
    _, power = scipy.signal.periodogram(sound, RATE, "hann", detrend=False, scaling="spectrum")
    lines = np.sqrt(2 * power)
    found = seen_sounds({"one": sound}, 100.0)["one"].level_db
    edges = np.rint(BANDS_HZ).astype(int)
    theirs = np.array([lines[a : max(b, a + 1)].max() for a, b in zip(edges[:-1], edges[1:], strict=True)])
    assert found == pytest.approx(20 * np.log10(theirs / theirs.max()), abs=1e-6)


def test_silence_has_a_picture_and_a_short_sound_too() -> None:
    seen = seen_sounds({"silent": np.zeros(RATE), "click": np.eye(1, RATE, 500)[0]}, 82.4)
    assert np.all(seen["silent"].level_db == LEAST_DB) and not seen["silent"].wave.any()
    assert seen["click"].wave.max() == 1.0, "where the first that sounds is loudest"
    assert np.all(seen_sounds({"silent": np.zeros(10)}, 82.4)["silent"].level_db == LEAST_DB)
    assert CENTRES[0] > 20 and CENTRES[-1] < 20e3
