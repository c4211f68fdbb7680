"""One take by itself: its levels, its quiet part, its notes."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from piezolab.audio import RATE, AudioError
from piezolab.audio.loudness import hop_powers, loudness_of
from piezolab.audio.sound_file import Recording
from piezolab.quantity import decibels
from piezolab.studies.recordings.played_notes import PlayedNotes, played_notes
from piezolab.studies.recordings.quiet_part import QuietPart, quiet_part
from piezolab.studies.recordings.student_t import quantile_t

EXCERPT_S, _BEFORE_S = 4.0, 0.1  # what has its turn of a loop is no longer


@dataclass(frozen=True, eq=False)
class StudiedTake:
    """What was found in a recording; of its samples only some seconds of a bare one are among it.

    name: the file's; staged: whether it was made with the stage; seconds: its length; peak, rms, offset: of full scale;
    lkfs: K-weighted, gated loudness (ITU-R BS.1770), -inf for less than 0.4 s above -70 LKFS; clipped: moments at full
    scale; quiet: None where there is no such part; print: tells one sound from another;
    excerpt: of a bare take with notes, from its first one on, to be heard through other circuits, float32, shape (N,).
    """

    name: str
    staged: bool
    seconds: float
    peak: float
    rms: float
    lkfs: float
    clipped: int
    offset: float
    quiet: QuietPart | None
    notes: PlayedNotes
    print: bytes
    excerpt: np.ndarray | None = None

    @property
    def crest_db(self) -> float:
        """Peak over rms, dB."""
        return float(decibels(self.peak / self.rms))

    @cached_property
    def band_levels(self) -> tuple[np.ndarray, np.ndarray]:
        """Mean level of the notes in each third-octave, dB of full scale, and half the width of its 95 % interval from
        the scatter between notes, both of shape (31,); nan for less than two notes."""
        if len(self.notes) < 2:
            return np.full(31, np.nan), np.full(31, np.nan)
        level = 10 * np.log10(np.maximum(self.notes.bands, 1e-20))
        n = len(level)
        return level.mean(axis=0), quantile_t(n - 1) * level.std(axis=0, ddof=1) / np.sqrt(n)


def studied(recording: Recording, staged: bool, told: Callable[[float], None] = lambda part: None) -> StudiedTake:
    """Study a recording, giving way every few milliseconds; keeps `EXCERPT_S` of a bare one's samples at most.

    told: is called with the part that is done, 0 to 1.
    Raises AudioError where nothing but noise is in it.
    """
    samples = recording.samples
    plain, weighted = hop_powers(samples)
    told(0.4)
    quiet = quiet_part(samples, weighted)
    told(0.6)
    notes = played_notes(samples, None if quiet is None else quiet.spectrum)
    if not len(notes) and not notes.unclear:
        raise AudioError(f"{recording.name}: nobody plays in it; a few plucked notes are what is compared.")
    return StudiedTake(
        recording.name, staged, recording.seconds, recording.peak, float(np.sqrt(plain.mean())), loudness_of(weighted),
        recording.clipped, recording.offset, quiet, notes, hashlib.blake2b(samples.data, digest_size=16).digest(),
        None if staged or not len(notes) else _excerpt(samples, float(notes.start_s[0])),
    )  # fmt: skip


def _excerpt(samples: np.ndarray, first_s: float) -> np.ndarray:
    start = max(round((first_s - _BEFORE_S) * RATE), 0)
    return samples[start : start + round(EXCERPT_S * RATE)].astype(np.float32)


def check_new(take: StudiedTake, there: tuple[StudiedTake, ...]) -> None:
    """Raises AudioError where the same sound is there already."""
    for other in there:
        if other.print == take.print:
            raise AudioError(
                f"{take.name}: the same sound as {other.name}, which is there already; choose another take."
            )
