"""What cures clipping on the way from the disc to the input, each change with its figures before and after.

The changes that give more room (see `more_room`); where the input clips first, a pad of two preferred resistors that
just lets hard playing through; the pickup straight into that input where the stage is what clips; and the touchier or
heavier one of two devices (an only one: beside a line input) fed from a buffered through-jack of the other, which takes
the sound and loads the output alone. A splitter and a plain through-jack let both load it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from piezolab.chain import SignalChain
from piezolab.quantity import preferred_between
from piezolab.studies.choosing.build_figures import room_of, whole_figures
from piezolab.studies.first_touch import ROOMY, plugged_into
from piezolab.studies.judging.judgement import judgement
from piezolab.studies.judging.wish import ENOUGH_DB, STEP_DB, Wish, costs, judged_figures, margins
from piezolab.studies.kept import kept
from piezolab.studies.more_room import PAD_OHM, Change, more_room
from piezolab.studies.response import low_note_hz

FITTED, STRAIGHT, THROUGH = "fitted pad", "straight", "through"
_ABOUT = 0.2  # how far the sum of a pad's resistors may lie from PAD_OHM, as a part of it


@kept(2)
def level_cures(chain: SignalChain) -> tuple[Change, ...]:
    """Changes that give hard playing more room, the most helpful first; none without a signal, or where there is enough
    room. Names: those of `more_room`, `fitted pad`, `straight`, `through` (its
    `input` takes the sound). A fitted pad stands for one of two equal resistors."""
    edges = judgement(chain).edges
    room = float(edges.headroom_db)
    if not abs(room) < np.inf or room > ENOUGH_DB:
        return ()
    found = {change.name: change for change in more_room(chain)}
    if edges.input_first and chain.pad is None and (pad := fitting_pad(chain)) is not None:
        found.pop("pad", None)
        found[FITTED] = _change(chain, FITTED, {"pad": pad})
    takers = chain.input if len(chain.input) > 1 else (ROOMY,) if edges.input_first and chain.input != (ROOMY,) else ()
    if takers:
        alone = max((_change(chain, THROUGH, plugged_into(kind)) for kind in takers), key=lambda c: c.more_db)
        if alone.more_db >= STEP_DB:
            found[THROUGH] = alone
    if chain.topology.powered and not edges.input_first:
        straight = _change(chain, STRAIGHT, {"stage": "direct"})
        if straight.more_db >= STEP_DB:
            found[STRAIGHT] = straight
    return tuple(sorted(found.values(), key=lambda change: -change.more_db))


def fitting_pad(chain: SignalChain) -> tuple[float, float] | None:
    """The series and shunt resistor, ohm, both of E12 and together about PAD_OHM, that take the least level of those
    with which hard playing has room, ENOUGH_DB of it where any leaves so much; None where none leaves any."""
    row = np.array(preferred_between(PAD_OHM / 100, PAD_OHM * (1 + _ABOUT), "E12"))
    pairs = [(one, other) for one in row for other in row if abs(one + other - PAD_OHM) <= _ABOUT * PAD_OHM]
    pairs.sort(key=lambda pair: -pair[1] / (pair[0] + pair[1]))
    for least in (ENOUGH_DB, 0.0):
        low, high = 0, len(pairs)
        while low < high:  # more is taken from pair to pair: room grows until the stage itself clips
            middle = (low + high) // 2
            low, high = (low, middle) if _room(chain, pairs[middle]) >= least else (middle + 1, high)
        if low < len(pairs):
            return float(pairs[low][0]), float(pairs[low][1])
    return None


def _room(chain: SignalChain, pad: tuple[float, float]) -> float:
    return float(room_of(chain.but(pad=(float(pad[0]), float(pad[1]))).values))


def _change(chain: SignalChain, name: str, changes: Mapping[str, Any]) -> Change:
    """The change judged against the same wish as those of `more_room`, the level aside."""
    wish, before = Wish(gain_db=None), judged_figures(judgement(chain))
    after = whole_figures(chain.but(changes).values, low_note_hz(chain), with_noise=False)
    return Change(name, changes, before, after, costs(margins(after, wish), margins(before, wish)))
