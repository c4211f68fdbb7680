"""What a change that gives room is called, what it brings and what it costs, in a line."""

from __future__ import annotations

import math

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.pages.kit.wish_words import FAILS
from piezolab.quantity import show
from piezolab.sheets.what_and_why import change_words
from piezolab.studies.level_cures import FITTED, STRAIGHT, THROUGH
from piezolab.studies.more_room import Change

LEVEL_DB = 0.5  # less of a change of level is not told


def cure_words(chain: SignalChain, change: Change) -> str:
    """A change of the level on its way, to stand on a button."""
    if change.name == FITTED:
        series, shunt = (show(ohm, "ohm", 2) for ohm in change.changes["pad"])
        return f"a pad before the input: {series} in series, then {shunt} to ground"
    if change.name == STRAIGHT:
        return "no stage: the pickup straight into this input"
    if change.name == THROUGH:
        (kept,), names = change.changes["input"], catalogue.inputs()
        other = next(kind for kind in chain.input if kind != kept)
        return f"feed the {names[other].label} from a buffered through-jack of the {names[kept].label}"
    return change_words(chain, change)


def before_after(change: Change) -> str:
    """Room and level now and then, and what it costs."""
    said = f"room {_signed(change.before.headroom_db)} → {_signed(change.after.headroom_db)} dB"
    if abs(float(change.after.gain_db - change.before.gain_db)) >= LEVEL_DB:
        said += f", level {_signed(change.before.gain_db)} → {_signed(change.after.gain_db)} dB"
    if change.name == THROUGH:
        said += "; a plain through-jack or a splitter lets both load the output"
    return said + "".join(f"; but then it {FAILS[name]}" for name in change.costs)


def _signed(db: np.ndarray) -> str:
    return f"{round(float(db), 1) + 0.0:.1f}".replace("-", "−") if math.isfinite(db) else "no limit"
