"""What is heard is the note through the chain's own network, at the levels promised, never beyond the stated peak."""

import io
import subprocess
import sys

import numpy as np
import pyloudnorm
import pytest
import scipy.io.wavfile
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import resample

from piezolab.audio import RATE, AudioError
from piezolab.audio.processing import faded
from piezolab.audio.strings import pluck
from piezolab.chain import SignalChain
from piezolab.pitch import frequency
from piezolab.quantity import decibels
from piezolab.studies import listening
from piezolab.studies.added_harmonics import distortion
from piezolab.studies.hiss import noise
from piezolab.studies.hum import hum
from piezolab.studies.knock import KNOCK_V
from piezolab.studies.linear import LinearChain
from piezolab.studies.listening import (
    BARE,
    KEPT,
    KNOCKS,
    KNOCKS_AT_S,
    MATCHED,
    PEAK,
    SECONDS,
    SOUNDS,
    STAGE,
    TRUE,
    TURN_S,
    balances,
    hiss_table,
    hum_table,
    in_turns,
    knocks_v,
    listen,
    listen_to,
    versions,
)

#: A chain that loses bass when bare.
THIN = SignalChain(input_r=47e3)


def level_at(signal: np.ndarray, hz: float) -> float:
    """Amplitude of the part at hz, by a windowed Fourier integral."""
    window = np.hanning(len(signal))
    time = np.arange(len(signal)) / RATE
    return float(abs(np.sum(signal * window * np.exp(-2j * np.pi * hz * time))) / window.sum() * 2)


def test_what_there_is_to_compare() -> None:
    assert list(versions(THIN)) == [BARE, STAGE]
    assert list(versions(THIN.but(stage="direct"))) == [BARE]
    assert list(versions(THIN, THIN.but(stage="gain"))) == [BARE, STAGE, KEPT]
    assert versions(THIN)[BARE].stage == "direct" and versions(THIN)[BARE].input_r == 47e3


@pytest.mark.parametrize("sound", SOUNDS)
def test_true_level_is_the_network_at_each_partial(sound: str) -> None:
    """By another route: the nodal gain at single frequencies, and for the bare pickup the closed form."""
    kept = THIN.but(stage="gain")
    heard = listen(THIN, kept, sound=sound, level=TRUE)
    pitch = SOUNDS[sound].pitch_hz(THIN)
    dry = faded(pluck(SOUNDS[sound].voice, pitch, SECONDS)) * 10 ** (-10 / 20)
    for name, chain in {BARE: THIN.but(stage="direct"), STAGE: THIN, KEPT: kept}.items():
        one = heard[name]
        for hz in SOUNDS[sound].voice.partials(pitch).frequency[:2]:
            wanted = level_at(dry, hz) * abs(LinearChain.of(chain.values).gain(hz))
            assert decibels(level_at(one.signal / one.gain, hz) / wanted) == pytest.approx(0, abs=0.1)
    values = THIN.values
    c_load = values.lead_m * values.lead_c + values.cable_m * values.cable_c + values.input_c
    x = 2j * np.pi * pitch * 47e3  # the pickup's own leakage of 1 Gohm and its loss change less than 0.2 dB
    bare = abs(x * values.pickup_c / (1 + x * (values.pickup_c + c_load)))
    found = level_at(heard[BARE].signal / heard[BARE].gain, pitch) / level_at(dry, pitch)
    assert decibels(found / bare) == pytest.approx(0, abs=0.2)


@pytest.mark.parametrize("sound, name", [("lowest", "D3"), ("dulcimer", "D3"), ("bass", "E1"), ("thumb-piano", "G3")])
def test_each_sound_is_its_instrument_s_note(sound: str, name: str) -> None:
    assert SOUNDS[sound].pitch_hz(SignalChain()) == pytest.approx(frequency(name))
    assert SOUNDS["lowest"].pitch_hz(SignalChain(tuning="A3-G2-D4")) == pytest.approx(frequency("G2"))


def test_true_level_keeps_levels_and_matched_makes_them_alike() -> None:
    kept = THIN.but(stage="gain")
    true, matched = (listen(THIN, kept, level=level) for level in (TRUE, MATCHED))
    assert len({one.gain for one in true.values()}) == 1 and all(one.turned_up_db == 0 for one in true.values())
    meter = pyloudnorm.Meter(RATE, "DeMan")
    loud = {name: meter.integrated_loudness(one.signal) for name, one in matched.items()}
    # The fade at the end is not in the measured note: a tenth of a decibel.
    assert max(loud.values()) - min(loud.values()) < 0.1
    # Measured at one peak: the absolute gate would leave the end of the softer note out.
    peak = {name: np.abs(one.signal).max() for name, one in true.items()}
    true_loud = {
        name: meter.integrated_loudness(one.signal / peak[name]) + decibels(peak[name]) for name, one in true.items()
    }
    assert true_loud[KEPT] - true_loud[BARE] > 10
    turned = matched[BARE].turned_up_db - matched[KEPT].turned_up_db
    assert turned == pytest.approx(true_loud[KEPT] - true_loud[BARE], abs=0.1)


@settings(max_examples=12)
@given(
    sound=st.sampled_from(list(SOUNDS)),
    level=st.sampled_from([MATCHED, TRUE]),
    stage=st.sampled_from(["direct", "follower", "gain"]),
    pickup_c=st.sampled_from([1e-9, 15e-9, 200e-9]),
    loss=st.sampled_from([0.0, 0.02, 0.2]),
    input_r=st.sampled_from([10e3, 1e6, 10e6]),
    play_v=st.sampled_from([1e-3, 1.0, 100.0]),
    noisy=st.booleans(),
)
def test_no_sample_exceeds_the_stated_peak(
    sound: str, level: str, stage: str, pickup_c: float, loss: float, input_r: float, play_v: float, noisy: bool
) -> None:
    chain = SignalChain(stage=stage, pickup_c=pickup_c, pickup_loss=loss, input_r=input_r, play_v=play_v)
    names = versions(chain)
    hiss = {name: (np.array([10.0, 20e3]), np.array([1e-6, 1e-6])) for name in names} if noisy else None
    tables = {name: hum_table(one) for name, one in names.items()} if noisy else None
    heard = listen(chain, sound=sound, level=level, hiss=hiss, hum=tables)
    assert list(heard) == list(names)
    top = 0
    for one in heard.values():
        rate, steps = scipy.io.wavfile.read(io.BytesIO(one.wav()))
        assert rate == RATE and len(steps) == round(SECONDS * RATE)
        top = max(top, int(np.abs(steps.astype(int)).max()))
        assert abs(one.signal[0]) < 1e-9 and abs(one.signal[-1]) < 1e-9
    # 16 bits are written with 1 as 32766.
    assert 0.99 * PEAK < top / 32766 <= PEAK


def test_hiss_and_hum_ride_along_in_volts() -> None:
    density = {STAGE: (np.array([10.0, 24e3]), np.array([5e-6, 5e-6]))}
    harmonics = {BARE: (np.array([50.0, 150.0]), np.array([0.02, 0.005]))}
    plain = listen(THIN, level=TRUE)
    noisy = listen(THIN, level=TRUE, hiss=density, hum=harmonics)
    middle = slice(RATE // 2, 3 * RATE)
    hissed = (noisy[STAGE].signal / noisy[STAGE].gain - plain[STAGE].signal / plain[STAGE].gain)[middle]
    assert np.sqrt(np.mean(hissed**2)) == pytest.approx(5e-6 * np.sqrt(RATE / 2), rel=0.02)
    hummed = (noisy[BARE].signal / noisy[BARE].gain - plain[BARE].signal / plain[BARE].gain)[middle]
    assert level_at(hummed, 50) / np.sqrt(2) == pytest.approx(0.02, rel=1e-3)
    assert level_at(hummed, 150) / np.sqrt(2) == pytest.approx(0.005, rel=1e-3)


def test_hiss_table_is_the_noise_study() -> None:
    """20 Hz to 20 kHz, by the trapezoidal rule on the table and by the study's own integral."""
    at, density = hiss_table(THIN)
    assert np.sqrt(np.trapezoid(density**2, at)) == pytest.approx(noise(THIN).output_v_rms, rel=1e-3)


def test_hum_table_is_the_hum_study() -> None:
    at, rms = hum_table(THIN)
    assert np.sqrt(np.sum(rms**2)) == pytest.approx(hum(THIN).output_v_rms)
    assert at[0] == 50


def test_what_cancels_stays_silent() -> None:
    chain = SignalChain(discs="2px")
    for level in (MATCHED, TRUE):
        heard = listen(chain, level=level)
        assert all(not one.signal.any() for one in heard.values())
    assert all(one.silent for one in balances(chain).values())
    assert not any(one.silent for one in balances(SignalChain()).values())


def test_balances_are_the_gain_of_each_version() -> None:
    found = balances(THIN, THIN.but(stage="gain"), sound="bass")
    assert list(found) == [BARE, STAGE, KEPT]
    assert found[BARE].pitch_hz == pytest.approx(41.203, abs=1e-3) and found[BARE].bright_hz == 2000
    assert found[STAGE].at_pitch == pytest.approx(abs(LinearChain.of(THIN.values).gain(found[STAGE].pitch_hz)))
    # 47 kohm takes the bass from the bare pickup, the follower keeps it.
    assert decibels(found[BARE].at_pitch / found[BARE].at_bright) < -9
    assert decibels(found[STAGE].at_pitch / found[STAGE].at_bright) > -1


def test_unknown_words() -> None:
    with pytest.raises(AudioError, match="sound: 'gong'.*lowest, dulcimer, bass, thumb-piano are allowed"):
        listen(THIN, sound="gong")
    with pytest.raises(AudioError, match="sound: 'gong'"):
        balances(THIN, sound="gong")
    with pytest.raises(AudioError, match="level: 'loud'.*matched or true is allowed"):
        listen(THIN, level="loud")


def test_listening_needs_no_heavy_library() -> None:
    """A note costs a visitor's kernel no scipy."""
    code = (
        "import sys; from piezolab.chain import SignalChain; from piezolab.studies.listening import hiss_table, listen;"
        "listen(SignalChain(), hiss={'bare': hiss_table(SignalChain())})['bare'].wav(); print('scipy' in sys.modules)"
    )
    assert subprocess.check_output([sys.executable, "-c", code], text=True).strip() == "False"


# -- in turns -----------------------------------------------------------------------------------------------------
def rough(signal: np.ndarray, seconds: float = 5e-3) -> np.ndarray:
    """Rms of short pieces."""
    pieces = signal[: len(signal) // round(seconds * RATE) * round(seconds * RATE)].reshape(-1, round(seconds * RATE))
    return np.sqrt(np.mean(pieces**2, axis=1))


def test_the_loop_has_no_gap_and_no_click_at_any_join() -> None:
    steady = np.sin(2 * np.pi * 200.0 * np.arange(round(SECONDS * RATE)) / RATE) * 0.2
    loop = in_turns([faded(steady), faded(0.5 * steady)])
    turn = round(TURN_S * RATE)
    assert len(loop) == 2 * turn
    round_and_round = np.concatenate([loop[-turn // 2 :], loop])
    assert rough(round_and_round).min() > 0.25 * rough(0.5 * steady).mean(), "a gap"
    assert np.abs(np.diff(round_and_round)).max() < 2.5 * np.abs(np.diff(steady)).max(), "a click"
    inside = slice(round(0.1 * RATE), turn)
    assert np.array_equal(loop[:turn][inside], faded(steady)[:turn][inside])
    assert np.array_equal(loop[turn:][inside], faded(0.5 * steady)[:turn][inside])


def test_a_cut_between_the_turns_would_be_seen() -> None:
    steady = np.sin(2 * np.pi * 200.0 * np.arange(round(SECONDS * RATE)) / RATE) * 0.2
    cut = np.concatenate([faded(steady[: round(TURN_S * RATE)], out_s=0.03), faded(steady[: round(TURN_S * RATE)])])
    assert rough(cut).min() < 0.25 * rough(0.5 * steady).mean()


@settings(max_examples=4)
@given(st.sampled_from(list(SOUNDS)), st.integers(1, 3))
def test_a_loop_keeps_to_the_stated_peak(sound: str, count: int) -> None:
    one = listen(THIN, sound=sound)[BARE].signal
    assert np.abs(in_turns([one] * count)).max() <= PEAK


# -- clipping -----------------------------------------------------------------------------------------------------
def test_a_note_of_1_khz_bends_as_its_added_harmonics_say(monkeypatch: pytest.MonkeyPatch) -> None:
    """By another route: the harmonics of one period on the load line, where capacitors hold their voltage; so they are
    large here."""
    chain = SignalChain(stage="gain", play_v=0.15, input_max=100.0, bypass_c=10e-3, out_c=1e-3)
    time = np.arange(round(SECONDS * RATE)) / RATE
    monkeypatch.setattr(listening, "pluck", lambda *_: np.sin(2 * np.pi * 1000.0 * time))
    heard = listen_to({STAGE: chain}, clips=True)[STAGE]
    volts = (heard.signal / heard.gain)[RATE : 2 * RATE]
    wanted = distortion(chain).harmonics[-1]
    for n in (1, 2, 3):
        assert level_at(volts, 1000.0 * n) == pytest.approx(wanted[n - 1], rel=0.01, abs=2e-5)
    assert heard.followed and listen_to({STAGE: chain})[STAGE].followed is None
    assert wanted[1] > 0.01 * wanted[0], "there is something to hear"


def test_the_input_cuts_at_its_ceiling_and_nothing_else_changes() -> None:
    chain = SignalChain(stage="direct", play_v=3.0, input_max=0.5)
    bent, plain = listen_to({BARE: chain}, clips=True)[BARE], listen_to({BARE: chain})[BARE]
    volts, straight = bent.signal / bent.gain, plain.signal / plain.gain * 10 ** (10 / 20)
    middle = slice(RATE // 20, 2 * RATE)
    # what is cut has overtones above half the rate: by another route, at 32 times the rate
    finer = np.clip(resample(straight, 32 * len(straight)), -0.5, 0.5)
    assert np.abs(volts - resample(finer, len(straight)))[middle].max() < 2e-3
    assert np.abs(straight).max() > 0.6 and 0.5 < np.abs(volts).max() < 0.55


def test_what_goes_too_far_is_bent_by_the_load_line_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(listening, "PASSES", 500)
    chain = SignalChain(stage="gain", play_v=100.0, input_max=100.0)
    heard = listen_to({BARE: chain.but(stage="direct"), STAGE: chain}, clips=True, level=TRUE)
    assert heard[BARE].followed is True and heard[STAGE].followed is False
    for one in heard.values():
        assert np.isfinite(one.signal).all() and np.abs(one.signal).max() <= PEAK


def test_knocks_are_those_of_the_knock_study_and_no_louder_than_stated() -> None:
    chain = SignalChain()
    heard = listen_to(versions(chain), sound=KNOCKS, clips=True, level=TRUE)
    for one in heard.values():
        assert one.followed and np.isfinite(one.signal).all() and np.abs(one.signal).max() <= PEAK
        assert one.peak_v == pytest.approx(chain.values.input_max, rel=0.15), "a knock reaches the input's ceiling"
    wave = knocks_v(round(2 * RATE))
    assert np.abs(wave).max() == pytest.approx(KNOCK_V, rel=2e-3)
    assert wave[: round(KNOCKS_AT_S[0] * RATE)].max() == 0 and wave.min() < -0.99 * KNOCK_V
    with pytest.raises(AudioError, match="sound: 'knocks'"):
        listen_to({STAGE: chain}, sound=KNOCKS)
