"""Two measured transistors in a follower on a steady current: which stands above, which draws the current, at what ohm.

Every ordered pair of a bag with every resistor of a drawer, at the chain's supply voltage, on a fresh battery and on a
spent one: both must stay in saturation with quiet gates, at a current that the search for the best resistor allows.
The pair with the most room wins: the least V_DS that either has above its V_DS,sat. What else the stage needs is the
drawer's value nearest to the chain's.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import permutations
from typing import Any

import numpy as np

from piezolab.chain import SignalChain
from piezolab.giving_way import give_way
from piezolab.studies.bias import bias_of
from piezolab.studies.choosing.best_resistor import REST_A
from piezolab.studies.choosing.drawer import Drawer, DrawerTransistor
from piezolab.studies.choosing.wirings import offered_values
from piezolab.studies.fading_battery import battery_range

STAGE = "steady"
_MOST = 12  # parts whose pairs are tried: 132 of them
_NEAREST = ("gate_r", "divider_r", "divider_c", "out_c", "bleed_r")


@dataclass(frozen=True)
class SteadyPair:
    """upper, lower: places in the bag; ohm: the lower one's resistor; room_v: the least V_DS above V_DS,sat of either,
    down to a spent battery; current_a: at the chain's supply voltage; changes: what puts it into a chain."""

    upper: int
    lower: int
    ohm: float
    room_v: float
    current_a: float
    changes: Mapping[str, Any]


def steady_pair(chain: SignalChain, drawer: Drawer, places: Sequence[int]) -> SteadyPair | None:
    """The best pair of these parts of the drawer's bag, all measured, the first twelve; None where no pair works with
    any of its resistors. Raises ChainError on a value that no chain takes."""
    ohm = np.array(offered_values("source_r", drawer))
    if not ohm.size:
        return None
    bare = {key: value for key, value in _nearest(chain, drawer).items() if value is not None} | {"stage": STAGE}
    best: SteadyPair | None = None
    for upper, lower in permutations(list(places)[:_MOST], 2):
        give_way()
        changes = bare | drawer.transistors[upper].entered() | _below(drawer.transistors[lower])
        tried = chain.but(changes)
        supplies = np.array([tried.supply_v, *(battery_range(tried) or ())[:2]])[:, None]
        at = bias_of(tried.values.but(steady_r=ohm, supply_v=supplies))
        room = np.min([q.v_ds - q.v_ds_sat for q in (at, *at.others)], axis=0).min(axis=0)
        good = at.works.all(axis=0) & (at.i_d[0] >= REST_A[0]) & (at.i_d[0] <= REST_A[1])
        k = int(np.argmax(np.where(good, room, -np.inf)))
        if good[k] and (best is None or room[k] > best.room_v):
            current = float(at.i_d[0, k])
            whole = {**changes, "steady_r": float(ohm[k])}
            best = SteadyPair(upper, lower, float(ohm[k]), float(room[k]), current, whole)
    return best


def _below(part: DrawerTransistor) -> dict[str, Any]:
    """The link keys that put a measured part in the second place."""
    return {"second": part.jfet, "second_idss": part.idss, "second_vds": part.vds, "second_vgsoff": part.vgsoff}


def _nearest(chain: SignalChain, drawer: Drawer) -> dict[str, float | None]:
    """The drawer's values nearest to the chain's, in ratio; None, so the chain's own, where the drawer has none."""
    found: dict[str, float | None] = {}
    for key in _NEAREST:
        there = offered_values(key, drawer)
        own = chain.values[key] / 2 if key == "divider_r" else chain.values[key]
        near = min(there, key=lambda value, own=own: abs(np.log(value / max(own, 1e-12))), default=None)
        found[key] = 2 * near if near is not None and key == "divider_r" else near
    return found
