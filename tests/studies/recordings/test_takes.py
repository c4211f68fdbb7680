"""Recordings against known truths: filters, hum and noise that were put in, levels by definition."""

import json
import os

import numpy as np
import pytest
import scipy.fft
import scipy.stats
import soundfile
from click.testing import CliRunner

from piezolab.audio import RATE, AudioError
from piezolab.audio.sound_file import Recording
from piezolab.audio.strings import PluckedString, pluck
from piezolab.chain.link import from_link
from piezolab.cli import main
from piezolab.studies.recordings.against_prediction import AGREES, LESS, NO_STAGE, SWAPPED, compared
from piezolab.studies.recordings.bass_fit import bass_fit
from piezolab.studies.recordings.invented_takes import invented_takes
from piezolab.studies.recordings.played_notes import WINDOW, pitch_of
from piezolab.studies.recordings.shared_notes import SharedNote, shared_notes
from piezolab.studies.recordings.student_t import quantile_t
from piezolab.studies.recordings.studied_take import check_new, studied

LONG = bool(os.environ.get("PIEZOLAB_LONG"))
CHAIN = from_link("input=line")


def recording(samples, name="take"):
    return Recording(np.asarray(samples, np.float32), name, RATE, 1, 0, float(np.abs(samples).max()), 0, 0.0)


def performance(notes=12, seed=1, pitches=(147.0, 220.0, 294.0)):
    """Six seconds of quiet, then a pluck a second."""
    chance, out = np.random.default_rng(seed), [np.zeros(6 * RATE)]
    for n in range(notes):
        voice = PluckedString(pluck=chance.uniform(0.12, 0.18))
        out.append(chance.uniform(0.5, 1.0) * pluck(voice, pitches[n % len(pitches)], 1.0))
    return np.concatenate(out)


def through(samples, corner_hz, gain=1.0):
    """A first-order high-pass, exact in frequency, of 20 Hz or more: within a second it has forgotten what was."""
    length = scipy.fft.next_fast_len(len(samples) + RATE, real=True)
    hz = np.fft.rfftfreq(length, 1 / RATE)
    out = np.fft.irfft(np.fft.rfft(samples, length) * gain * 1j * hz / (corner_hz + 1j * hz), length)
    return out[: len(samples)]


@pytest.fixture(scope="module")
def invented():
    takes = tuple(studied(one, n == 1) for n, one in enumerate(invented_takes(CHAIN)))
    return takes, shared_notes(takes)


def test_one_performance_through_two_filters_with_hum_and_noise():
    """Corner within 3 %, level within 0.2 dB: bare through 600 Hz, with the stage through 20 Hz and 2 dB louder."""
    played, chance = performance(), np.random.default_rng(4)
    hum = 1e-4 * np.sin(2 * np.pi * 50.1 * np.arange(len(played)) / RATE)
    takes = tuple(
        studied(recording(0.3 * (through(played, corner, gain) + hum) + chance.normal(0, 1e-4, len(played))), staged)
        for corner, gain, staged in ((600.0, 1.0, False), (20.0, 10**0.1, True))
    )
    fit = bass_fit(shared_notes(takes), lambda hz: -10 * np.log10(1 + (20.0 / hz) ** 2))
    assert fit.corner.value == pytest.approx(600.0, rel=0.03)
    assert fit.level.value == pytest.approx(2.0, abs=0.2)
    assert fit.misfit_db < 0.3
    assert all(take.quiet.seconds > 5 and take.quiet.lines.mains_hz == 50.0 for take in takes)


def test_what_a_chain_plays_agrees_with_it_and_not_with_another(invented):
    takes, notes = invented
    now = compared(takes, notes, CHAIN)
    assert now.finding == AGREES and now.bass.low <= now.bass_expected <= now.bass.high
    assert now.hum.change_db.value == pytest.approx(now.hum.expected_db, abs=0.1) and now.hum.mains_hz == 50.0
    assert compared(takes, notes, from_link("input=line&pickup_c=2n")).finding == LESS


def test_a_swapped_pair_is_seen():
    swapped = tuple(studied(one, n == 0) for n, one in enumerate(invented_takes(CHAIN, 3)))
    assert compared(swapped, shared_notes(swapped), CHAIN).finding == SWAPPED


def test_pairs_that_cannot_be_compared(invented):
    takes, _ = invented
    with pytest.raises(AudioError, match="the same sound as invented"):
        check_new(takes[0], takes)
    other = studied(recording(performance(pitches=(400.0,))), True)
    with pytest.raises(AudioError, match="no note was found twice"):
        compared((takes[0], other), shared_notes((takes[0], other)), CHAIN)
    with pytest.raises(AudioError, match="nobody plays"):
        studied(recording(np.random.default_rng(1).normal(0, 0.01, 8 * RATE)), False)


def test_the_same_sound_under_another_name_and_kind(invented):
    """Once as bare and once with the stage, and saved anew with another gain: nothing changes, and it says so."""
    takes, _ = invented
    twice = studied(recording(invented_takes(CHAIN)[0].samples, "copy"), True)
    with pytest.raises(AudioError, match="copy: the same sound as invented, which is there already"):
        check_new(twice, (takes[0],))
    louder = studied(recording(1.1 * invented_takes(CHAIN)[0].samples, "louder"), True)
    pair = (takes[0], louder)
    assert compared(pair, shared_notes(pair), CHAIN).finding == NO_STAGE


def test_levels_of_a_take():
    """A sine of peak 0.5: rms 3.01 dB under its peak; a pure tone's crest factor is 3.01 dB."""
    take = studied(recording(np.r_[1e-4 * np.random.default_rng(2).normal(size=4 * RATE), 0.5 * pluck(
        PluckedString(), 147.0, 2.0)]), False)  # fmt: skip
    assert take.peak == pytest.approx(0.5, rel=1e-3) and take.crest_db == pytest.approx(
        20 * np.log10(take.peak / take.rms))  # fmt: skip
    assert take.quiet.noise.low < 1e-8 * (20e3 - 20) / 24e3 < take.quiet.noise.high


@pytest.mark.parametrize("hz", [41.2, 49.0, 147.0, 440.0, 880.0])
def test_pitch_even_where_the_bass_is_lost(hz):
    note = through(pluck(PluckedString(), hz, 1.0), 1000.0)[600 : 600 + WINDOW]
    assert pitch_of(note) == pytest.approx(hz, rel=0.01)


@pytest.mark.parametrize(("thump_hz", "hz"), [(73.4, 146.8), (49.0, 147.0), (110.0, 220.0)])
def test_the_thump_of_an_attack_is_no_pitch(thump_hz, hz):
    """A half or a third of the pitch, 14 dB below the lowest partial, that takes the bass for its own."""
    time = np.arange(WINDOW) / RATE
    note = sum(np.sin(2 * np.pi * hz * n * time + n) / n for n in range(1, 9))
    thump = 10 ** (-14 / 20) * np.sin(2 * np.pi * thump_hz * time) * np.exp(-time / 0.5)
    assert pitch_of(note + thump) == pytest.approx(hz, rel=0.01)
    low = sum(np.sin(2 * np.pi * thump_hz * n * time + n) / n * (1.0 if n % 2 else 5.0) for n in range(1, 17))
    assert pitch_of(low) == pytest.approx(thump_hz, rel=0.01), "an octave lower where its own partials are"


@pytest.mark.parametrize("freedom", [1, 2, 3, 5, 10, 33, 118, 500])
def test_quantile_against_a_library(freedom):
    assert quantile_t(freedom) == pytest.approx(scipy.stats.t.ppf(0.975, freedom), rel=1e-6)


# -- intervals of the fit ---------------------------------------------------------------------------------------------
def drawn(seed, corner, count=20):
    """Levels of shared notes by the model, plucks scattered in strength, brightness and partial by partial."""
    chance, notes = np.random.default_rng(seed), []
    for pitch in (147.0, 220.0, 294.0):
        hz = pitch * np.arange(1, 13)
        side = [
            -6 * np.log2(np.arange(1, 13)) + chance.normal(0, 2, (count, 1)) + chance.normal(0, 2, (count, 12))
            + chance.normal(0, 1, (count, 1)) * np.log2(hz / 147.0)
            for _ in range(2)
        ]  # fmt: skip
        notes.append(SharedNote(pitch, hz, side[0] - 10 * np.log10(1 + (corner / hz) ** 2), side[1]))
    return notes


def test_intervals_of_bass_and_level_hold():
    count = 2000 if LONG else 150
    bass = level = 0
    for n in range(count):
        fit = bass_fit(drawn(n, 500.0), lambda hz: np.zeros_like(hz))
        truth = 10 * np.log10(1 + (500.0 / 147.0) ** 2)
        bass += fit.bass.low <= truth <= fit.bass.high
        level += fit.level_scatter.low <= 0.0 <= fit.level_scatter.high
    for held in (bass, level):
        assert (0.93 if LONG else 0.89) <= held / count <= (0.97 if LONG else 0.995)


def test_a_corner_below_the_notes_is_no_number():
    lows = [bass_fit(drawn(n, 20.0), lambda hz: np.zeros_like(hz)) for n in range(20)]
    assert sum(fit.bass.low <= 0 for fit in lows) >= 16 and all(20 < fit.corner.high < 300 for fit in lows)


# -- command line -----------------------------------------------------------------------------------------------------
def test_files_by_command(tmp_path):
    names = []
    for one, name in zip(invented_takes(CHAIN), ("a.wav", "b.flac"), strict=True):
        names.append(str(tmp_path / name))
        soundfile.write(names[-1], one.samples, RATE, subtype="PCM_24")
    run = CliRunner()
    done = run.invoke(main, ["takes", "input=line", "--bare", names[0], "--stage", names[1]])
    found = json.loads(done.stdout)
    assert done.exit_code == 0 and found["finding"] == AGREES and len(found["takes"]) == 2
    (tmp_path / "c.wav").write_bytes(b"")
    bad = run.invoke(main, ["takes", "input=line", "--bare", str(tmp_path / "c.wav"), "--stage", "nowhere.wav"])
    assert bad.exit_code == 2 and "c.wav: the file is empty" in bad.stderr and "nowhere.wav: it cannot" in bad.stderr
    assert run.invoke(main, ["takes", "input=line"]).exit_code == 2
