"""What a found resistor would bring to a chain: the figures before and after, and whether the reader asked for it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.studies.choosing.best_resistor import (
    EVEN_STEP_DB,
    BestResistor,
    ResistorChoice,
    as_it_is,
    missed_steps,
)
from piezolab.studies.choosing.build_figures import whole_figures
from piezolab.studies.judging.wish import Wish, costs, margins, no_worse
from piezolab.studies.response import low_note_hz

ROOM, EVEN, SOURCE = "room", "even", "source"
_NEARER = 0.01  # of the wanted source voltage


@dataclass(frozen=True)
class Improvement:
    """before: the resistors that the chain has; brings: what becomes better of what was asked for: the requirements
    that the chain missed (see `best_resistor`), ROOM, EVEN or SOURCE; costs: the wishes that it would miss instead.
    Where it serves the wish worse on the whole it brings nothing."""

    before: BestResistor
    brings: tuple[str, ...]
    costs: tuple[str, ...]


def improvement(
    chain: SignalChain, found: BestResistor, wish: Wish | None = None, choice: ResistorChoice | None = None
) -> Improvement:
    """Of the resistors found for a chain, against those that it has."""
    wish, choice = wish or Wish(), choice or ResistorChoice()
    before = as_it_is(chain, wish, choice)
    if not found.feasible:
        return Improvement(before, (), ())
    brings = _brings(before, found, wish, choice)
    then, now = (
        margins(whole_figures(each.values, low_note_hz(each), with_noise=wish.snr_db_a is not None), wish)
        for each in (chain.but(found.changes), chain)
    )
    spoilt = costs(then, now)
    return Improvement(before, brings if no_worse(then, now) else (), spoilt)


def _brings(before: BestResistor, after: BestResistor, wish: Wish, choice: ResistorChoice) -> tuple[str, ...]:
    if not before.feasible:
        return before.missed
    if choice.source_v is not None:
        had, has = (abs(np.log(max(each.source_v, 1e-12) / choice.source_v)) for each in (before, after))
        return (SOURCE,) if had - has >= _NEARER else ()
    found = []
    had, has = (float(missed_steps(wish, np.asarray(each.room_db))) for each in (before, after))
    if has < had:
        found.append(ROOM)
    if has <= had and np.ceil(after.imbalance_db / EVEN_STEP_DB) < np.ceil(before.imbalance_db / EVEN_STEP_DB):
        found.append(EVEN)
    return tuple(found)
