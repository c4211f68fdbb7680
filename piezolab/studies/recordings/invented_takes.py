"""Takes that nobody played: a chain's own strings through its own circuit, with its hiss and hum, so that there is
something to look at before anybody has recorded."""

from __future__ import annotations

import numpy as np

from piezolab.audio import RATE
from piezolab.audio.noise_samples import hiss, hum
from piezolab.audio.sound_file import Recording
from piezolab.audio.strings import Partials, PluckedString, ring
from piezolab.chain import SignalChain
from piezolab.giving_way import give_way
from piezolab.pitch import parse_tuning
from piezolab.studies.linear import LinearChain
from piezolab.studies.listening import hiss_table, hum_table

QUIET_S, NOTE_S = 6.0, 1.0
PLUCKS = 12  # in each take
MOST_STRINGS = 3
#: Level of the loudest sample of both takes, of full scale; strongest and weakest pluck, of `play_v`.
PEAK, STRONG, WEAK = 0.4, 0.7, 0.35
_GRID = np.geomspace(0.05, 24e3, 400)  # Hz
_TOP_HZ = 5000.0  # higher partials are left out: they take long and change nothing that is compared
_LENGTH = 2**17  # samples in which a note has long died away
_FLOOR = 10 ** (-110 / 20)  # of full scale: hiss of the recorder's own, rms


def invented_takes(chain: SignalChain, seed: int = 1) -> tuple[Recording, Recording]:
    """A take of the bare pickup and one with the chain's stage, other plucks in each, one gain for both. Always the
    same for the same chain and seed. Raises AudioError or CircuitError for a chain that makes no sound."""
    made = [_take(each, seed + n) for n, each in enumerate((chain.but(stage="direct"), chain))]
    top = max(float(np.abs(one).max()) for one in made)
    gain = PEAK / max(top, 1e-12)
    names = ("invented", "invented")
    return tuple(_recording(one * gain, name, seed + n) for n, (one, name) in enumerate(zip(made, names, strict=True)))


def _take(chain: SignalChain, seed: int) -> np.ndarray:
    """Volts at the input: some seconds of quiet, then notes, one string after the other, again and again."""
    chance = np.random.default_rng(seed)
    pitches = sorted({note.frequency_hz for note in parse_tuning(chain.tuning)})[:MOST_STRINGS]
    order = [pitch for _ in range(PLUCKS // len(pitches)) for pitch in pitches]
    through = _on_bins(LinearChain.of(chain.values).gain(_GRID))
    give_way()
    count = round((QUIET_S + (len(order) + 0.5) * NOTE_S) * RATE)
    noise_hz, density = hiss_table(chain)
    hum_hz, level = hum_table(chain)
    # both go round without a seam
    out = np.resize(hiss(noise_hz, density, _LENGTH, seed), count)
    give_way()
    out += np.resize(hum(hum_hz, level, round(RATE / hum_hz[0])), count)
    give_way()
    size = round(1.2 * NOTE_S * RATE)
    plucked = {pitch: _plucked(pitch, order.count(pitch), size, chance) for pitch in pitches}
    for n, pitch in enumerate(order):
        note = plucked[pitch].pop() * chain.values.play_v * chance.uniform(WEAK, STRONG)
        heard = np.fft.irfft(np.fft.rfft(note, _LENGTH) * through)[:size]
        start = round((QUIET_S + n * NOTE_S + chance.uniform(0, 0.08)) * RATE)
        out[start : start + size] += heard[: count - start]
        give_way()
    return out


def _on_bins(gain: np.ndarray) -> np.ndarray:
    """A gain over `_GRID` at the bins of a note's spectrum, joined by straight lines over log frequency."""
    at = np.log(np.fft.rfftfreq(_LENGTH, 1 / RATE)[1:])
    grid = np.log(_GRID)
    return np.concatenate([[0.0], np.interp(at, grid, gain.real) + 1j * np.interp(at, grid, gain.imag)])


def _plucked(pitch: float, count: int, size: int, chance: np.random.Generator) -> list[np.ndarray]:
    """Plucks of a string at other places with other fingers, their largest sample 1: released within two milliseconds,
    damped by a hand at their end."""
    voices = [PluckedString(chance.uniform(0.11, 0.19), chance.uniform(0.003, 0.008)) for _ in range(count)]
    every = [voice.partials(pitch) for voice in voices]
    low = min(int((one.frequency < max(_TOP_HZ, 8 * pitch)).sum()) for one in every)
    attack, last = RATE // 500, RATE // 10
    out = []
    for one in every:
        note = ring(Partials(one.frequency[:low], one.amplitude[:low], one.t60[:low]), size)
        note[:attack] *= np.sin(0.5 * np.pi * np.arange(attack) / attack) ** 2
        note[-last:] *= np.cos(0.5 * np.pi * np.arange(last) / last) ** 2
        out.append(note / np.abs(note).max())
        give_way()
    return out


def _recording(samples: np.ndarray, name: str, seed: int) -> Recording:
    own = np.random.default_rng(1000 + seed).standard_normal(len(samples), np.float32) * np.float32(_FLOOR)
    samples = samples.astype(np.float32) + own
    return Recording(samples, name, RATE, 1, 0, float(np.abs(samples).max()), 0, 0.0)
