"""A bag of measured transistors: which one to solder into this stage, and with which resistor."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.studies.choosing.best_resistor import BestResistor, ResistorChoice, best_resistor, missed_steps
from piezolab.studies.choosing.drawer import DrawerTransistor
from piezolab.studies.in_hand.two_readings import TransistorInHand
from piezolab.studies.judging.wish import Wish


@dataclass(frozen=True)
class Ranked:
    """One transistor of the bag. place: in the bag, from 0; best: its preferred resistor; chain: with both in place."""

    place: int
    part: DrawerTransistor
    best: BestResistor
    chain: SignalChain


def ranked(
    chain: SignalChain,
    parts: Sequence[DrawerTransistor],
    wish: Wish | None = None,
    choice: ResistorChoice | None = None,
) -> tuple[Ranked, ...]:
    """The bag, the best first: what can be made to work before what cannot, then by the room that is missed, then by
    headroom; with a wanted source voltage by how near it comes. Empty with no stage."""
    if not chain.topology.powered:
        return ()
    wish, choice = wish or Wish(), choice or ResistorChoice()
    rows = []
    for place, part in enumerate(parts):
        own = chain.but(part.entered())
        best = best_resistor(own, wish, choice)
        rows.append(Ranked(place, part, best, own.but(best.changes)))

    def worth(row: Ranked) -> tuple[bool, float, float]:
        best = row.best
        if choice.source_v is None:
            return not best.feasible, float(missed_steps(wish, np.asarray(best.room_db))), -best.headroom_v
        return not best.feasible, abs(best.source_v / choice.source_v - 1), 0.0

    return tuple(sorted(rows, key=worth))


def outside_the_sheet(jfet: str, found: TransistorInHand) -> tuple[str, ...]:
    """Which of `idss` and `vgsoff` cannot be a part of that type, as far as the readings tell: the whole range of what
    it may be lies outside the sheet's limits. Raises KeyError on an unknown type."""
    kind = catalogue.transistors()[jfet]
    carried = (1 + found.lambda_ * kind.idss_vds) / (1 + found.lambda_ * found.vds)
    low, high = (end * carried for end in found.idss_range)
    outside = []
    if high < kind.idss_min or low > kind.idss_max:
        outside.append("idss")
    least, most = -found.vgsoff_range[1], -found.vgsoff_range[0]
    if most < kind.vgsoff_intercept_min or least > kind.vgsoff_intercept_max:
        outside.append("vgsoff")
    return tuple(outside)
