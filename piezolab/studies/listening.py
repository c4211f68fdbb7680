"""What a plucked note sounds like through a chain: bare, with its stage, and through a chain that was kept.

Linear, the chain's response at its operating point, unless it is asked to clip; then it is followed in time. Hiss and
hum come as arrays from the studies that know them. Sounds are worked out in volts at the load's terminals and brought
to samples by one gain for all, or by one for each that makes the notes equally loud. Several are heard in turns, in one
loop without a gap.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from piezolab.audio import RATE, AudioError
from piezolab.audio.loudness import matching_gains
from piezolab.audio.noise_samples import hiss as hiss_samples
from piezolab.audio.noise_samples import hum as hum_samples
from piezolab.audio.processing import faded, filtered, gain_to_peak, wav
from piezolab.audio.strings import PluckedString, PluckedTine, Voice, pluck
from piezolab.chain import SignalChain
from piezolab.circuit.errors import CircuitError
from piezolab.circuit.long_run import PASSES
from piezolab.pitch import Note, note
from piezolab.studies.clipped_sound import clipped
from piezolab.studies.hiss import noise as noise_study
from piezolab.studies.hum import hum as hum_study
from piezolab.studies.knock import KNOCK_V, SHAPES, WAYS, knock_shape
from piezolab.studies.levels import load_voltage
from piezolab.studies.linear import LinearChain
from piezolab.studies.response import low_note_hz

BARE, STAGE, KEPT = "bare", "stage", "kept"
MATCHED, TRUE = "matched", "true"
LEVELS = (MATCHED, TRUE)

#: Full scale is 1: no sample of any sound is larger than this.
PEAK = 0.5
#: Playing against `play_v`, dB: normal playing.
PLAYING_DB = -10.0
SECONDS = 3.5
#: Of a loop: how long each turn lasts, and how long it sinks into the next one, s. Ours (common practice, no source).
TURN_S, JOIN_S = 2.0, 0.03
BRIGHT_HZ = 2000.0  # where a string's overtones make it bright

_CURVE = 2001  # points of the curve that bends
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

#: Knocks on the disc, as `studies.knock` has its ring, over the lowest string: heard where a sound is to clip.
KNOCKS = "knocks"
KNOCKS_AT_S = (0.5, 1.2)  # first one way round, then the other
KNOCKS_S = TURN_S + 4 * JOIN_S
_KNOCK_PASSES = 40_000  # a knock goes further than any string, but is soon over


@dataclass(frozen=True)
class Heard:
    """One version.

    signal: samples, full scale 1, shape (N,); gain: full scale per volt at the load, so `signal / gain` are volts;
    turned_up_db: gain against the version that has the least; peak_v: volts at the load's terminals, the note alone;
    pitch_hz: of the note; followed: whether it was followed in time where it was to clip, and not bent by a curve; None
    where it was not to.
    """

    signal: np.ndarray
    gain: float
    turned_up_db: float
    peak_v: float
    pitch_hz: float
    followed: bool | None = None

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
    """All `versions` of one sound; see `listen_to`."""
    return listen_to(versions(chain, kept), sound=sound, level=level, hiss=hiss, hum=hum)


def listen_to(
    chains: Mapping[str, SignalChain],
    *,
    sound: str = "lowest",
    level: str = MATCHED,
    clips: bool = False,
    hiss: Mapping[str, Table] | None = None,
    hum: Mapping[str, Table] | None = None,
) -> dict[str, Heard]:
    """One sound through each of some chains, at normal playing (10 dB under `play_v`); the first one's lowest string.

    clips: at hard playing (`play_v`) instead, bent and cut by stage and input, followed in time (`clipped_sound`); what
    goes too far for that is bent by the load line as a note of 1 kHz is; then `KNOCKS` are a sound, too. level:
    "matched" makes the notes equally loud (ITU-R BS.1770-4), noise riding along; "true" keeps the levels of the
    versions against each other. Either way the largest sample of all is `PEAK`, reached by scaling. hiss, hum: by
    version, at the load's terminals; a version without an entry has none. A version of which nothing is left stays
    silent. Raises AudioError.
    """
    allowed = (*SOUNDS, KNOCKS) if clips else tuple(SOUNDS)
    if sound not in allowed:
        raise AudioError(f"sound: {sound!r} is not known; {', '.join(allowed)} are allowed.")
    if level not in LEVELS:
        raise AudioError(f"level: {level!r} is not known; {' or '.join(LEVELS)} is allowed.")
    played = SOUNDS["lowest" if sound == KNOCKS else sound]
    pitch = played.pitch_hz(next(iter(chains.values())))
    shape = pluck(played.voice, pitch, KNOCKS_S if sound == KNOCKS else SECONDS)
    knocks = knocks_v(len(shape)) if sound == KNOCKS else None
    found = {name: _note_at_load(one, shape, clips, knocks) for name, one in chains.items()}
    notes = {name: signal for name, (signal, _) in found.items()}
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
            pitch,
            found[name][1],
        )
        for name, gain in zip(notes, gains, strict=True)
    }


def knocks_v(count: int) -> np.ndarray:
    """Open-circuit voltage of two knocks, V, shape (count,): `KNOCK_V` at most, a ring that dies away, either way."""
    time, found = np.arange(count) / RATE, np.zeros(count)
    for at, way in zip(KNOCKS_AT_S, WAYS, strict=True):
        there = time >= at
        found[there] += way * KNOCK_V * knock_shape(time[there] - at, SHAPES[2])
    return found


def _note_at_load(
    chain: SignalChain, shape: np.ndarray, clips: bool, knocks: np.ndarray | None
) -> tuple[np.ndarray, bool | None]:
    """The note at the load's terminals, V, and whether it was followed in time, as `Heard` has it. Under knocks the
    string is played normally."""
    values, linear = chain.values, LinearChain.of(chain.values)
    peak = values.play_v * (1.0 if clips and knocks is None else 10 ** (PLAYING_DB / 20))
    open_v = peak * shape if knocks is None else peak * shape + knocks
    signal = filtered(open_v, linear.gain)
    if not np.abs(signal).max() > _NOTHING * peak:
        return np.zeros_like(signal), None
    if not clips:
        return signal, None
    try:
        return clipped(linear, open_v, PASSES if knocks is None else _KNOCK_PASSES), True
    except CircuitError:
        return _bent(linear, signal, chain.topology.inverts), False


def _bent(linear: LinearChain, signal: np.ndarray, inverts: bool) -> np.ndarray:
    """A signal at the load as the stage bends and the input cuts it: through the static curve of the load line, as if
    it had been a pickup's voltage at 1 kHz; the input cuts at its ceiling."""
    gain = float(np.abs(linear.gain(1000.0)))
    if linear.transistor is not None and gain > _NOTHING:
        gain = -gain if inverts else gain
        e = np.linspace(-1.0, 1.0, _CURVE) * np.abs(signal / gain).max()
        signal = np.interp(signal / gain, e, load_voltage(linear, e))
    ceiling = float(linear.assembly.values.input_max)
    return np.clip(signal, -ceiling, ceiling)


def in_turns(sounds: Sequence[np.ndarray]) -> np.ndarray:
    """One loop in which each sound has its turn of `TURN_S`, shape (turns x samples of a turn,).

    Each sinks along half a cosine into the next one's beginning, the last into the first: played round and round there
    is no gap and no click. No sample is beyond the sounds' own largest or `PEAK`, whichever is more.
    """
    turn, join = round(TURN_S * RATE), round(JOIN_S * RATE)
    loop = np.zeros(turn * len(sounds))
    for n, sound in enumerate(sounds):
        part = faded(sound[: turn + join], in_s=0.0, out_s=JOIN_S)
        loop[(np.arange(len(part)) + n * turn) % len(loop)] += part
    most = max(PEAK - _DITHER, *(float(np.abs(sound).max()) for sound in sounds))
    return loop * min(1.0, most / max(float(np.abs(loop).max()), most))


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
