"""What can be built from a drawer of parts: every way to wire a stage, from the values at hand, coarse to fine.

The chain gives pickup, lead, supply, cable, input and strings; the drawer gives the stage. Of each wiring the operating
points come first: what rests badly with any part that the transistor may be, at any voltage of the battery, is dropped,
since no other value can mend it, unless nothing fits. Of what is left a grid is looked at by its worst case
(`worst_case`), then the neighbours of the best, until none of them is better. Where a wiring has no more than SMALL
builds, all are looked at and the best is the best there is; elsewhere it is the best that was found.

At least 0.1 mA flows at rest where such builds of a wiring fit; where none does, less is looked at, too. The order:
how many samples of the worst case fit; fewest wishes missed; how little the worst is missed; transistors that were
measured before those that stand for their type; the plainest wiring; the room to spare; the smallest capacitors.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from piezolab.giving_way import give_way
from piezolab.studies.choosing.bench import Bench, Pool, Progress
from piezolab.studies.choosing.drawer import Drawer
from piezolab.studies.choosing.wirings import AT_REST, Slot, Wiring, wirings
from piezolab.studies.choosing.worst_case import (
    Stood,
    batch,
    voltages,
)
from piezolab.studies.judging.wish import REST_A, standing
from piezolab.studies.linear import LinearChain
from piezolab.studies.response import low_note_hz

SMALL = 600  # builds of a wiring: if there are no more, none is left out
GRID = 1_500  # builds of a wiring that are looked at before the neighbours of the best
_RESTS = 6_000  # ways to rest of a wiring that are looked at
_SEEDS, _ROUNDS, _EACH = 6, 8, 2
_NEAREST = 60  # ways to rest that are gone on with where none is good
_FAR_OFF_DB = 6.0  # a stage of two transistors whose best misses a wish by more is not followed further
_OF_LITTLE = 6  # and of one with little current at rest: whether any fits is asked, not which is best
_OF_TWO = 12  # so many times fewer builds of a wiring with two transistors: each costs so much more


def pools(bench: Bench) -> list[Pool]:
    """The builds that were looked at, wiring by wiring, each pool the best first; none for a wiring that lacks
    something, or whose parts are too few."""
    kinds = [kind for kind in wirings(bench.drawer) if bench.buildable(kind)]
    found = []
    for k, kind in enumerate(kinds):
        pool = looked_at(bench, kind, lambda part, k=k: bench.told((k + part) / len(kinds)))
        if pool is not None:
            found.append(pool)
    return found


def looked_at(bench: Bench, wiring: Wiring, told: Progress = lambda part: None) -> Pool | None:
    """The builds of one wiring, coarse to fine, the best first; None where there are not parts enough for one."""
    if not wiring.powered:
        rows = np.zeros((1, 1), int)
        return Pool(wiring, rows, bench.worst.stood(wiring, rows), 1, True)
    pool = _some_looked_at(bench, wiring, told)
    if pool is not None and pool.stood.fit[0] == 1:
        return pool
    other = _some_looked_at(bench, wiring, told, little=True)
    if pool is None or other is None:
        return other if pool is None else pool
    tried = other.tried + (0 if other.whole else pool.tried)
    best = pool if _best(pool) <= _best(other) else other
    return replace(best, tried=tried, whole=other.whole)


def _best(pool: Pool) -> tuple[float, ...]:
    """What the first builds of two pools of a wiring are compared by."""
    fails, miss, _ = standing({name: each[0] for name, each in pool.stood.margins.items()})
    return -float(pool.stood.fit[0]), float(fails), float(miss)


def _some_looked_at(bench: Bench, wiring: Wiring, told: Progress, little: bool = False) -> Pool | None:
    """Those with enough current at rest; or, little: those with less, and all where they are no more than SMALL."""
    rows, whole, good = grid(bench, wiring, little)
    if not len(rows) or (wiring.transistors > 1 and not good):
        return None
    pool = Pool(wiring, rows, bench.worst.stood(wiring, rows), len(rows), whole)
    pool = pool.take(bench.order(pool))
    rounds = _ROUNDS // 2 if wiring.transistors > 1 else _ROUNDS
    if wiring.transistors > 1 and (_best(pool)[1] > 1 or _best(pool)[2] > _FAR_OFF_DB):
        rounds = 0  # of these only what fits is ever named
    for turn in range(0 if whole or little else rounds):
        told((turn + 1) / (rounds + 1))
        near = _neighbours(bench, pool)
        near = near[rests_well(bench, wiring, near, little)] if good and len(near) else near
        if not len(near):
            break
        both = Stood.together([pool.stood, bench.worst.stood(wiring, near)])
        grown = Pool(wiring, np.concatenate([pool.rows, near]), both, pool.tried + len(near), False)
        order = bench.order(grown)
        better, pool = order[0] >= len(pool.rows), grown.take(order)
        if not better:
            break
    return pool


def grid(bench: Bench, wiring: Wiring, little: bool = False) -> tuple[np.ndarray, bool, bool]:
    """Rows to begin with, whether they are all that may be good, and whether they rest well. little: those that do so
    with less than enough current, or, where there are few, all rows."""
    sizes = [len(bench.casts(wiring)), *(len(slot) for slot in wiring.slots)]
    fewer = (_OF_TWO if wiring.transistors > 1 else 1) * (_OF_LITTLE if little else 1)
    rest = [0, *(k for k, slot in enumerate(wiring.slots, 1) if slot.key in AT_REST)]
    signal = [k for k in range(1, len(sizes)) if k not in rest]
    if np.prod([float(size) for size in sizes]) <= SMALL:
        rows = np.array(list(itertools.product(*map(range, sizes))), int).reshape(-1, len(sizes))
        rows = rows[bench.within(wiring, rows)]
        if little and wiring.transistors < 2:
            return rows, True, False
        rows, good = _able(bench, wiring, rows, little)
        return rows, True, good
    resting = thinned(list(itertools.product(*(range(sizes[k]) for k in rest))), _RESTS // fewer)
    rows = np.zeros((len(resting), len(sizes)), int)
    rows[:, rest] = resting
    rows, good = _able(bench, wiring, rows, little)
    if little and not good:
        return rows[:0], False, False
    for likely in (True, False):
        options = np.array(_signal_options(bench, wiring, signal, likely), int)
        kept = thinned(rows, max(1, GRID // fewer // len(options)))
        many = np.repeat(kept, len(options), axis=0)
        many[:, signal] = np.tile(options, (len(kept), 1))
        many = many[bench.within(wiring, many)]
        if len(many):
            break
    return many, False, good


def _able(bench: Bench, wiring: Wiring, rows: np.ndarray, little: bool) -> tuple[np.ndarray, bool]:
    """The rows that rest well, the most room first, and True; those nearest to it, and False, where none does. little:
    with less than enough current."""
    own, enough = _rest_room(bench, wiring, rows)
    order = np.argsort(-own, kind="stable")
    good = order[(own[order] >= 0) & (enough[order] != little)]
    if len(good) or not len(rows):
        return rows[good], True
    own = np.where(enough, own, -1e3)
    order = np.argsort(-own, kind="stable")
    return rows[order[: max(_NEAREST, int(np.count_nonzero(own == own[order[0]])))]], False


def rests_well(bench: Bench, wiring: Wiring, rows: np.ndarray, little: bool = False) -> np.ndarray:
    """Which rows rest well; little: whatever flows."""
    room, enough = _rest_room(bench, wiring, rows)
    return (room >= 0) & (enough | little)


def _rest_room(bench: Bench, wiring: Wiring, rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What is left to the triode region, V, with any part that the transistor may be, from a fresh battery to a spent
    one, far below 0 where a gate conducts; and whether enough current flows. Each (N,)."""
    there = bench.chain.but(wiring.fixed)
    rest = np.array([0, *(k for k, slot in enumerate(wiring.slots, 1) if slot.key in AT_REST)])
    if not len(rows):
        return np.empty(0), np.empty(0, bool)
    alike, back = np.unique(rows[:, rest], axis=0, return_inverse=True)
    probe = np.zeros((len(alike), rows.shape[1]), int)
    probe[:, rest] = alike
    room, enough = np.full(len(alike), np.inf), np.ones(len(alike), bool)
    worst = bench.members(wiring)
    for k in range(max(len(parts) for parts in worst)):
        members = [parts[min(k, len(parts) - 1)] for parts in worst]
        values = batch(there.values, members, wiring, probe)
        for supply_v in voltages(there):
            linear = LinearChain.of(values.but(supply_v=supply_v))
            each = [linear.point.jfets[name] for name in linear.assembly.transistors]
            least = np.min([q.i_d for q in each], axis=0)
            own = np.min([q.v_ds - q.v_ds_sat for q in each], axis=0)
            enough &= least >= REST_A[0]
            room = np.minimum(room, np.where(linear.gate_conducts, -1e3, own))
            give_way()
    return room[np.ravel(back)], enough[np.ravel(back)]


def thinned(rows: Sequence, most: int) -> np.ndarray:
    """So many of the rows, evenly over their order."""
    table = np.asarray(rows, int)
    return table if len(table) <= most else table[np.unique(np.linspace(0, len(table) - 1, most).astype(int))]


def _signal_options(bench: Bench, wiring: Wiring, signal: Sequence[int], likely: bool) -> list[tuple[int, ...]]:
    """Which options go together in the slots that do not set the operating point: all, or the likeliest. Large gate
    resistors lose least bass; a bleed resistor is best near 100 kohm or 1 Mohm; an output capacitor is the best one
    that is just large enough with its bleed resistor and the input, or a little larger."""
    slots: list[Slot] = [wiring.slots[k - 1] for k in signal]
    choices = {slot.key: list(range(len(slot))) for slot in slots}
    if not likely:
        return list(itertools.product(*choices.values()))
    bleed, out = (wiring.slot(key) for key in ("bleed_r", "out_c"))
    ohms, farads = bleed.settings["bleed_r"], out.settings["out_c"]
    choices["gate_r"] = choices["gate_r"][-3:]
    choices["bleed_r"] = sorted({int(np.argmin(np.abs(np.log(ohms / ohm)))) for ohm in (100e3, 1e6)})
    for key, count in (("bypass_c", 2), ("divider_c", 1)):
        if key in choices:
            choices[key] = choices[key][-count:]
    input_r, loss_db = float(bench.chain.values.input_r), bench.wish.low_note_db or 1.0
    found = []
    for row in itertools.product(*(choices[key] for key in choices if key != "out_c")):
        own = dict(zip((key for key in choices if key != "out_c"), row, strict=True))
        ohm = 1 / (1 / ohms[own["bleed_r"]] + 1 / input_r)
        needs = 1 / (2 * np.pi * low_note_hz(bench.chain) * ohm * np.sqrt(10 ** (loss_db / 10) - 1))
        enough = {min(int(np.searchsorted(farads, times * needs)), len(farads) - 1) for times in (1.0, 2.0, 6.0)}
        found += [tuple({**own, "out_c": k}[slot.key] for slot in slots) for k in sorted(enough)]
    return found


def _neighbours(bench: Bench, pool: Pool) -> np.ndarray:
    """Rows that differ from one of the best in one slot by a step or two, or in the transistor, and are new."""
    sizes = [len(bench.casts(pool.wiring)), *(len(slot) for slot in pool.wiring.slots)]
    seeds = pool.rows[varied(pool, _SEEDS)]
    found = []
    for k, size in enumerate(sizes):
        steps = range(-size + 1, size) if k == 0 and size <= 12 else (-2, -1, 1, 2)
        for step in steps:
            moved = seeds.copy()
            moved[:, k] += step
            found.append(moved[(moved[:, k] >= 0) & (moved[:, k] < size)])
    seen = {tuple(row) for row in pool.rows.tolist()}
    new = [row for row in dict.fromkeys(map(tuple, np.concatenate(found).tolist())) if row not in seen]
    rows = np.array(new, int).reshape(-1, len(sizes))
    return rows[bench.within(pool.wiring, rows)] if len(rows) else rows


def rests(pool: Pool, k: int) -> tuple[int, ...]:
    """What sets a build's operating point: builds alike in it rest alike."""
    row = pool.rows[k]
    return int(row[0]), *(int(row[n]) for n, slot in enumerate(pool.wiring.slots, 1) if slot.key in AT_REST)


def varied(pool: Pool, most: int, each: int = _EACH) -> np.ndarray:
    """The first builds of a pool, of those that rest alike no more than `each`."""
    count: dict[tuple[int, ...], int] = {}
    chosen = []
    for k in range(len(pool.rows)):
        group = rests(pool, k)
        count[group] = count.get(group, 0) + 1
        if count[group] <= each:
            chosen.append(k)
        if len(chosen) == most:
            break
    return np.array(chosen, int)


def lacking(drawer: Drawer) -> Mapping[str, tuple[str, ...]]:
    """Wirings of up to one transistor for which a drawer has nothing in some place: their settings, `jfet` the
    transistor."""
    found = {}
    for kind in (kind for kind in wirings(drawer) if kind.transistors < 2):
        none = (*kind.lacks, *(("jfet",) if kind.powered and not drawer.transistors else ()))
        if none:
            found[kind.name] = none
    return found
