"""What can be built from a drawer of parts: every sensible stage from the values at hand, ranked by the maker's wishes.

Candidates are laid out stage by stage as batches. What the operating point rules out is dropped first, so that
thousands of combinations cost little; the figures of those that may be named are then worked out as the judgement of
one chain has them. The chain gives pickup, lead, supply, cable, input and strings; the drawer gives the stage. Values
are taken to be there as often as needed.

At least 0.1 mA flows at rest, as in `best_resistor`, where the drawer has such builds of that kind. The order: fewest
wishes missed, what does not work last; how little the worst is missed; no stage, then transistors that were measured,
then those that stand for their type; the plainest stage; the room to spare. Of builds that rest alike the best one
counts, and there the smallest capacitors come before the room to spare.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.values import Values
from piezolab.studies.choosing.build_figures import build_figures, whole_figures
from piezolab.studies.choosing.drawer import Drawer, Wiring, buildable, signal_parts, wirings
from piezolab.studies.fading_battery import battery_range
from piezolab.studies.judging.wish import REST_A, BuildFigures, Wish, benefits, margins, missed, standing
from piezolab.studies.linear import LinearChain
from piezolab.studies.response import low_note_hz

LIMIT = 12_000  # builds of one kind of stage that are looked at
SMALL = 1_000  # of one kind: if there are no more, no value of the drawer is left out
ALL = 200  # of one kind: if there are no more, all are worked out in full
_GROUPS, _EACH = 12, 2  # else so many ways to rest of a kind, and builds of each
_CAPACITORS = ("out_c", "bypass_c", "divider_c")


@dataclass(frozen=True)
class Build:
    """One thing to build. changes: for `chain.but`; figures: by name, numbers as in BuildFigures; margins_db: by wish;
    fails: the wishes that it misses, the worst first; brings: what of the wish it does better than the chain as it is,
    and `drawer` where that cannot be built from the drawer; transistor: its place there, None with no stage; frontier:
    no other build found is better in one figure without being worse in another."""

    kind: str
    changes: Mapping[str, Any]
    figures: Mapping[str, float]
    margins_db: Mapping[str, float]
    fails: tuple[str, ...]
    brings: tuple[str, ...]
    transistor: int | None
    frontier: bool


@dataclass(frozen=True)
class Search:
    """builds: the best first; before: the chain as it is, `kind` empty; tried: how many were looked at; never: wishes
    that no build meets even alone; missing: kinds of stage for which the drawer lacks parts, with what is lacking."""

    builds: tuple[Build, ...]
    before: Build
    tried: int
    never: tuple[str, ...]
    missing: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True)
class _Looked:
    """Builds of one kind: each with its place in `builds`, and their figures, (N,). tried: how many were looked at."""

    kind: Wiring
    builds: list[dict[str, Any]]
    figures: BuildFigures
    tried: int


def search(chain: SignalChain, drawer: Drawer, wish: Wish | None = None, best: int = 12) -> Search:
    """The best builds. Raises ChainError on a type or a value that no chain takes."""
    wish = wish or Wish()
    missing: dict[str, tuple[str, ...]] = {}
    found: list[_Looked] = []
    possible: set[str] = set()
    for kind in wirings(drawer):
        lacking = [key for key, options in kind.choices.items() if not options]
        if kind.fixed["stage"] != "direct" and not drawer.transistors:
            lacking.append("jfet")
        if lacking:
            missing[kind.name] = tuple(lacking)
            continue
        looked = _looked_at(chain, drawer, kind, wish)
        for each in (looked, (whole := _in_full(chain, drawer, looked, wish))):
            possible |= {name for name, margin in margins(each.figures, wish).items() if np.any(margin >= 0)}
        found.append(whole)
    rows = [(each.kind, build) for each in found for build in each.builds]
    figures = BuildFigures(
        *(np.concatenate([getattr(each.figures, name) for each in found]) for name in BuildFigures.__dataclass_fields__)
    )
    each = margins(figures, wish)
    order = _ranked(each, rows, drawer, [kind.name for kind in wirings(drawer)])
    never = tuple(name for name in each if name not in possible)
    chosen = _varied(order, rows, best)
    frontier = _frontier(figures, order[: max(best, 400)])
    before = _before(chain, wish)
    at_hand = buildable(chain, drawer)
    told = tuple(
        _told(rows[k], figures.take(np.array(k)), each, k, k in frontier, before, at_hand) for k in chosen
    )
    return Search(told, before, sum(looked.tried for looked in found), never, missing)


def _looked_at(chain: SignalChain, drawer: Drawer, kind: Wiring, wish: Wish) -> _Looked:
    """Figures of every combination of one kind that its operating point allows (of the likeliest, if none does)."""
    note, with_noise = low_note_hz(chain), wish.snr_db_a is not None
    if kind.fixed["stage"] == "direct":
        direct = chain.but(stage="direct")
        return _Looked(kind, [{}], _at_least_1d(build_figures(direct.values, note, with_noise=with_noise)), 1)
    base = chain.but(kind.fixed)
    rest_keys = [key for key in ("source_r", "drain_r", "divider_r") if key in kind.choices]
    signal_keys = [key for key in kind.choices if key not in rest_keys]
    parts = [base.but(transistor.entered()).values for transistor in drawer.transistors]
    many = len(parts) * np.prod([len(options) for options in kind.choices.values()]) > SMALL
    dividers = kind.choices["divider_r"][-2 if many else 0 :] if "divider_r" in kind.choices else ()
    choices = {**kind.choices, "divider_r": dividers}
    at_rest = list(itertools.product(range(len(parts)), *(choices[key] for key in rest_keys)))
    signal = signal_parts(chain, kind, signal_keys, wish, bool(many))
    kept, able = _able(chain, base, parts, rest_keys, at_rest, max(1, LIMIT // len(signal)))
    combined = [(*at_rest[k], *values) for k in kept for values in signal]
    keys = (*rest_keys, *signal_keys)
    builds = [{"transistor": row[0], **dict(zip(keys, row[1:], strict=True))} for row in combined]
    values = _batch(base.values, parts, keys, combined)
    return _Looked(kind, builds, build_figures(values, note, with_noise=with_noise, works=able or None), len(builds))


def _in_full(chain: SignalChain, drawer: Drawer, looked: _Looked, wish: Wish) -> _Looked:
    """The builds of one kind that may be named, with their figures as the judgement has them."""
    note, with_noise = low_note_hz(chain), wish.snr_db_a is not None
    if not looked.kind.choices:
        direct = chain.but(stage="direct")
        return _Looked(looked.kind, [{}], _at_least_1d(whole_figures(direct.values, note, with_noise=with_noise)), 1)
    rows = [(looked.kind, build) for build in looked.builds]
    likely: dict[tuple, list[int]] = {}
    for k in _ranked(margins(looked.figures, wish), rows, drawer, [looked.kind.name]):
        group = likely.setdefault(_rests(rows[k]), [])
        if len(rows) <= ALL or (len(group) < _EACH and (group or len(likely) <= _GROUPS)):
            group.append(int(k))
    builds = [looked.builds[k] for group in likely.values() for k in group]
    base = chain.but(looked.kind.fixed)
    parts = [base.but(transistor.entered()).values for transistor in drawer.transistors]
    keys = [key for key in builds[0] if key != "transistor"]
    values = _batch(base.values, parts, keys, [tuple(build.values()) for build in builds])
    return _Looked(looked.kind, builds, whole_figures(values, note, with_noise=with_noise), looked.tried)


def _able(
    chain: SignalChain, base: SignalChain, parts: list[Values], keys: list[str], rows: list[tuple], most: int
) -> tuple[np.ndarray, bool]:
    """Which combinations stay in saturation with a quiet gate and enough current from fresh to spent, and True; those
    nearest to it, and False, if none does."""
    values = _batch(base.values, parts, keys, rows)
    found = battery_range(base)
    supplies = [chain.supply_v, *(found[:2] if found else ())]
    room = np.full(len(rows), np.inf)
    for supply_v in supplies:
        linear = LinearChain.of(values.but(supply_v=supply_v))
        q = linear.transistor
        spare = np.where(linear.gate_conducts | (q.i_d < REST_A[0]), -np.inf, q.v_ds - q.v_ds_sat)
        room = np.minimum(room, spare)
    able = np.flatnonzero(room >= 0)
    if not able.size:
        return np.argsort(-room, kind="stable")[: min(most, ALL)], False
    if able.size > most:  # thin evenly over the room that is left, rather than take one corner of the drawer
        able = able[np.argsort(-room[able], kind="stable")]
        able = able[np.unique(np.linspace(0, able.size - 1, most).astype(int))]
    return able, True


_TRANSISTOR_KEYS = (
    "jfet_idss", "jfet_vds", "jfet_vgsoff", "jfet_lambda", "jfet_ciss", "jfet_crss", "jfet_ig", "jfet_corner",
)  # fmt: skip


def _batch(base: Values, parts: list[Values], keys: Sequence[str], rows: list[tuple]) -> Values:
    """Rows of (transistor, value, value, ...) as one batch of builds."""
    table = np.array(rows, float)
    which = table[:, 0].astype(int)
    changes: dict[str, Any] = {key: table[:, 1 + n] for n, key in enumerate(keys)}
    for key in _TRANSISTOR_KEYS:
        changes[key] = np.array([part[key] for part in parts])[which]
    return base.but(**changes)


def _at_least_1d(figures: BuildFigures) -> BuildFigures:
    return BuildFigures(**{key: np.atleast_1d(value) for key, value in vars(figures).items()})


def _ranked(
    each: Mapping[str, np.ndarray], rows: list[tuple[Wiring, dict[str, Any]]], drawer: Drawer, kinds: list[str]
) -> np.ndarray:
    """Best first, in the order of the module. Of builds that rest alike the best one sets the place of all."""
    size = len(rows)
    fails, miss, spare = standing(each, (size,))
    plainness = np.array([kinds.index(kind.name) for kind, _ in rows])
    parts = np.array([kind.name != "direct" and drawer.transistors[build["transistor"]].idss is None
                      for kind, build in rows])  # fmt: skip
    farad = np.array([sum(build.get(key, 0.0) for key in _CAPACITORS) for _, build in rows])
    groups = {}
    group = np.array([groups.setdefault(_rests(row), len(groups)) for row in rows])
    inside = np.lexsort((np.arange(size), spare, farad, miss, fails, group))
    first = inside[np.unique(group[inside], return_index=True)[1]]  # of each group its best
    places = np.lexsort((first, *(key[first] for key in (spare, plainness, parts, miss, fails))))
    place = np.empty(len(first), int)
    place[places] = np.arange(len(first))
    return inside[np.argsort(place[group[inside]], kind="stable")]


def _rests(row: tuple[Wiring, dict[str, Any]]) -> tuple[Any, ...]:
    """What sets a build's operating point: builds alike in it rest alike."""
    kind, build = row
    return kind.name, *(build.get(key) for key in ("transistor", "source_r", "drain_r"))


def _varied(order: np.ndarray, rows: list[tuple[Wiring, dict[str, Any]]], best: int) -> list[int]:
    """The best, of builds that rest alike only the first, and no kind in more than half of the places."""
    chosen: list[int] = []
    seen: set[tuple[Any, ...]] = set()
    count: dict[str, int] = {}
    for k in order:
        name = rows[k][0].name
        if _rests(rows[k]) not in seen and count.get(name, 0) < (best + 1) // 2:
            chosen.append(int(k))
            seen.add(_rests(rows[k]))
            count[name] = count.get(name, 0) + 1
        if len(chosen) == best:
            break
    return chosen


def _frontier(figures: BuildFigures, among: np.ndarray) -> set[int]:
    """Builds that no other of them beats in some figure without losing in another."""
    columns = [figures.low_note_db, figures.headroom_db, figures.gain_db, -figures.step_v, -figures.settle_s,
               -figures.dc_v, -figures.current_a, figures.works]  # fmt: skip
    if np.isfinite(figures.snr_db_a).all():
        columns.append(figures.snr_db_a)
    table = np.round(np.stack([np.asarray(column, float)[among] for column in columns], axis=-1), 6)
    at_least = np.all(table[:, None] >= table[None], axis=-1)
    better = at_least & np.any(table[:, None] > table[None], axis=-1)
    return {int(k) for k, beaten in zip(among, better.any(axis=0), strict=True) if not beaten}


def _before(chain: SignalChain, wish: Wish) -> Build:
    figures = whole_figures(chain.values, low_note_hz(chain), with_noise=wish.snr_db_a is not None)
    own = {name: float(margin) for name, margin in margins(figures, wish).items()}
    numbers = {key: value.item() for key, value in vars(figures).items()}
    return Build("", {}, numbers, own, missed(figures, wish), (), None, False)


def _told(
    row: tuple[Wiring, dict[str, Any]],
    figures: BuildFigures,
    each: Mapping[str, np.ndarray],
    k: int,
    frontier: bool,
    before: Build,
    at_hand: bool,
) -> Build:
    kind, build = row
    own = {name: float(margin[k]) for name, margin in each.items()}
    return Build(
        kind.name,
        {**kind.fixed, **{key: value for key, value in build.items() if key != "transistor"}},
        {key: value.item() for key, value in vars(figures).items()},
        own,
        tuple(sorted((name for name, margin in own.items() if not margin >= 0), key=own.__getitem__)),
        (*benefits(own, before.margins_db), *(() if at_hand else ("drawer",))),
        build.get("transistor"),
        frontier,
    )


def as_chain(chain: SignalChain, drawer: Drawer, build: Build) -> SignalChain:
    """The chain with a build in it. Raises ChainError."""
    entered = {} if build.transistor is None else drawer.transistors[build.transistor].entered()
    return chain.but(build.changes).but(entered)

