"""Note names, tunings and their frequencies in equal temperament with A4 = 440 Hz (ISO 16:1975).

A note is written as in ``D3``, ``Fs3`` (F sharp), ``Bf3`` (B flat): letter, accidental, octave, where
octave 4 begins at middle C. The octave belongs to the letter, so ``Cf4`` sounds as ``B3`` and ``Bs3`` as
``C4``.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from piezolab.units import QuantityError

A4_HZ = 440.0
LOWEST, HIGHEST = "A0", "C8"
MAX_STRINGS = 12
MAX_TUNING_TEXT = 120

_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_ACCIDENTALS = {
    "": ("", ""),
    "s": ("s", "♯"),
    "#": ("s", "♯"),
    "♯": ("s", "♯"),
    "f": ("f", "♭"),
    "b": ("f", "♭"),
    "♭": ("f", "♭"),
}
_SHIFT = {"": 0, "s": 1, "f": -1}
_NAMES = ("C", "Cs", "D", "Ds", "E", "F", "Fs", "G", "Gs", "A", "As", "B")
_NOTE = re.compile(r"([A-Ga-g])([s#♯fb♭]?)([0-9])")
_LOWEST_MIDI, _HIGHEST_MIDI = 21, 108


class PitchError(QuantityError):
    """A note or tuning that cannot be understood; the message is one plain sentence."""


@dataclass(frozen=True)
class Note:
    """A named pitch: ``name`` as in the link (``Fs3``), ``midi`` (69 is A4), ``display`` (``F♯3``)."""

    name: str
    midi: int
    frequency_hz: float
    display: str


def _make(letter: str, accidental: str, octave: int) -> Note:
    plain, sign = _ACCIDENTALS[accidental]
    midi = 12 * (octave + 1) + _SEMITONES[letter] + _SHIFT[plain]
    return Note(
        f"{letter}{plain}{octave}", midi, A4_HZ * 2.0 ** ((midi - 69) / 12), f"{letter}{sign}{octave}"
    )


def note(text: str, *, what: str = "note") -> Note:
    """Read one note; ``#``, ``♯``, ``b``, ``♭`` and small letters are read too.

    Raises :class:`PitchError`, with ``what`` naming the field, for other text and for notes outside A0 to C8.
    """
    found = _NOTE.fullmatch(text.strip()) if isinstance(text, str) else None
    if not found:
        shown = repr(text[:20]) if isinstance(text, str) else type(text).__name__
        raise PitchError(
            f"{what}: {shown} is not a note; write a letter A to G, s (sharp) or f (flat), and an octave, "
            f"such as Fs3, from {LOWEST} to {HIGHEST}."
        )
    read = _make(found[1].upper(), found[2], int(found[3]))
    if not _LOWEST_MIDI <= read.midi <= _HIGHEST_MIDI:
        raise PitchError(f"{what}: {read.display} is out of range; notes go from {LOWEST} to {HIGHEST}.")
    return read


def frequency(name: str) -> float:
    """Frequency in Hz of a note, A0 to C8. Raises :class:`PitchError`."""
    return note(name).frequency_hz


def parse_tuning(text: str, *, what: str = "strings") -> tuple[Note, ...]:
    """Read a tuning such as ``D3-A3-D4``: 1 to 12 notes joined by hyphens, dashes, commas or spaces.

    The order and the spelling (``As3`` or ``Bf3``) are kept. Raises :class:`PitchError`, with ``what``
    naming the field.
    """
    if not isinstance(text, str) or not text.strip():
        raise PitchError(
            f"{what}: is empty; write 1 to {MAX_STRINGS} notes such as D3-A3-D4, {LOWEST} to {HIGHEST}."
        )
    if len(text) > MAX_TUNING_TEXT:
        raise PitchError(
            f"{what}: {text[:20]!r}... is too long; write 1 to {MAX_STRINGS} notes such as D3-A3-D4."
        )
    parts = re.split(r"\s*[-–,;]\s*|\s+", text.strip())
    if len(parts) > MAX_STRINGS:
        raise PitchError(f"{what}: there are {len(parts)} notes; 1 to {MAX_STRINGS} are allowed.")
    return tuple(note(part, what=what) for part in parts)


def format_tuning(notes: tuple[Note, ...]) -> str:
    """Canonical text of a tuning: :func:`parse_tuning` reads it back to the same notes, spelling included."""
    return "-".join(n.name for n in notes)


def nearest_note(hz: float) -> tuple[Note, float]:
    """The note nearest to ``hz``, spelt with sharps, and how far ``hz`` lies above it in cents (−50 to 50).

    Covers C0 (16.4 Hz) to B10 (31.6 kHz), more than a string can be tuned to. Raises :class:`PitchError`
    outside.
    """
    midi = round(69 + 12 * math.log2(hz / A4_HZ)) if 0 < hz < math.inf else -1
    if not 12 <= midi <= 143:
        raise PitchError(f"frequency: {hz} Hz has no note; notes are named from 16 Hz to 32.5 kHz.")
    name = _NAMES[midi % 12]
    found = _make(name[0], name[1:], midi // 12 - 1)
    return found, 1200 * math.log2(hz / found.frequency_hz)
