"""How much of the lowest string and of all notes arrives: the two levels by which a chain's bass is judged."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.values import Values
from piezolab.quantity import decibels
from piezolab.studies.kept import kept
from piezolab.studies.linear import LinearChain
from piezolab.studies.loading import bare_pickup
from piezolab.studies.response import AUDIO, NOTHING, low_note_hz, search_grid


@dataclass(frozen=True)
class BassAndLevel:
    """Levels in dB against one disc's open-circuit voltage, of the batch's shape; -inf where nothing arrives.

    low_note_db: the lowest string, net; full_db: mid-band, the largest level between 20 Hz and 20 kHz (of a bare pickup
    the full level C_p/(C_p + C)); at_1khz_db: the reference of hum, hiss and playing.
    """

    low_note_db: np.ndarray
    full_db: np.ndarray
    at_1khz_db: np.ndarray

    @property
    def balance_db(self) -> np.ndarray:
        """The lowest string against mid-band, dB (negative: thin); nan where nothing arrives."""
        with np.errstate(invalid="ignore"):
            return np.where(np.isfinite(self.full_db), self.low_note_db - self.full_db, np.nan)

    @property
    def silent(self) -> np.ndarray:
        """Whether nothing arrives at all."""
        return ~np.isfinite(self.full_db)


@kept(6)
def sound(chain: SignalChain) -> BassAndLevel:
    """Levels of the chain."""
    return sound_of(chain.values, low_note_hz(chain))


def sound_of(values: Values, note_hz: float, linear: LinearChain | None = None) -> BassAndLevel:
    """Levels of resolved values, arrays of builds allowed; note_hz: the lowest string, Hz."""
    linear = LinearChain.of(values) if linear is None else linear
    grid = search_grid(values)
    grid = grid[(grid >= AUDIO[0]) & (grid <= AUDIO[1])]
    level = np.abs(linear.gain(np.concatenate([grid, [1000.0, note_hz]])))
    at_1khz, note = level[..., -2], level[..., -1]
    full = _peak(level[..., :-2]) if linear.transistor is not None else _bare_full(values, note.shape)
    full = np.where(full < NOTHING, 0.0, full)
    return BassAndLevel(*(np.asarray(decibels(np.where(full > 0, each, 0.0)))[()] for each in (note, full, at_1khz)))


def _bare_full(values: Values, shape: tuple[int, ...]) -> np.ndarray:
    return np.broadcast_to(np.asarray(bare_pickup(values).full_level, float), shape)


def _peak(level: np.ndarray) -> np.ndarray:
    """The largest of levels on a fine grid (last axis), with a parabola through it and its two neighbours."""
    at = np.clip(np.argmax(level, axis=-1), 1, level.shape[-1] - 2)[..., None]
    before, here, after = (np.take_along_axis(level, at + step, -1)[..., 0] for step in (-1, 0, 1))
    bend = before - 2 * here + after
    with np.errstate(divide="ignore", invalid="ignore"):
        top = here - np.where(bend < 0, (after - before) ** 2 / (8 * bend), 0.0)
    inside = (here >= before) & (here >= after) & (bend < 0)
    return np.maximum(level.max(axis=-1), np.where(inside, top, 0.0))
