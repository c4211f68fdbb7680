"""What can be entered, checked; and the scale on which readings are compared."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from piezolab.studies.faults.hearing import EXCHANGED, FINE, KNOCKED, LOOKED, NEW, TONES, WORDS, WORKED
from piezolab.studies.faults.network_names import SWEEP
from piezolab.studies.metering.instrument import Meter

KINDS = ("dc", "ohm", "low", "high", "tone")
#: What a recorded sweep says, its three readings at once: low corner, level, distortion. Read where there is a sweep.
SWEPT = ("corner", "level", "bend")
UNITS = {"dc": "V", "ohm": "ohm", "low": "V", "high": "V", "tone": "", "corner": "Hz", "level": "dB", "bend": ""}
POWERED = frozenset({"dc", "low", "high", "tone", *SWEPT})
INPUT = "input"
INTERVAL = "±"
SAYABLE = (*WORDS, FINE, WORKED, KNOCKED, NEW, LOOKED, EXCHANGED)

_DC_KNEE_V = 0.05  # below it volts count as such, above by their ratio
_OHM_KNEE = 1.0
_AC_KNEE_DIGITS = 3.0
_OHM_MOST = 1e9
_OVER_GAP = 0.5  # between the largest resistance and "over range"
_DC_MOST_V, _AC_MOST_V = 1000.0, 1000.0
_CERTAINTY = 0.6  # standard deviation of a reading in terms of the meter's limit
# What the model itself may be out, on the scale: a part of the value where that is large.
_MODEL_SIGMA = {"ohm": 0.01, "dc": 0.02, "low": 0.06, "high": 0.06, "corner": 0.05, "level": 0.05, "bend": 0.5}
_KNEES = {"corner": 2.0, "bend": 1e-3}  # Hz, share: what a drop of hundredths of a decibel at 21 Hz, and noise, tell
_PER_DB = np.log(10) / 20
_SWEPT_ENDS = {"corner": (0.0, 20e3), "level": (-200.0, 100.0), "bend": (0.0, 1.0)}
SWEPT_SIGMA = {"corner": 0.05, "level": 0.05, "bend": 0.5}  # of a reading that came without its interval


class ReadingError(ValueError):
    """A reading that cannot be one; the sentence names it, its value and what is allowed."""


@dataclass(frozen=True)
class Check:
    """Something that can be read: kind (dc, ohm, low, high, tone, or one of `SWEPT`), place (a lane, clip, plug, cable,
    load, input, sweep)."""

    kind: str
    place: str

    @property
    def powered(self) -> bool:
        """Whether the battery has to be in."""
        return self.kind in POWERED

    @property
    def key(self) -> str:
        """Its name, such as "ohm:source"."""
        return f"{self.kind}:{self.place}"


SWEEP_CHECKS = tuple(Check(kind, SWEEP) for kind in SWEPT)


@dataclass(frozen=True)
class Reading:
    """What a meter showed, or an ear heard of the page's tone.

    value: V or ohm (infinity where the display says over range), or one of TONES; of a sweep Hz, dB, or a share; digit:
    last place of the display in the same unit, where it is known; of a sweep half the 95 % interval.
    """

    kind: str
    place: str
    value: float | str
    digit: float | None = None

    @property
    def check(self) -> Check:
        """What was read."""
        return Check(self.kind, self.place)

    @property
    def words(self) -> str:
        """A number of a sweep as text, such as "corner:sweep=83±4", which `value_and_half` takes apart again."""
        half = "" if self.digit is None else f"{INTERVAL}{self.digit:.2g}"
        return f"{self.check.key}={self.value:.4g}{half}"


def value_and_half(kind: str, text: str) -> tuple[str, str | None]:
    """The text of a value and of half its interval, such as 83±4 or 83+-4; None where it has none. Only a sweep's
    numbers have one."""
    value, mark, half = text.replace("+-", INTERVAL).partition(INTERVAL)
    return (value, half) if mark and kind in SWEPT else (text, None)


def checked(readings: Sequence[Reading], checks: Sequence[Check]) -> tuple[Reading, ...]:
    """The readings, each possible in itself. Raises ReadingError on the first that is not."""
    for reading in readings:
        _check(reading, checks)
    return tuple(readings)


def _check(reading: Reading, checks: Sequence[Check]) -> None:
    kind, value = reading.kind, reading.value
    name = f"reading {kind} {reading.place}"
    if kind not in (*KINDS, *SWEPT):
        allowed = ", ".join((*KINDS, *SWEPT))
        raise ReadingError(f"{name}: {kind!r} is no kind of reading; allowed is one of {allowed}.")
    if reading.check not in checks:
        places = ", ".join(check.place for check in checks if check.kind == kind)
        raise ReadingError(
            f"{name}: {reading.place!r} cannot be read like this here; allowed is {places or 'no place'}."
        )
    if kind == "tone":
        if value not in TONES:
            raise ReadingError(f"{name}: {value!r} is not known; allowed is one of {', '.join(TONES)}.")
        return
    if isinstance(value, bool) or not isinstance(value, int | float | np.number) or np.isnan(value):
        raise ReadingError(f"{name}: {value!r} is no number; allowed is a number in {UNITS[kind]}.")
    ends = {"dc": (-_DC_MOST_V, _DC_MOST_V), "ohm": (0.0, np.inf), **_SWEPT_ENDS}
    low, high = ends.get(kind, (0.0, _AC_MOST_V))
    if not low <= value <= high:
        allowed = "0 ohm or more, or over range" if kind == "ohm" else f"{low:g} to {high:g} {UNITS[kind]}"
        raise ReadingError(f"{name}: {value:g} {UNITS[kind]} is out of range; allowed is {allowed}.")
    digit = reading.digit
    if digit is not None and not 0 < digit < np.inf:
        part = "half its interval" if kind in SWEPT else "its last place"
        raise ReadingError(f"{name}: {digit!r} as {part}; allowed is a number above 0{f' {UNITS[kind]}'.rstrip()}.")


def plausible(reading: Reading, most_v: float) -> bool:
    """Whether volts, direct or of the tone, are within what a board can have, `most_v` either way."""
    return reading.kind in ("ohm", "tone", *SWEPT) or abs(float(reading.value)) <= most_v


def checked_words(heard: Sequence[str]) -> tuple[str, ...]:
    """Words for what is heard and known, each once. Raises ReadingError on a word that is not known, or on two that do
    not go together."""
    for word in heard:
        if word not in SAYABLE:
            raise ReadingError(f"heard: {word!r} is not known; allowed is any of {', '.join(SAYABLE)}.")
    for word in heard:
        other = next((each for each in heard if each in excluded(word)), None)
        if other is not None:
            raise ReadingError(f"heard: {other!r} does not go with {word!r}; allowed is one of the two.")
    return tuple(dict.fromkeys(heard))


def excluded(word: str) -> tuple[str, ...]:
    """Words that do not go with a word: nothing heard goes with "fine", and a board is new or has worked before."""
    known = {WORKED: (NEW,), NEW: (WORKED, KNOCKED), KNOCKED: (NEW,), LOOKED: (), EXCHANGED: ()}
    return known.get(word, WORDS if word == FINE else (FINE,))


def scaled(kind: str, value: float | np.ndarray, meter: Meter) -> np.ndarray:
    """Readings on the scale of comparison: about logarithmic where they are large, straight near zero.

    Resistances go on beyond what the meter shows.
    """
    value = np.asarray(value, float)
    if kind == "dc":
        return np.arcsinh(value / _DC_KNEE_V)
    if kind == "ohm":
        return np.log(np.minimum(value, _OHM_MOST) + _OHM_KNEE)
    if kind in SWEPT:
        return value * _PER_DB if kind == "level" else np.log(value + _KNEES[kind])
    return np.log(value + _ac_knee(meter))


def over_range(meter: Meter) -> float:
    """Where on that scale the display says over range, for ohms."""
    return float(np.log(meter.ohm_max + _OHM_KNEE))


def shown(kind: str, scale: np.ndarray, meter: Meter) -> np.ndarray:
    """The scale as the display has it: all that is over range is one value, a little above."""
    if kind != "ohm":
        return scale
    top = over_range(meter)
    return np.where(scale > top, scale.dtype.type(top + _OVER_GAP), scale)


def sigma(reading: Reading, meter: Meter) -> float:
    """Uncertainty of a reading on that scale: the meter's and the model's."""
    kind, value = reading.kind, float(reading.value)
    if kind in SWEPT:
        slope = _PER_DB if kind == "level" else 1 / (value + _KNEES[kind])
        read = SWEPT_SIGMA[kind] if reading.digit is None else 0.5 * reading.digit * slope
        return float(np.minimum(np.hypot(read, _MODEL_SIGMA[kind]), 1.0))
    if kind == "ohm":
        value = min(value, meter.ohm_max)
        digit = meter.ohm_digit(value) if reading.digit is None else reading.digit
        slope = 1.0 / (value + _OHM_KNEE)
    elif kind == "dc":
        digit = meter.volt_digit(value) if reading.digit is None else reading.digit
        slope = 1.0 / np.hypot(value, _DC_KNEE_V)
    else:
        digit = meter.ac_digit(value) if reading.digit is None else reading.digit
        slope = 1.0 / (value + _ac_knee(meter))
    return float(np.minimum(np.hypot(_CERTAINTY * meter.error(value, digit) * slope, _MODEL_SIGMA[kind]), 1.0))


def natural(kind: str, scale: float | np.ndarray, meter: Meter) -> np.ndarray:
    """Back from the scale to V or ohm; over range is infinity."""
    scale = np.asarray(scale, float)
    if kind == "dc":
        return _DC_KNEE_V * np.sinh(scale)
    if kind == "ohm":
        return np.where(scale > over_range(meter), np.inf, np.maximum(np.exp(scale) - _OHM_KNEE, 0.0))
    if kind in SWEPT:
        return scale / _PER_DB if kind == "level" else np.maximum(np.exp(scale) - _KNEES[kind], 0.0)
    return np.maximum(np.exp(scale) - _ac_knee(meter), 0.0)


def _ac_knee(meter: Meter) -> float:
    return _AC_KNEE_DIGITS * float(meter.ac_digit(0.0)) if meter.reads_ac else 3e-3
