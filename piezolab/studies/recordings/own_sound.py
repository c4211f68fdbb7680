"""A recording of the bare disc through circuits it never met: what it was plugged into is divided out again.

The recording's spectrum over the response of the bare pickup into its cable and input is what the disc made with
nothing connected. Where that would lift noise instead, it is lifted less: a third-octave by at most its
signal-to-noise less 6 dB, and by 30 dB in all. Below, the sound is no longer the instrument's own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from piezolab.audio import RATE, AudioError
from piezolab.audio.loudness import matching_gains
from piezolab.audio.processing import faded, gain_to_peak
from piezolab.audio.third_octaves import ORDERS, band_edges, band_shares, exact_hz
from piezolab.chain import SignalChain
from piezolab.giving_way import give_way
from piezolab.studies.linear import LinearChain
from piezolab.studies.listening import MATCHED, PEAK
from piezolab.studies.recordings.quiet_part import BIN_HZ, WINDOW, window
from piezolab.studies.recordings.studied_take import StudiedTake

MOST_BOOST_DB, MARGIN_DB = 30.0, 6.0
SHORT_DB = 3.0  # lifted by so much too little it is no longer the instrument's own: common practice, no source
TOP_HZ = 12_000.0  # above, nothing is lifted: no note is told there
_CLEAR = 4.0  # of its noise, from which a hum line is there to be taken out
_DITHER = 2 / 32766
_GRID = np.geomspace(1.0, RATE / 2, 600)


@dataclass(frozen=True, eq=False)
class OwnSound:
    """What a disc made with nothing connected, as far as its take tells.

    spectrum: of the excerpt, padded, of full scale, shape (length/2 + 1,); length, count: samples, padded and not;
    from_hz: from where up it is the instrument's own; boost_db: what was lifted most; lines: hum lines taken out.
    """

    spectrum: np.ndarray
    length: int
    count: int
    from_hz: float
    boost_db: float
    lines: int


@dataclass(frozen=True, eq=False)
class ThroughChain:
    """A sound to play: signal, shape (N,); turned_up_db: to be as loud as the loudest; followed: None, it was not
    followed in time."""

    signal: np.ndarray
    turned_up_db: float
    followed: None = None


def own_sound(take: StudiedTake, chain: SignalChain) -> OwnSound:
    """Of a bare take, whose cable and input are the chain's. Raises AudioError with a sentence where it has no quiet
    part, or too little sound, and CircuitError where the chain cannot be worked out."""
    if take.excerpt is None or not len(take.notes):
        raise AudioError(f"{take.name}: no clear note of the bare pickup is in it.")
    if take.quiet is None:
        raise AudioError(f"{take.name}: two seconds in which nobody plays are what its noise is told from.")
    samples, lines = without_hum(np.asarray(take.excerpt, float), take)
    length = 1 << (len(samples) + RATE).bit_length()
    spectrum = np.fft.rfft(samples, length)
    give_way()
    bare = LinearChain.of(chain.but(stage="direct").values).gain(_GRID)
    if not np.abs(bare).max() > 1e-12:
        raise AudioError("chain: the bare pickup lets nothing through.")
    most = most_boost(take, _GRID)
    wanted = -20 * np.log10(np.maximum(np.abs(bare), 1e-12))
    least = wanted.min()  # what is lost everywhere is a level, and lifts no noise against the sound
    given = np.minimum(wanted - least, most)
    turn = np.exp(-1j * np.angle(bare)) * 10 ** (given / 20)
    kept = (_GRID <= TOP_HZ) & (wanted - least > most + SHORT_DB)
    from_hz = float(_GRID[np.flatnonzero(kept)[-1]]) if kept.any() else 0.0
    hz = np.fft.rfftfreq(length, 1 / RATE)
    return OwnSound(spectrum * _over(hz, turn), length, len(samples), from_hz, float(given.max()), lines)


def most_boost(take: StudiedTake, hz: np.ndarray) -> np.ndarray:
    """How far each frequency (Hz, any shape) may be lifted, dB: by its third-octave's signal-to-noise in the notes,
    less `MARGIN_DB`, `MOST_BOOST_DB` at most."""
    weight = window()
    shares = band_shares(BIN_HZ, WINDOW // 2 + 1) * (2 / (WINDOW * float((weight**2).sum())))
    noise = shares @ take.quiet.spectrum
    sound = take.notes.bands.mean(axis=0)
    over = 10 * np.log10(np.maximum(sound / np.maximum(noise, 1e-30) - 1, 1e-3))
    most = np.clip(over - MARGIN_DB, 0.0, MOST_BOOST_DB)
    edges = band_edges()
    found = np.interp(np.log(hz), np.log(exact_hz(ORDERS)), most)
    return np.where(hz < edges[0, 0], 0.0, found)


def without_hum(samples: np.ndarray, take: StudiedTake) -> tuple[np.ndarray, int]:
    """An excerpt without the hum lines of the take's quiet part, and how many they are. Of each line no more is taken
    out than stood there while nobody played: what else rings at that frequency stays."""
    lines = take.quiet.lines
    there = lines.level > _CLEAR * lines.noise if lines.mains_hz > 0 else np.zeros(len(lines.hz), bool)
    time, out = np.arange(len(samples)) / RATE, samples.copy()
    for hz, level in zip(lines.hz[there], lines.level[there], strict=True):
        turn = np.exp(-2j * np.pi * hz * time)
        found = 2 * np.mean(samples * turn)
        share = min(1.0, np.sqrt(2 * level) / max(abs(found), 1e-30))
        out -= share * (found * np.conj(turn)).real
        give_way()
    return out, int(there.sum())


def through_chains(own: OwnSound, chains: Mapping[str, SignalChain], level: str) -> dict[str, ThroughChain]:
    """The sound at the input of each chain; level: `MATCHED` makes them equally loud (ITU-R BS.1770), else true against
    each other. Raises CircuitError where a chain cannot be worked out."""
    hz, found = np.fft.rfftfreq(own.length, 1 / RATE), {}
    for name, chain in chains.items():
        gain = LinearChain.of(chain.values).gain(_GRID)
        found[name] = np.fft.irfft(own.spectrum * _over(hz, gain), own.length)[: own.count]
        give_way()
    gains = matching_gains(list(found.values())) if level == MATCHED else np.ones(len(found))
    heard = {name: gain * faded(one) for (name, one), gain in zip(found.items(), gains, strict=True)}
    overall = gain_to_peak(list(heard.values()), PEAK - _DITHER)
    return {
        name: ThroughChain(overall * one, 20 * float(np.log10(gain / gains.min())))
        for (name, one), gain in zip(heard.items(), gains, strict=True)
    }


def _over(hz: np.ndarray, gain: np.ndarray) -> np.ndarray:
    """A gain over `_GRID` at the bins of a spectrum; nothing at 0 Hz."""
    at, grid = np.log(np.maximum(hz[1:], _GRID[0])), np.log(_GRID)
    return np.concatenate([[0.0], np.interp(at, grid, gain.real) + 1j * np.interp(at, grid, gain.imag)])
