"""What a plucked note sounds like through a chain: bare, with its stage, and through a chain that was kept.

Linear: the chain's response at its operating point, so nothing clips here however hard the note is played. Hiss and hum
come as arrays from the studies that know them. Sounds are worked out in volts at the load's terminals and brought to
samples by one gain for all, or by one for each that makes the notes equally loud.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from piezolab.audio import AudioError
from piezolab.audio.loudness import matching_gains
from piezolab.audio.noise_samples import hiss as hiss_samples
from piezolab.audio.noise_samples import hum as hum_samples
from piezolab.audio.processing import faded, filtered, gain_to_peak, wav
from piezolab.audio.strings import PluckedString, PluckedTine, Voice, pluck
from piezolab.chain import SignalChain
from piezolab.pitch import Note, note
from piezolab.studies.hiss import noise as noise_study
from piezolab.studies.hum import hum as hum_study
from piezolab.studies.linear import LinearChain
from piezolab.studies.response import low_note_hz

BARE, STAGE, KEPT = "bare", "stage", "kept"
VERSIONS = (BARE, STAGE, KEPT)
MATCHED, TRUE = "matched", "true"
LEVELS = (MATCHED, TRUE)

#: Full scale is 1: no sample of any sound is larger than this.
PEAK = 0.5
#: Playing against `play_v`, dB: normal playing.
PLAYING_DB = -10.0
SECONDS = 3.5
BRIGHT_HZ = 2000.0  # where a string's overtones make it bright

_DITHER = 2 / 32766  # what writing 16 bits may add to a sample
_NOTHING = 1e-7  # of the open-circuit voltage: what cancels is no sound to be turned up

#: Frequencies in Hz (above 0, rising) and one value for each: V/sqrt(Hz) for hiss, V rms for hum.
Table = tuple[np.ndarray, np.ndarray]


@dataclass(frozen=True)
class Sound:
    """A note on an instrument; note is None for the chain's own lowest string."""

    voice: Voice
    note: Note | None = None

    def pitch_hz(self, chain: SignalChain) -> float:
        """The note's frequency, Hz."""
        return low_note_hz(chain) if self.note is None else self.note.frequency_hz


_STEEL = PluckedString(pluck=0.15, finger=0.004, stiffness=2.5e-4, t60=4.0, bright_hz=1500.0)
_CORD = PluckedString(pluck=0.3, finger=0.008, stiffness=1e-5, t60=1.6, bright_hz=400.0)

#: The chain's lowest string, and one note of each instrument of the (invented) Saltmarsh Instrument Workshop. Decay and
#: stiffness are estimates for a thin steel string, a cord and a steel tine (common practice, no source).
SOUNDS: Mapping[str, Sound] = {
    "lowest": Sound(_STEEL),
    "dulcimer": Sound(_STEEL, note("D3")),
    "bass": Sound(_CORD, note("E1")),
    "thumb-piano": Sound(PluckedTine(finger=0.03, t60=2.5), note("G3")),
}


@dataclass(frozen=True)
class Heard:
    """One version.

    signal: samples, full scale 1, shape (N,); gain: full scale per volt at the load, so `signal / gain` are volts;
    turned_up_db: gain against the version that has the least; peak_v: volts at the load's terminals, the note alone.
    """

    signal: np.ndarray
    gain: float
    turned_up_db: float
    peak_v: float

    def wav(self) -> bytes:
        """As a WAV file, 16 bits; no sample is beyond `PEAK`."""
        return wav(self.signal)


def versions(chain: SignalChain, kept: SignalChain | None = None) -> dict[str, SignalChain]:
    """What there is to compare: the bare pickup; the chain, if it has a stage; the kept chain, if there is one."""
    found = {BARE: chain.but(stage="direct")}
    if chain.topology.powered:
        found[STAGE] = chain
    if kept is not None:
        found[KEPT] = kept
    return found


def hiss_table(chain: SignalChain) -> Table:
    """The hiss of a chain as `listen` takes it: frequencies in Hz, V/sqrt(Hz) at the load's terminals."""
    found = noise_study(chain)
    return found.frequency, np.sqrt(found.total)


def hum_table(chain: SignalChain) -> Table:
    """The hum of a chain as `listen` takes it: harmonics in Hz, rms volts at the load's terminals."""
    found = hum_study(chain)
    return found.frequency, found.spectrum_v_rms


def listen(
    chain: SignalChain,
    kept: SignalChain | None = None,
    *,
    sound: str = "lowest",
    level: str = MATCHED,
    hiss: Mapping[str, Table] | None = None,
    hum: Mapping[str, Table] | None = None,
) -> dict[str, Heard]:
    """All versions of one sound, at normal playing (10 dB under `play_v`).

    level: "matched" makes the notes equally loud (ITU-R BS.1770-4), noise riding along; "true" keeps the levels of
    the versions against each other. Either way the largest sample of all is `PEAK`, reached by scaling, never by
    clipping. hiss, hum: by version, at the load's terminals; a version without an entry has none. A version of which
    nothing is left stays silent. Raises AudioError.
    """
    if sound not in SOUNDS:
        raise AudioError(f"sound: {sound!r} is not known; {', '.join(SOUNDS)} are allowed.")
    if level not in LEVELS:
        raise AudioError(f"level: {level!r} is not known; {' or '.join(LEVELS)} is allowed.")
    chains = versions(chain, kept)
    pitch = SOUNDS[sound].pitch_hz(chain)
    shape = pluck(SOUNDS[sound].voice, pitch, SECONDS)
    notes = {name: _note_at_load(one, shape) for name, one in chains.items()}
    gains = matching_gains(list(notes.values())) if level == MATCHED else np.ones(len(notes))
    mixed = {
        name: gain * faded(signal + _noise(name, len(signal), hiss or {}, hum or {}))
        for (name, signal), gain in zip(notes.items(), gains, strict=True)
    }
    overall = gain_to_peak(list(mixed.values()), PEAK - _DITHER)
    return {
        name: Heard(
            overall * mixed[name],
            float(overall * gain),
            20 * float(np.log10(gain / gains.min())),
            float(np.abs(notes[name]).max()),
        )
        for name, gain in zip(notes, gains, strict=True)
    }


def _note_at_load(chain: SignalChain, shape: np.ndarray) -> np.ndarray:
    values = chain.values
    peak = values.play_v * 10 ** (PLAYING_DB / 20)
    signal = filtered(peak * shape, LinearChain.of(values).gain)
    return signal if np.abs(signal).max() > _NOTHING * peak else np.zeros_like(signal)


def _noise(name: str, count: int, hiss: Mapping[str, Table], hum: Mapping[str, Table]) -> np.ndarray:
    noise = np.zeros(count)
    if name in hiss:
        noise += hiss_samples(*hiss[name], count)
    if name in hum:
        noise += hum_samples(*hum[name], count)
    return noise


@dataclass(frozen=True)
class Balance:
    """How bass and brightness fare: magnitudes of the gain, load over open circuit, at the pitch and at its
    overtones."""

    pitch_hz: float
    bright_hz: float
    at_pitch: float
    at_bright: float

    @property
    def silent(self) -> bool:
        """Whether next to nothing is left of the note."""
        return max(self.at_pitch, self.at_bright) <= _NOTHING


def balances(chain: SignalChain, kept: SignalChain | None = None, *, sound: str = "lowest") -> dict[str, Balance]:
    """What there is to hear, as numbers: the level of the note's pitch and of overtones of at least 2 kHz.

    Raises AudioError for an unknown sound.
    """
    if sound not in SOUNDS:
        raise AudioError(f"sound: {sound!r} is not known; {', '.join(SOUNDS)} are allowed.")
    pitch = SOUNDS[sound].pitch_hz(chain)
    bright = float(np.clip(12 * pitch, BRIGHT_HZ, 15e3))
    found = {}
    for name, one in versions(chain, kept).items():
        at = np.abs(LinearChain.of(one.values).gain(np.array([pitch, bright])))
        found[name] = Balance(pitch, bright, float(at[0]), float(at[1]))
    return found
