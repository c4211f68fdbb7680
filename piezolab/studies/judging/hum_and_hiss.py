"""Hum and hiss on one scale: how far they lie under hard playing, as the ear takes them.

Hiss is weighted A. Weighting A alone would hide a strong 50 Hz, so that hum counts by the worse of two figures:
weighted A, and flat less 10 dB. That rule is our own, and so are the two limits below; none has a source. Hum in the
output cable is a mere comparison of chains: what an ordinary braid lets through is assumed, and it is in no figure of
`hum`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.values import Values
from piezolab.circuit.elements import GROUND, CurrentSource
from piezolab.circuit.small_signal import transfer
from piezolab.circuit.weighting import a_weighting
from piezolab.quantity import decibels
from piezolab.studies.hiss import Noise, noise, noise_of
from piezolab.studies.hum import MAINS_HARMONICS, by_way_of, harmonic_shares
from piezolab.studies.kept import kept
from piezolab.studies.linear import LinearChain
from piezolab.studies.response import low_note_hz

FLAT_LESS_DB = 10.0  # the flat figure counts for this much less than the A-weighted one
INAUDIBLE_DB = -80.0  # what lies lower under hard playing is not heard
DROWNS_DB = -10.0  # hum within 10 dB of the lowest string is as loud as the playing
CABLE_F_PER_M = 3e-15  # from mains wiring to the inner conductor, through an ordinary braid
IN_AIR = "room"  # the way in that no stage can help against


@dataclass(frozen=True)
class Loudness:
    """All dB against a 1 kHz sine of open-circuit peak `play_v`, of the batch's shape; nan without a signal, -inf where
    there is none of it.

    hum_flat_db, hum_a_db: all hum at the load, unweighted and weighted A; hum_re_note_db: the hum against the lowest
    string played as hard, both under the weighting by which the hum counts; hiss_db: 20 Hz to 20 kHz, weighted A;
    cable_db: what cable, screen and supply bring in, judged as hum is; hum_way: the way in (see `hum`) that brings the
    most under that weighting, "" where no hum gets in.
    """

    hum_flat_db: np.ndarray
    hum_a_db: np.ndarray
    hum_re_note_db: np.ndarray
    hiss_db: np.ndarray
    cable_db: np.ndarray
    hum_way: np.ndarray

    @property
    def hum_db(self) -> np.ndarray:
        """What the words for hum go by: the worse of weighted A, and flat less 10 dB."""
        return worse(self.hum_flat_db, self.hum_a_db)

    @property
    def drowns(self) -> np.ndarray:
        """Whether hum is as loud as the lowest string."""
        return self.hum_re_note_db > DROWNS_DB


def worse(flat_db: np.ndarray, a_db: np.ndarray) -> np.ndarray:
    """The worse of a level weighted A and the same one flat less 10 dB."""
    return np.maximum(a_db, flat_db - FLAT_LESS_DB)


@kept(6)
def loudness(chain: SignalChain) -> Loudness:
    """Loudness of the chain's hum and hiss."""
    return loudness_of(chain.values, low_note_hz(chain), hiss=noise(chain))


def loudness_of(
    values: Values, note_hz: float, linear: LinearChain | None = None, hiss: Noise | None = None
) -> Loudness:
    """Loudness of hum and hiss for resolved values, arrays of builds allowed; note_hz: the lowest string, Hz."""
    linear = LinearChain.of(values) if linear is None else linear
    frequency, by_way = by_way_of(linear)
    ways = {**by_way, "cable": _cable(linear, frequency)}
    at_1khz, note = np.moveaxis(np.abs(linear.gain(np.array([1000.0, note_hz]))) * _rms(values), -1, 0)
    weight = a_weighting(frequency)
    hum = {way: level for way, level in ways.items() if way in by_way}
    borne = {way: level for way, level in ways.items() if way != IN_AIR}
    flat, weighted = _sum(hum), _sum(hum, weight)
    hum_flat, hum_a = _against(flat, at_1khz), _against(weighted, at_1khz)
    note_flat, note_a = _against(flat, note), _against(weighted, note * a_weighting(note_hz))
    by_a = hum_a >= hum_flat - FLAT_LESS_DB
    with np.errstate(divide="ignore"):
        hiss_db = -np.where(at_1khz > 0, (noise_of(values) if hiss is None else hiss).snr_db_a, np.nan)
    cable = worse(_against(_sum(borne), at_1khz), _against(_sum(borne, weight), at_1khz))
    found = (hum_flat, hum_a, np.where(by_a, note_a, note_flat), hiss_db, cable, _loudest(hum, weight, by_a))
    return Loudness(*(np.asarray(each)[()] for each in found))


def _rms(values: Values) -> np.ndarray:
    return np.asarray(values.play_v, float)[..., None] / np.sqrt(2)


def _cable(linear: LinearChain, frequency: np.ndarray) -> np.ndarray:
    """Rms volts of each harmonic at the load that the room's wiring pushes through the cable's screen, (..., H)."""
    values = linear.assembly.values
    network = linear.network.plus(CurrentSource("I_cable", GROUND, linear.assembly.jack))
    volts = values.mains_v * harmonic_shares(frequency / values.mains_hz, MAINS_HARMONICS)
    ampere = 2 * np.pi * frequency * np.asarray(values.cable_m, float)[..., None] * CABLE_F_PER_M * volts
    return np.abs(transfer(network, frequency, "I_cable", linear.assembly.load)) * ampere


def _sum(ways: Mapping[str, np.ndarray], weight: np.ndarray | float = 1.0) -> np.ndarray:
    """Rms volts of some ways in and all harmonics together."""
    return np.sqrt(sum(np.sum((level * weight) ** 2, axis=-1) for level in ways.values()))


def _loudest(ways: Mapping[str, np.ndarray], weight: np.ndarray, by_a: np.ndarray) -> np.ndarray:
    """The way in that brings the most, under the weighting by which the hum counts."""
    each = [np.where(by_a, _sum({way: level}, weight), _sum({way: level})) for way, level in ways.items()]
    stack = np.stack(np.broadcast_arrays(*each))
    return np.where(stack.max(axis=0) > 0, np.array(list(ways))[stack.argmax(axis=0)], "")


def _against(level: np.ndarray, signal: np.ndarray) -> np.ndarray:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(signal > 0, decibels(level / np.where(signal > 0, signal, 1.0)), np.nan)
