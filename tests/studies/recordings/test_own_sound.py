"""One's own sound through other circuits: a take through a known filter, with hum and noise, taken back to what was."""

from dataclasses import replace

import numpy as np
import pytest

from piezolab.audio import RATE, AudioError
from piezolab.chain import SignalChain
from piezolab.studies.linear import LinearChain
from piezolab.studies.listening import MATCHED, PEAK
from piezolab.studies.recordings.own_sound import (
    MARGIN_DB,
    MOST_BOOST_DB,
    most_boost,
    own_sound,
    through_chains,
    without_hum,
)
from piezolab.studies.recordings.studied_take import EXCERPT_S, studied
from tests.studies.recordings.sweeping import through
from tests.studies.recordings.test_takes import performance, recording

CHAIN = SignalChain(pickup_c=3e-9, input="amplifier")


def bare_take(noise: float, hum: float = 0.0, staged: bool = False, chain: SignalChain = CHAIN):
    """What somebody played, and its take into the chain's cable and input."""
    played = performance()
    gain = LinearChain.of(chain.but(stage="direct").values).gain
    heard = through(played, lambda hz: gain(hz))
    time, chance = np.arange(len(played)) / RATE, np.random.default_rng(5)
    heard = heard + hum * np.sin(2 * np.pi * 50.02 * time) + hum / 3 * np.sin(2 * np.pi * 150.06 * time + 1)
    return played, studied(recording(0.3 * heard + chance.normal(0, noise, len(played))), staged)


def level(samples: np.ndarray, low: float, high: float) -> float:
    """Of what lies between two frequencies, dB."""
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples)))) ** 2
    hz = np.fft.rfftfreq(len(samples), 1 / RATE)
    return 10 * float(np.log10(spectrum[(hz >= low) & (hz < high)].sum()))


def test_the_bass_that_the_input_took_is_back():
    """Against what was played, from the lowest string to the top, within half a decibel; the level is not known."""
    played, take = bare_take(1e-6)
    own = own_sound(take, CHAIN)
    found = np.fft.irfft(own.spectrum, own.length)[: own.count]
    start = round((float(take.notes.start_s[0]) - 0.1) * RATE)
    wanted = played[start : start + own.count]
    off = [level(found, *ends) - level(wanted, *ends) for ends in ((140, 155), (210, 230), (430, 450), (2000, 4000))]
    assert np.ptp(off) < 0.5 and own.count == round(EXCERPT_S * RATE)
    lost = level(0.3 * take.excerpt, 140, 155) - level(wanted, 140, 155)
    assert lost < off[0] - 3, "which the take had lost"
    assert own.from_hz < 140


def test_noise_is_not_lifted_and_it_says_from_where():
    quiet, loud = (own_sound(bare_take(noise)[1], CHAIN) for noise in (1e-6, 3e-3))
    assert loud.from_hz > quiet.from_hz and loud.boost_db < quiet.boost_db <= MOST_BOOST_DB
    _, take = bare_take(3e-3)
    hz = np.geomspace(25, 10e3, 50)
    most = most_boost(take, hz)
    assert most.min() == 0 and most.max() <= MOST_BOOST_DB and MARGIN_DB == 6
    # between notes there is noise alone: a third-octave without a partial may not be lifted
    assert most_boost(take, np.array([31.5, 50.0])).max() < 1


def test_hum_lines_are_taken_out_and_notes_stay():
    _, take = bare_take(1e-5, hum=3e-3)
    assert take.quiet.lines.mains_hz == 50.0
    samples = np.asarray(take.excerpt, float)
    clean, count = without_hum(samples, take)
    assert count >= 2
    assert level(samples, 49.5, 50.5) - level(clean, 49.5, 50.5) > 20
    for ends in ((145, 149), (218, 222), (292, 296)):
        assert level(clean, *ends) == pytest.approx(level(samples, *ends), abs=0.1)


def test_through_chains_against_their_gains():
    """A gain of the same chain over that of another is what lies between their sounds."""
    _, take = bare_take(1e-6)
    own = own_sound(take, CHAIN)
    chains = {"bare": CHAIN.but(stage="direct"), "stage": CHAIN}
    true, alike = (through_chains(own, chains, kind) for kind in ("true", MATCHED))
    for hz, ends in ((147.0, (140, 155)), (440.0, (430, 450))):
        gains = [20 * np.log10(abs(LinearChain.of(one.values).gain(np.array([hz]))[0])) for one in chains.values()]
        apart = level(true["stage"].signal, *ends) - level(true["bare"].signal, *ends)
        assert apart == pytest.approx(gains[1] - gains[0], abs=0.3)
    assert max(np.abs(one.signal).max() for one in true.values()) == pytest.approx(PEAK, rel=1e-3)
    assert min(one.turned_up_db for one in alike.values()) == 0


def test_takes_that_cannot_be_heard():
    _, staged = bare_take(1e-5, staged=True)
    with pytest.raises(AudioError, match="no clear note of the bare pickup"):
        own_sound(staged, CHAIN)
    _, take = bare_take(1e-5)
    with pytest.raises(AudioError, match="two seconds in which nobody plays"):
        own_sound(replace(take, quiet=None), CHAIN)
