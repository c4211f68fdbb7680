"""From thousands of builds to a few that are truly different, each with its reason, and the front of what is traded.

Those of the search that may be named are worked out as the judgement of one chain has them, and drawn afresh a thousand
times. A build is offered where all but 25 in 1000 of those fit all wishes, beyond doubt. One is the first by the
search's order, and where that has no stage, another the first that has one; each other is the best in one respect, and
is named only where it is better in that by what one hears or minds (`_MORE`, our own, common practice, no source) than
every build named before it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from piezolab.chain import SignalChain
from piezolab.giving_way import give_way
from piezolab.studies.choosing.build_figures import whole_figures
from piezolab.studies.choosing.drawer import Drawer, buildable
from piezolab.studies.choosing.further_figures import further
from piezolab.studies.choosing.parts_search import Bench, Pool, Progress, lacking, pools, varied
from piezolab.studies.choosing.to_buy import Obstacle, ToBuy, obstacle, to_buy
from piezolab.studies.choosing.worst_case import FittingShare, batch, share_that_fits
from piezolab.studies.judging.wish import BuildFigures, Wish, benefits, margins, missed
from piezolab.studies.response import low_note_hz

FIRST, STAGED, FEWEST, QUIETEST, ROOM, LEVEL, BATTERY, BASS = (
    "first", "with a stage", "fewest parts", "quietest", "most room", "most level", "least current", "most bass",
)  # fmt: skip
#: Reason -> figure, whether more of it is better, and by how much one build must be better to be named.
_MORE = {
    FEWEST: ("parts", -1, 1.0), ROOM: ("headroom_db", 1, 3.0), LEVEL: ("gain_db", 1, 3.0),
    QUIETEST: ("snr_db_a", 1, 3.0), BATTERY: ("current_a", -1, 0.0), BASS: ("low_note_db", 1, 0.5),
}  # fmt: skip
_LESS_CURRENT = 0.67  # times the current of every other
_TRIES = 4  # builds drawn afresh for one reason, until one is sure
SHORT = 8  # builds of a wiring by the search's order, and half as many by each figure
FRONT = 24  # points of the front


@dataclass(frozen=True)
class Taken:
    """What of the drawer goes into one place. key: its setting; pieces: ohm or F; joined: `series` or `parallel` where
    two stand for one."""

    key: str
    pieces: tuple[float, ...]
    joined: str


@dataclass(frozen=True)
class Build:
    """One thing to build. changes: for `chain.but`; takes: of the drawer; transistor: its place there, None with no
    stage; figures: by name, numbers as in BuildFigures, with its typical or measured part; margins_db: those by wish;
    fails: the wishes that it misses so, the worst first; worst_db, misses: the same at its worst (`worst_case`);
    fit: the share of fresh builds that fits, None where it was not drawn; reasons: why it is named; brings: what of
    the wish it does better than the chain as it is, and `drawer` where that cannot be built from the drawer."""

    kind: str
    changes: Mapping[str, Any]
    takes: tuple[Taken, ...]
    transistor: int | None
    figures: Mapping[str, float]
    margins_db: Mapping[str, float]
    fails: tuple[str, ...]
    worst_db: Mapping[str, float]
    misses: tuple[str, ...]
    fit: FittingShare | None = None
    reasons: tuple[str, ...] = ()
    brings: tuple[str, ...] = ()

    @property
    def parts(self) -> int:
        """How many pieces are soldered in, the transistor included."""
        return sum(len(taken.pieces) for taken in self.takes) + (self.transistor is not None)


@dataclass(frozen=True)
class Search:
    """builds: what is offered, the first choice first; empty where nothing fits. nearest: then the build that comes
    nearest; obstacle: what stands in the way; buy: the one part that would help most, None where none would. front:
    builds that no other one looked at beats in one respect without losing in another, by level; they fit all wishes at
    their worst where any does. before: the chain as it is, `kind` empty; tried: how many were looked at; whole: whether
    those were all that there are; missing: wirings for which the drawer lacks parts, with what is lacking."""

    builds: tuple[Build, ...]
    nearest: Build | None
    obstacle: Obstacle | None
    buy: ToBuy | None
    front: tuple[Build, ...]
    before: Build
    tried: int
    whole: bool
    missing: Mapping[str, tuple[str, ...]]


def search(
    chain: SignalChain, drawer: Drawer, wish: Wish | None = None, told: Progress = lambda part: None
) -> Search:
    """The builds to choose from; told: is called with the part that is done, 0 to 1, now and then. Raises ChainError
    on a type or a value that no chain takes."""
    wish = wish or Wish()
    bench = Bench(chain, drawer, wish, lambda part: told(0.7 * part))
    found = pools(bench)
    before = as_it_stands(chain, wish)
    at_hand = buildable(chain, drawer)
    named = []
    for pool in found:
        named += named_builds(bench, pool.take(_short(pool)), before, at_hand)
        give_way()
    ordered = _ordered(bench, named)
    told(0.8)
    builds = _offered(bench, ordered)
    told(0.9)
    nearest = stands = bought = None
    if not builds and ordered:
        nearest = replace(ordered[0], fit=_drawn(bench, ordered[0]))
        stands = obstacle(found)
        bought = to_buy(bench, found)
    told(1.0)
    tried, whole = sum(pool.tried for pool in found), all(pool.whole for pool in found)
    return Search(builds, nearest, stands, bought, _front(ordered), before, tried, whole, lacking(drawer))


def as_chain(chain: SignalChain, drawer: Drawer, build: Build) -> SignalChain:
    """The chain with a build in it. Raises ChainError."""
    entered = {} if build.transistor is None else drawer.transistors[build.transistor].entered()
    return chain.but(build.changes).but(entered)


# -- what may be named ----------------------------------------------------------------------------------------------
def named_builds(bench: Bench, pool: Pool, before: Build, at_hand: bool) -> list[Build]:
    """The builds of a pool with their figures as the judgement has them. before: what they are compared with; at_hand:
    whether that can be built from the drawer."""
    kind, count = pool.wiring, len(pool.rows)
    base, note = bench.chain.but(kind.fixed), low_note_hz(bench.chain)
    values = base.values
    if kind.powered:
        typical = [base.but(part.entered()).values for part in bench.drawer.transistors]
        values = batch(values, [each.as_dict() for each in typical], kind, pool.rows)
    found = whole_figures(values, note)
    figures = BuildFigures(*(np.broadcast_to(np.atleast_1d(each), count) for each in vars(found).values()))
    figures = replace(figures, **further(base, values, bench.wish, (count,), (kind, pool.rows)))
    each = margins(figures, bench.wish)
    return [_told(bench, pool, k, figures.take(np.array(k)), each, before, at_hand) for k in range(count)]


def _short(pool: Pool) -> np.ndarray:
    """The first by the search's order, and those that are best in one figure: of those that fit, where any does."""
    some = np.flatnonzero(pool.stood.fit == pool.stood.fit.max())
    found = list(varied(pool, SHORT))
    for name, sign in (("headroom_db", -1), ("gain_db", -1), ("low_note_db", -1), ("current_a", 1)):
        best = some[np.argsort(sign * pool.stood.least[name][some], kind="stable")]
        found += list(best[varied(pool.take(best), SHORT // 2, 1)])
    gain = np.argsort(pool.stood.least["gain_db"][some], kind="stable")
    room = np.maximum.accumulate(pool.stood.least["headroom_db"][some][gain][::-1])[::-1]
    edge = some[gain[pool.stood.least["headroom_db"][some][gain] >= room]]  # none has more of both
    found += list(edge[np.unique(np.linspace(0, len(edge) - 1, min(len(edge), SHORT)).astype(int))])
    return np.array(sorted(set(found)), int)


def _told(
    bench: Bench,
    pool: Pool,
    k: int,
    figures: BuildFigures,
    each: Mapping[str, np.ndarray],
    before: Build,
    at_hand: bool,
) -> Build:
    kind, row = pool.wiring, pool.rows[k]
    changes, takes = dict(kind.fixed), []
    for n, slot in enumerate(kind.slots, 1):
        changes |= {key: float(options[row[n]]) for key, options in slot.settings.items()}
        takes.append(Taken(slot.key, slot.takes[row[n]], slot.joined[row[n]]))
    own = {name: float(np.broadcast_to(margin, len(pool.rows))[k]) for name, margin in each.items()}
    worst = {name: float(margin[k]) for name, margin in pool.stood.margins.items()}
    return Build(
        kind.name, changes, tuple(takes), int(row[0]) if kind.powered else None,
        {key: value.item() for key, value in vars(figures).items()}, own, _failing(own), worst, _failing(worst),
        brings=(*benefits(own, before.margins_db), *(() if at_hand else ("drawer",))),
    )  # fmt: skip


def _failing(each: Mapping[str, float]) -> tuple[str, ...]:
    return tuple(sorted((name for name, margin in each.items() if not margin >= 0), key=each.__getitem__))


def as_it_stands(chain: SignalChain, wish: Wish) -> Build:
    """The chain's own stage as a build without a wiring, to compare with."""
    figures = whole_figures(chain.values, low_note_hz(chain))
    figures = replace(figures, **further(chain, chain.values, wish, ()))
    own = {name: float(margin) for name, margin in margins(figures, wish).items()}
    numbers = {key: value.item() for key, value in vars(figures).items()}
    return Build("", {}, (), None, numbers, own, missed(figures, wish), {}, ())


# -- which of them are offered ----------------------------------------------------------------------------------------
def _ordered(bench: Bench, named: Sequence[Build]) -> list[Build]:
    """By the search's order, the plainest wiring before the room to spare; named builds come wiring by wiring."""
    plain = {kind: n for n, kind in enumerate(dict.fromkeys(build.kind for build in named))}

    def key(build: Build) -> tuple[Any, ...]:
        worst = min(build.worst_db.values(), default=0.0)
        parts = bench.drawer.transistors
        of_type = build.transistor is not None and not parts[build.transistor].measured
        return len(build.misses), round(-2 * min(max(worst, -200.0), 0.0)), of_type, plain[build.kind]

    return sorted(named, key=key)  # stable: within a wiring they are in order


def _offered(bench: Bench, ordered: Sequence[Build]) -> tuple[Build, ...]:
    fitting = [build for build in ordered if not build.misses and not build.fails]
    shares: dict[int, FittingShare] = {}
    chosen: list[Build] = []
    for reason in (FIRST, STAGED, *_MORE):
        if reason == STAGED and (not chosen or chosen[0].takes):
            continue
        best, tries = _by_reason(fitting, reason), 0
        for build in best:
            same = next((k for k, other in enumerate(chosen) if _like(other, build)), None)
            worth = reason in (FIRST, STAGED) or not chosen or _much_better(build, chosen, reason)
            if same is None and (tries == _TRIES or not worth):
                break
            if same is None:
                tries += 1
                shares.setdefault(id(build), _drawn(bench, build))
                if not shares[id(build)].sure:
                    continue
                chosen.append(replace(build, fit=shares[id(build)], reasons=(reason,)))
            break
    return tuple(_with_reasons(chosen))


def _by_reason(fitting: Sequence[Build], reason: str) -> list[Build]:
    if reason in (FIRST, STAGED):
        return [build for build in fitting if build.takes or reason == FIRST]
    return sorted(fitting, key=lambda build: -_worth(build, reason))


def _like(one: Build, other: Build) -> bool:
    return (one.changes, one.transistor) == (other.changes, other.transistor)


def _worth(build: Build, reason: str) -> float:
    name, sign, _ = _MORE[reason]
    return sign * (build.parts if name == "parts" else min(build.figures[name], 200.0))


def _much_better(build: Build, others: Sequence[Build], reason: str) -> bool:
    """Whether a build is better in one respect than each of these by what one minds."""
    if reason == BATTERY:
        return all(build.figures["current_a"] < _LESS_CURRENT * other.figures["current_a"] for other in others)
    return all(_worth(build, reason) - _worth(other, reason) >= _MORE[reason][2] for other in others)


def _with_reasons(chosen: Sequence[Build]) -> list[Build]:
    """Each with all that it is the best of them in."""
    found = []
    for build in chosen:
        others = [other for other in chosen if other is not build]
        best = [reason for reason in _MORE if others and _much_better(build, others, reason)]
        found.append(replace(build, reasons=tuple(dict.fromkeys((*build.reasons, *best)))))
    return found


def _drawn(bench: Bench, build: Build) -> FittingShare:
    percents = bench.drawer.resistor_percent, bench.drawer.capacitor_percent
    return share_that_fits(as_chain(bench.chain, bench.drawer, build), bench.wish, percents)


def _front(ordered: Sequence[Build]) -> tuple[Build, ...]:
    """Builds that no other beats in level, room, hiss, current or parts without losing in another of these; evenly over
    the level where they are many."""
    least = min((len(build.misses) for build in ordered), default=0)
    some = [build for build in ordered if len(build.misses) == least]
    if not some:
        return ()
    alike = {tuple(round(build.figures[name], 1) for name in ("gain_db", "headroom_db")): build for build in some[::-1]}
    some = list(alike.values())  # of those that cannot be told apart in the picture the first
    reasons = [reason for reason in _MORE if reason != BASS]
    table = np.round(np.array([[_worth(build, reason) for reason in reasons] for build in some]), 6)
    at_least = np.all(table[:, None] >= table[None], axis=-1)
    beaten = (at_least & np.any(table[:, None] > table[None], axis=-1)).any(axis=0)
    front = sorted((some[k] for k in np.flatnonzero(~beaten)), key=lambda build: build.figures["gain_db"])
    at = np.unique(np.linspace(0, len(front) - 1, min(len(front), FRONT)).astype(int))
    return tuple(front[k] for k in at)
