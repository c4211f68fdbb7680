"""Two kinds of takes, bare and with the stage, against what their chain predicts. Numbers and words that stand for
findings; what a page says of them is its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from piezolab.audio import AudioError
from piezolab.chain import SignalChain
from piezolab.circuit.errors import CircuitError
from piezolab.studies.hum import hum
from piezolab.studies.linear import LinearChain
from piezolab.studies.loading import loading
from piezolab.studies.recordings import Estimate
from piezolab.studies.recordings.bass_fit import PLUCKED_DB, BassFit, bass_fit
from piezolab.studies.recordings.shared_notes import SharedNote
from piezolab.studies.recordings.studied_take import StudiedTake

#: How far a prediction may be off though nothing is wrong, dB: what parts within 20 % make of the bass (assumption).
PARTS_DB = 2.0
#: What is too little to speak of, and an interval too wide for a verdict, dB.
SLIGHT_DB, WIDE_DB = 1.0, 6.0
ODD_DB = 2.0  # rms, by which no corner fits
TOP_HZ = 1000.0  # where the level far above the corner is taken
MOST_TAKES = 3  # of each kind

AGREES, TOO_WIDE, SWAPPED, NO_STAGE, LESS, MORE, ODD = (
    "agrees", "too wide", "swapped", "no stage", "less", "more", "odd shape",
)  # fmt: skip


@dataclass(frozen=True)
class HumChange:
    """Hum of the quiet parts, mean square of full scale squared: bare, staged; change_db: from one to the other, None
    where one of them does not stand out of its noise; at_least_db: then how much it fell at least, None where not even
    that is known; expected_db: what the chain predicts, None where it has no hum; mains_hz: nan where it cannot be
    told, or the takes differ."""

    bare: Estimate
    staged: Estimate
    change_db: Estimate | None
    at_least_db: float | None
    expected_db: float | None
    mains_hz: float


@dataclass(frozen=True)
class Compared:
    """What the takes say against the prediction.

    bass: what the stage restores at the lowest partial that can be told, against its level far above, dB, and what was
    expected there; level: how much louder far above the corner, dB, and what was expected; with `pairs` below 2 no
    verdict rests on it; hum: None without a quiet part of each kind; finding: AGREES, TOO_WIDE, SWAPPED, NO_STAGE, LESS
    (bass than expected), MORE or ODD; expected_corner_hz: of the bare pickup; notes: notes played that were used,
    (bare, staged).
    """

    fit: BassFit
    bass: Estimate
    bass_expected: float
    level: Estimate
    level_expected: float
    expected_corner_hz: float
    hum: HumChange | None
    finding: str
    pairs: int
    notes: tuple[int, int]

    @property
    def corner_seen(self) -> bool:
        """Whether the corner lies where the notes have energy; else it is only below the upper end of its interval."""
        return self.fit.bass.low > 0 and self.fit.corner.value > 0.5 * self.fit.low_hz

    @property
    def level_agrees(self) -> bool:
        """Whether the expected level lies within the interval, widened by what parts make of it."""
        return self.level.low - PARTS_DB <= self.level_expected <= self.level.high + PARTS_DB

    def measured_at(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Frequencies (Hz), gain by the stage (dB) and half its interval, one for each third-octave with partials,
        slid to the expected level: how hard somebody plucked is not known."""
        return self.fit.band_hz, self.fit.gain - self.level.value + self.level_expected, self.fit.gain_half


def gain_by_stage(chain: SignalChain, frequency: np.ndarray) -> np.ndarray:
    """What the stage brings against the bare pickup into the same cable and input, dB, of the frequency's shape (Hz).

    Raises AudioError where one of both lets nothing through.
    """
    frequency = np.asarray(frequency, float)
    staged = np.abs(LinearChain.of(chain.values).gain(frequency))
    bare = np.abs(LinearChain.of(chain.but(stage="direct").values).gain(frequency))
    if not (bare.min() > 1e-12 and staged.min() > 1e-12):
        raise AudioError("chain: it lets nothing through, so nothing can be compared with it.")
    return 20 * np.log10(staged / bare)


def compared(takes: Sequence[StudiedTake], notes: Sequence[SharedNote], chain: SignalChain) -> Compared:
    """Compare; the notes are those of `shared_notes` of the takes. Raises AudioError with a sentence where no note was
    played in both kinds of takes, and CircuitError where the chain cannot be worked out."""
    if not notes:
        raise AudioError(
            "takes: no note was found twice both bare and with the stage; pluck the same few strings in both, one note "
            "at a time, each left to ring for a second."
        )
    corner = float(loading(chain).corner_hz)

    def rest(frequency: np.ndarray) -> np.ndarray:
        return gain_by_stage(chain, frequency) - 10 * np.log10(1 + (corner / frequency) ** 2)

    pairs = min(sum(take.staged == staged for take in takes) for staged in (False, True))
    fit = bass_fit(notes, rest, pairs)
    low, top = (float(rest(np.array([hz]))[0]) for hz in (fit.low_hz, TOP_HZ))
    bass = Estimate(*(value + low - top for value in (fit.bass.value, fit.bass.low, fit.bass.high)))
    expected = 10 * float(np.log10(1 + (corner / fit.low_hz) ** 2)) + low - top
    level = Estimate(*(value + top for value in (fit.level.value, fit.level.low, fit.level.high)))
    return Compared(
        fit, bass, expected, level, top, corner, _hum_change(takes, chain), _finding(fit, bass, expected, level), pairs,
        (sum(len(note.bare) for note in notes), sum(len(note.staged) for note in notes)),
    )  # fmt: skip


def _finding(fit: BassFit, bass: Estimate, expected: float, level: Estimate) -> str:
    if bass.half > WIDE_DB:
        return TOO_WIDE
    if expected > 3.0 and bass.high < -SLIGHT_DB:
        return SWAPPED
    off = bass.value - expected
    if abs(off) <= PARTS_DB + bass.half:
        return ODD if fit.misfit_db > ODD_DB else AGREES
    if expected > 3.0 and abs(bass.value) <= SLIGHT_DB and abs(level.value) <= PLUCKED_DB:
        return NO_STAGE
    if fit.misfit_db > ODD_DB:
        return ODD
    return LESS if off < 0 else MORE


def _hum_change(takes: Sequence[StudiedTake], chain: SignalChain) -> HumChange | None:
    sides = [
        [take.quiet for take in takes if take.staged == staged and take.quiet is not None] for staged in (False, True)
    ]
    if not all(sides):
        return None
    bare, staged = (_mean([quiet.lines.total for quiet in side]) for side in sides)
    mains = {quiet.lines.mains_hz for side in sides for quiet in side if quiet.lines.mains_hz > 0}
    change = at_least = None
    if bare.low > 0 and staged.low > 0:
        change = ratio_db(bare, staged)
    elif bare.low > 0 and staged.high > 0:
        at_least = 10 * float(np.log10(bare.value / staged.high))
    return HumChange(
        bare, staged, change, at_least, _expected_hum(chain), mains.pop() if len(mains) == 1 else float("nan")
    )


def ratio_db(bare: Estimate, staged: Estimate) -> Estimate:
    """Of two powers in one unit, from the first to the second, dB: the ratios r for which `staged - r * bare` could be
    0 (Fieller 1954, J. R. Stat. Soc. B 16, 175, from memory). Holds where both lower ends are above 0; in decibels a
    weak power is no bell, and the interval reaches further to one side."""
    both, low, high = bare.value * staged.value, bare.low * bare.high, staged.low * staged.high
    root = float(np.sqrt(both**2 - low * high))
    ratios = (staged.value / bare.value, (both - root) / low, (both + root) / low)
    return Estimate(*(10 * float(np.log10(ratio)) for ratio in ratios))


def _mean(totals: Sequence[Estimate]) -> Estimate:
    value = float(np.mean([one.value for one in totals]))
    half = float(np.sqrt(sum(one.half**2 for one in totals))) / len(totals)
    return Estimate(value, value - half, value + half)


def _expected_hum(chain: SignalChain) -> float | None:
    try:
        bare, staged = hum(chain.but(stage="direct")).output_v_rms, hum(chain).output_v_rms
    except CircuitError:
        return None
    return 20 * float(np.log10(staged / bare)) if bare > 0 and staged > 0 else None
