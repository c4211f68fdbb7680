"""When nothing in the drawer fits: which wish stands in the way, and which one part would help most.

A part to buy is tried in every place of the wirings that come nearest, one at a time; a value that a drawer lacks for
a whole wiring counts too. A transistor is tried with the resistors that the drawer has for its operating point.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from piezolab import catalogue
from piezolab.giving_way import give_way
from piezolab.quantity import preferred_between
from piezolab.studies.choosing.bench import Bench, Pool
from piezolab.studies.choosing.drawer import DrawerTransistor
from piezolab.studies.choosing.parts_search import grid, rests_well, thinned, varied
from piezolab.studies.choosing.wirings import CAPACITORS, RANGES, Wiring, of_values, wirings
from piezolab.studies.judging.wish import standing

_SEEDS = 4  # builds of a wiring in which a part to buy is tried
_FROM_NOTHING = 40  # where the drawer lacks it for a whole wiring
_TYPES = 6  # transistor types that are tried, each in so many builds
_OF_A_TYPE = 120
_KINDS = 3  # wirings that come nearest, besides those for which one value is lacking


@dataclass(frozen=True)
class Obstacle:
    """wishes: those that the nearest builds miss; where there is only one, all others can be had together, and lack_db
    is by how much it is missed then, dB, inf where it cannot be counted (it does not work). alone: whether there is
    no build at all that meets it, whatever the others."""

    wishes: tuple[str, ...]
    lack_db: float
    alone: bool


@dataclass(frozen=True)
class ToBuy:
    """The part that would help most: a resistor in ohm, a capacitor in F or a transistor type, and where it goes
    (its setting). kind: the wiring; misses: the wishes that are still missed with it, at the worst; lack_db: by how
    much the worst of them."""

    what: str
    value: float | None
    jfet: str | None
    key: str
    kind: str
    misses: tuple[str, ...]
    lack_db: float


def obstacle(pools: Sequence[Pool]) -> Obstacle | None:
    """What stands in the way of a fitting build among those looked at; None where one fits."""
    names = list(pools[0].stood.margins)
    if not names:
        return None
    table = np.stack([np.concatenate([pool.stood.margins[name] for pool in pools]) for name in names])
    if np.any(np.all(table >= 0, axis=0)):
        return None
    single = []
    for k, name in enumerate(names):
        others = np.all(np.delete(table, k, axis=0) >= 0, axis=0)
        if others.any():
            single.append((-float(table[k][others].max()), k, name))
    if single:
        lack, k, name = min(single)
        return Obstacle((name,), lack if lack < 1e6 else np.inf, not np.any(table[k] >= 0))
    fails = np.sum(table < 0, axis=0)
    fewest = np.flatnonzero(fails == fails.min())
    best = fewest[np.argmax(table[:, fewest].min(axis=0))]
    missed = [k for k in np.argsort(table[:, best]) if table[k, best] < 0]
    lack = -float(table[missed[0], best])
    alone = bool(any(not np.any(table[k] >= 0) for k in missed))
    return Obstacle(tuple(names[k] for k in missed), lack if lack < 1e6 else np.inf, alone)


def to_buy(bench: Bench, pools: Sequence[Pool]) -> ToBuy | None:
    """The one part that would help most; None where none helps: with it as many wishes would be missed by as much."""
    alone = [pool for pool in pools if pool.wiring.transistors == 1]
    near = {pool.wiring.name: _well(bench, pool) for pool in alone}
    best: tuple[tuple, ToBuy] | None = None
    now = min((_standing(pool) for pool in pools), default=(99, 1e9))
    close = sorted(near.values(), key=_standing)[:_KINDS]
    likely = {pool.wiring.name for pool in close}
    for kind in wirings(bench.drawer):
        if kind.transistors != 1 or not (kind.name in likely or kind.name not in near):
            continue
        tried = _values(bench, kind, near.get(kind.name)) if bench.drawer.transistors else []
        for order, pool, buy in [*tried, *_types(bench, kind)]:
            key = (*_standing(pool), order, -_spare(pool))
            if key[:2] < now and (best is None or key < best[0]):
                fails = [name for name, each in pool.stood.margins.items() if not each[0] >= 0]
                worst = min((float(pool.stood.margins[name][0]) for name in fails), default=0.0)
                lack = -worst if worst > -1e6 else np.inf
                best = key, replace(buy, misses=tuple(fails), lack_db=lack)
        give_way()
    return None if best is None else best[1]


def _well(bench: Bench, pool: Pool) -> Pool:
    """The builds of a pool that rest well, where any does: what rests badly is mended by no other value."""
    well = np.flatnonzero(rests_well(bench, pool.wiring, pool.rows))
    return pool.take(well) if len(well) else pool


def _standing(pool: Pool) -> tuple[int, float]:
    """Of a pool's best."""
    fails, miss, _ = standing({name: each[0] for name, each in pool.stood.margins.items()})
    return int(fails), float(miss)


def _spare(pool: Pool) -> float:
    return -float(standing({name: each[0] for name, each in pool.stood.margins.items()})[2])


def _values(bench: Bench, kind: Wiring, near: Pool | None) -> list[tuple[int, Pool, ToBuy]]:
    """The best build with one bought value, for each place of a wiring."""
    found = []
    for k, slot in enumerate(kind.slots, 1):
        lacks = [other for other in kind.lacks if other != slot.key]
        capacitor = slot.key in CAPACITORS
        if lacks or (kind.fixed["return"] == "tap" and slot.key == "source_r"):
            continue
        low, high = RANGES[slot.key]
        low, high = max(low, 1e-9 if capacitor else 1.0), min(high, 220e-6 if capacitor else 10e6)
        bought = of_values(slot.key, preferred_between(low, high, "E3" if capacitor else "E6"))
        wiring = kind.put(bought)
        seeds = _seeds(bench, wiring, near, k)
        if not len(seeds):
            continue
        rows = np.repeat(seeds, len(bought), axis=0)
        rows[:, k] = np.tile(np.arange(len(bought)), len(seeds))
        pool = Pool(wiring, rows, bench.worst.stood(wiring, rows), len(rows), False)
        pool = pool.take(bench.order(pool)[:1])
        what, value = "capacitor" if capacitor else "resistor", bought.takes[pool.rows[0, k]][0]
        buy = ToBuy(what, value, None, slot.key, kind.name, (), 0.0)
        found.append((int(capacitor) + (slot.key == "divider_r"), pool, buy))
    return found


def _seeds(bench: Bench, wiring: Wiring, near: Pool | None, k: int) -> np.ndarray:
    """Builds that lack only what is bought for slot k: those that come nearest, or a few of all where there is none."""
    if near is not None:
        rows = near.rows[varied(near, _SEEDS)].copy()
    else:
        sizes = [len(bench.drawer.transistors), *(len(slot) for slot in wiring.slots)]
        sizes[k] = 1
        spread = [np.unique(np.linspace(0, size - 1, min(size, 3)).astype(int)) for size in sizes]
        rows = np.array(list(itertools.product(*spread)), int)
        rows = rows[np.unique(np.linspace(0, len(rows) - 1, min(len(rows), _FROM_NOTHING)).astype(int))]
    rows[:, k] = 0
    others = replace(wiring, slots=tuple(slot for n, slot in enumerate(wiring.slots, 1) if n != k))
    return rows[bench.within(others, np.delete(rows, k, axis=1))]


def _types(bench: Bench, kind: Wiring) -> list[tuple[int, Pool, ToBuy]]:
    """The best build with one bought transistor, for each of some types that are easily had."""
    if kind.lacks:
        return []
    found = []
    own = {part.jfet for part in bench.drawer.transistors if not part.measured}
    rows = catalogue.offered(catalogue.transistors())
    common = [name for name, row in rows.items() if row.availability == "common" and name not in own][:_TYPES]
    for jfet in common:
        other = Bench(bench.chain, replace(bench.drawer, transistors=(DrawerTransistor(jfet),)), bench.wish)
        some = thinned(grid(other, kind)[0], _OF_A_TYPE)
        if len(some):
            pool = Pool(kind, some, other.worst.stood(kind, some), len(some), False)
            buy = ToBuy("transistor", None, jfet, "jfet", kind.name, (), 0.0)
            found.append((3, pool.take(other.order(pool)[:1]), buy))
    return found
