"""Strings and tines: in tune, dying away as stated, with the partials that statics and tables ask for."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from piezolab.audio import RATE, AudioError
from piezolab.audio.strings import ATTACK_S, PluckedString, PluckedTine, clamped_roots, pluck, ring
from piezolab.pitch import frequency, nearest_note

VOICES = {
    "steel": PluckedString(),
    "cord": PluckedString(pluck=0.3, finger=0.008, stiffness=1e-5, t60=1.6, bright_hz=400),
    "tine": PluckedTine(),
}


def strongest_near(signal: np.ndarray, hz: float) -> float:
    """Frequency of the highest peak of the spectrum within half a tone of hz, between bins by a parabola."""
    window = np.hanning(len(signal))
    size = 2**22
    level = np.log(np.abs(np.fft.rfft(signal * window, size)))
    bins = np.fft.rfftfreq(size, 1 / RATE)
    inside = np.flatnonzero((bins > hz * 2 ** (-1 / 12)) & (bins < hz * 2 ** (1 / 12)))
    top = inside[np.argmax(level[inside])]
    a, b, c = level[top - 1 : top + 2]
    return (top + 0.5 * (a - c) / (a - 2 * b + c)) * RATE / size


def demodulated(signal: np.ndarray, hz: float, spacing: float) -> tuple[np.ndarray, np.ndarray]:
    """Times and complex envelope of one partial: shifted to 0 Hz and averaged over some periods of the spacing."""
    from scipy.signal import fftconvolve, get_window

    time = np.arange(len(signal)) / RATE
    width = round(8 * RATE / spacing)
    window = get_window("blackmanharris", width, fftbins=False)
    envelope = fftconvolve(signal * np.exp(-2j * np.pi * hz * time), window / window.sum(), "valid")
    return (np.arange(len(envelope)) + (width - 1) / 2) / RATE, envelope


@pytest.mark.parametrize(
    "kind, note", [("steel", "D3"), ("steel", "A3"), ("steel", "D4"), ("cord", "E1"), ("tine", "G3")]
)
def test_in_tune_within_a_cent_by_the_spectrum(kind: str, note: str) -> None:
    found = strongest_near(pluck(VOICES[kind], frequency(note)), frequency(note))
    name, cents = nearest_note(found)
    assert name.name == note and abs(cents) < 1


@pytest.mark.parametrize("kind, note", [("steel", "D3"), ("cord", "E1"), ("tine", "G3")])
def test_in_tune_and_dying_away_as_stated_by_demodulation(kind: str, note: str) -> None:
    """A second route: a partial's envelope turns once a second for each hertz it is off, and its dB fall in a line."""
    hz = frequency(note)
    partials = VOICES[kind].partials(hz)
    signal = pluck(VOICES[kind], hz)
    for number in range(2 if kind == "tine" else 5):
        at, t60 = partials.frequency[number], partials.t60[number]
        time, envelope = demodulated(signal, at, hz)
        rest = (time > time[0] + 2 * ATTACK_S) & (np.abs(envelope) > 1e-3 * np.abs(envelope).max())
        assert rest.sum() > 1000
        turn = np.polyfit(time[rest], np.unwrap(np.angle(envelope[rest])), 1)[0] / (2 * np.pi)
        assert abs(1200 * np.log2((at + turn) / at)) < 1, number
        slope = np.polyfit(time[rest], 20 * np.log10(np.abs(envelope[rest])), 1)[0]
        assert -60 / slope == pytest.approx(t60, rel=0.01), number


@given(pitch=st.floats(20, 5000), place=st.floats(0.02, 0.5), spread=st.floats(5e-4, 0.02), seconds=st.floats(0.05, 1))
def test_any_pluck_is_finite_peaks_at_one_and_repeats(
    pitch: float, place: float, spread: float, seconds: float
) -> None:
    voice = PluckedString(pluck=place, finger=spread)
    signal = pluck(voice, pitch, seconds)
    assert signal.shape == (round(seconds * RATE),) and signal.dtype == np.float64
    assert np.isfinite(signal).all() and np.abs(signal).max() == 1.0
    assert signal[0] == 0
    np.testing.assert_array_equal(signal, pluck(voice, pitch, seconds))


@given(count=st.integers(1, 3000), pitch=st.floats(30, 3000))
def test_blocks_add_up_to_the_plain_sum(count: int, pitch: float) -> None:
    partials = PluckedString(t60=0.5).partials(pitch)
    time = np.arange(count)[:, None] / RATE
    plain = partials.amplitude * 10 ** (-3 * time / partials.t60) * np.cos(2 * np.pi * partials.frequency * time)
    np.testing.assert_allclose(ring(partials, count), plain.sum(axis=1), atol=1e-11)


def test_pluck_at_a_node_leaves_those_partials_out() -> None:
    """A string plucked at a fifth has no fifth, tenth ... partial (Young's law)."""
    string = PluckedString(pluck=0.2, stiffness=0.0)
    order = string.partials(100.0).frequency / 100.0
    assert not np.isclose(order % 5, 0).any() and {1, 2, 3, 4, 6}.issubset(set(np.rint(order)))


@given(place=st.floats(0.05, 0.5))
def test_static_force_on_the_bridge(place: float) -> None:
    """All partials together are the static force at rest: 1 - pluck, by the balance of moments about the nut."""
    string = PluckedString(pluck=place, finger=0.004, stiffness=0.0)
    assert string.partials(16.0).amplitude.sum() == pytest.approx(1 - place, abs=1e-3)


def test_static_force_at_the_clamp() -> None:
    """What a tip force of 1 asks of the clamp is 1; the series falls like 1/n with alternating signs, so its last two
    partial sums are averaged."""
    terms = PluckedTine(finger=0.0).partials(16.0).amplitude
    assert len(terms) >= 8
    sums = np.cumsum(terms)
    assert (sums[-1] + sums[-2]) / 2 == pytest.approx(1.0, abs=0.01)


def test_clamped_roots_solve_their_equation() -> None:
    from scipy.optimize import brentq

    def wrong(x: float) -> float:
        return np.cos(x) + 1 / np.cosh(x)

    exact = [brentq(wrong, (n - 1) * np.pi + 1e-9, n * np.pi, xtol=1e-14) for n in range(1, 13)]
    np.testing.assert_allclose(clamped_roots(12), exact, rtol=1e-8)


@pytest.mark.parametrize("pitch, seconds, said", [(15, 1, "pitch: 15 Hz"), (10001, 1, "pitch: 10001 Hz"),
                                                  (float("nan"), 1, "pitch: nan"), (100, 0.01, "length: 0.01 s"),
                                                  (100, 21, "length: 21 s")])  # fmt: skip
def test_what_cannot_be_played(pitch: float, seconds: float, said: str) -> None:
    for voice in VOICES.values():
        with pytest.raises(AudioError, match=said):
            pluck(voice, pitch, seconds)
