"""A recorded sweep against what its chain predicts, with a capacitor in the pickup's place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.audio import AudioError
from piezolab.chain import SignalChain
from piezolab.pitch import parse_tuning
from piezolab.quantity import dbu, decibels
from piezolab.studies.linear import LinearChain
from piezolab.studies.recordings.against_prediction import PARTS_DB
from piezolab.studies.recordings.swept import SweptTake

#: Where the level is taken when only the shape counts, Hz.
MIDDLE_HZ = (300.0, 3000.0)
TREBLE_HZ = 10e3
NOISE_DB = 20.0  # half an interval so wide says nothing of the chain
BENT = 0.01  # a harmonic of that share: the chain bends the sweep

AGREES, LESS_BASS, MORE_BASS, LESS_TREBLE, MORE_TREBLE, ODD, SWAPPED = (
    "agrees", "less bass", "more bass", "less treble", "more treble", "odd shape", "channels swapped",
)  # fmt: skip


@dataclass(frozen=True)
class SetUp:
    """How the sweep was recorded. capacitor: what stood for the pickup, F; None where it was the pickup's own value;
    alike: whether both inputs had the same gain, so that the level counts; tone_v: volts rms that a meter showed at
    the chain's output while the tone was played and recorded at the same gain, None where nobody measured."""

    capacitor: float | None = None
    alike: bool = False
    tone_v: float | None = None


@dataclass(frozen=True)
class SweepCompared:
    """What a sweep says against the prediction.

    hz, shape (F,); gain_db, phase_deg: measured, delay and polarity taken out, and, unless the level counts, slid to
    the predicted level; predicted_db, predicted_deg; half_db: half the interval; delay_s, turned: what was taken out;
    slid_db: None where the level counts; level_db: how much louder than predicted, None where it does not count;
    finding; worst_hz, worst_db: where, from the lowest note to the treble, its shape is furthest off; low_hz, low_db:
    how far off at the lowest note; output_v:
    largest output, volts peak, None without a meter's reading; bent_hz: lowest frequency from which a harmonic is over
    1 %, None where none is.
    """

    hz: np.ndarray
    gain_db: np.ndarray
    phase_deg: np.ndarray
    predicted_db: np.ndarray
    predicted_deg: np.ndarray
    half_db: np.ndarray
    delay_s: float
    turned: bool
    slid_db: float | None
    level_db: float | None
    finding: str
    worst_hz: float
    worst_db: float
    low_hz: float
    low_db: float
    output_v: float | None
    bent_hz: float | None

    @property
    def output_dbu(self) -> float | None:
        """The largest output as of a sine of that peak, dBu; None without volts."""
        return None if self.output_v is None else float(dbu(self.output_v / 2**0.5))


def as_swept(chain: SignalChain, capacitor: float | None) -> SignalChain:
    """The chain with a capacitor in its pickup's place: no leakage, no loss, no resonance, one disc."""
    if capacitor is None:
        capacitor = float(chain.values.pickup_c)
    return chain.but(pickup_c=capacitor, pickup_r=100e9, pickup_loss=0.0, discs="1", resonance=None)


def aligned(response: np.ndarray, wanted: np.ndarray, hz: np.ndarray) -> tuple[np.ndarray, float, bool]:
    """A response (complex, shape (F,)) with one delay and a polarity taken out, so that its phase lies as near as can
    be to the wanted one's; the delay, s, and whether it was turned over."""
    turn = 2 * np.pi * hz
    against = np.unwrap(np.angle(response / wanted))
    best = None
    for turned in (False, True):
        # the middle decides which turn is meant
        off = against - np.pi * turned
        middle = off[(hz > MIDDLE_HZ[0] / 3) & (hz < MIDDLE_HZ[1] / 3)]
        off = off - 2 * np.pi * np.round(np.median(middle) / (2 * np.pi))
        delay = -float((turn * off).sum() / (turn**2).sum())
        left = float(np.square(off + turn * delay).sum())
        if best is None or left < best[0]:
            best = left, delay, turned
    _, delay, turned = best
    return response * np.exp(1j * turn * delay) * (-1 if turned else 1), delay, turned


def predicted(chain: SignalChain, hz: np.ndarray) -> np.ndarray:
    """The chain's gain, complex, of the frequencies' shape (Hz). Raises AudioError where it lets nothing through."""
    gain = LinearChain.of(chain.values).gain(hz)
    if not np.abs(gain).min() > 1e-12:
        raise AudioError("chain: it lets nothing through, so nothing can be compared with it.")
    return gain


def sweep_compared(take: SweptTake, chain: SignalChain, set_up: SetUp) -> SweepCompared:
    """Compare. Raises AudioError with a sentence, and CircuitError where the chain cannot be worked out."""
    hz = take.hz
    wanted = predicted(as_swept(chain, set_up.capacitor), hz)
    response, delay, turned = aligned(take.response, wanted, hz)
    gain, expected = decibels(np.abs(response)), decibels(np.abs(wanted))
    middle = (hz >= MIDDLE_HZ[0]) & (hz <= MIDDLE_HZ[1])
    slid = float(np.mean((expected - gain)[middle]))
    swapped = take.looped and _swapped(gain, expected, middle)
    counts = take.looped and set_up.alike
    gain = gain if counts else gain + slid
    off = np.where(take.half_db < NOISE_DB, gain - expected, 0.0)
    low = max(min(note.frequency_hz for note in parse_tuning(chain.tuning)), float(hz[0]))
    off = off - float(np.mean(off[middle]))
    low_db = float(np.interp(np.log(low), np.log(hz), off))
    inside = np.flatnonzero((hz >= 0.97 * low) & (hz <= 1.03 * TREBLE_HZ))
    worst = inside[np.argmax(np.abs(off[inside]))]
    finding = SWAPPED if swapped else _finding(off[inside])
    with np.errstate(invalid="ignore"):
        bent = (take.stands_out() & (take.harmonics > BENT)).any(axis=0)
    phase, beside = np.unwrap(np.angle(wanted)), np.unwrap(np.angle(response / wanted))
    return SweepCompared(
        hz, gain, np.degrees(phase + beside), expected, np.degrees(phase), take.half_db, delay, turned,
        None if counts else slid, -slid if counts else None, finding,
        float(hz[worst]), float(off[worst]), low, low_db, _output(take, set_up),
        float(take.order_hz[bent][0]) if bent.any() else None,
    )  # fmt: skip


def _swapped(gain: np.ndarray, expected: np.ndarray, middle: np.ndarray) -> bool:
    """Whether the response turned upside down is far nearer to what is expected."""
    shape = [one - one[middle].mean() for one in (gain, -gain, expected)]
    straight, turned = (float(np.sqrt(np.mean((one - shape[2]) ** 2))) for one in shape[:2])
    return straight > 1.0 and turned < 0.3 * straight


def _finding(off: np.ndarray) -> str:
    """Shape alone, from the lowest note to the treble: a level that differs is told beside it."""
    if np.abs(off).max() <= PARTS_DB:
        return AGREES
    bass, treble = off[0], off[-1]
    ends = {LESS_BASS: -bass, MORE_BASS: bass, LESS_TREBLE: -treble, MORE_TREBLE: treble}
    most = max(ends, key=ends.__getitem__)
    return most if ends[most] > PARTS_DB else ODD


def _output(take: SweptTake, set_up: SetUp) -> float | None:
    """The largest output in volts: the tone is as loud as the sweep is where it passes the tone's frequency."""
    if set_up.tone_v is None:
        return None
    return take.peak * set_up.tone_v * 2**0.5 / take.tone_peak
