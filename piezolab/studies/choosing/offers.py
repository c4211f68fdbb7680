"""From thousands of builds to a few that are truly different, each with its reason, and the front of what is traded.

Those of the search that may be named are worked out as the judgement of one chain has them, and drawn afresh a thousand
times. A build is offered where all but 25 in 1000 of those fit all wishes, beyond doubt. One is the first by the
search's order, and where that has no stage, another the first that has one; each other is the best in one respect, and
is named only where it is better in that by what one hears or minds (`_MORE`, our own, common practice, no source) than
every build named before it. A build of two transistors is named only where the second brings something by the judgement
of that one chain (`second_worth`).
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from piezolab.chain import SignalChain
from piezolab.giving_way import give_way
from piezolab.studies.choosing.bench import Bench, Pool, Progress
from piezolab.studies.choosing.drawer import Drawer, buildable
from piezolab.studies.choosing.one_build import Build, as_chain, as_it_stands, named_builds
from piezolab.studies.choosing.parts_search import lacking, pools, varied
from piezolab.studies.choosing.to_buy import Obstacle, ToBuy, obstacle, to_buy
from piezolab.studies.choosing.worst_case import FittingShare, share_that_fits
from piezolab.studies.judging.wish import Wish
from piezolab.studies.judging.worth import second_worth

FIRST, STAGED, FEWEST, QUIETEST, ROOM, LEVEL, BATTERY, BASS, CHEAPEST = (
    "first", "with a stage", "fewest parts", "quietest", "most room", "most level", "least current", "most bass",
    "cheapest",
)  # fmt: skip
#: Reason -> figure, whether more of it is better, and by how much one build must be better to be named.
_MORE = {
    FEWEST: ("parts", -1, 1.0), ROOM: ("headroom_db", 1, 3.0), LEVEL: ("gain_db", 1, 3.0),
    QUIETEST: ("snr_db_a", 1, 3.0), BATTERY: ("current_a", -1, 0.0), BASS: ("low_note_db", 1, 0.5),
    CHEAPEST: ("cost", -1, 0.0),
}  # fmt: skip
_LESS = {BATTERY: 0.67, CHEAPEST: 0.8}  # times the current or the cost of every other
_TRIES = 4  # builds drawn afresh for one reason, until one is sure
TRIES_OF_TWO = 2  # builds of a wiring with two transistors that are weighed by the search's order, and the best ones
SHORT = 8  # builds of a wiring by the search's order, and half as many by each figure
FRONT = 24  # points of the front


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
        some = named_builds(bench, pool.take(_short(pool)), before, at_hand)
        named += some if pool.wiring.transistors < 2 else _worth_their_solder(bench, some)
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


def _worth_their_solder(bench: Bench, builds: Sequence[Build]) -> list[Build]:
    """Of builds with two transistors that fit all wishes the first, and the best in what one hears: those whose second
    one brings something by the judgement of one chain."""
    fitting = [build for build in builds if not build.misses and not build.fails]
    best = [_by_reason(fitting, reason)[:1] for reason in (ROOM, LEVEL, QUIETEST, BATTERY)]
    chosen = {id(build): build for build in (*fitting[:TRIES_OF_TWO], *itertools.chain(*best))}
    found = []
    for build in (build for build in fitting if id(build) in chosen):
        second = second_worth(as_chain(bench.chain, bench.drawer, build))
        give_way()
        if second is not None and second.worth_it:
            found.append(replace(build, second_brings=second))
    return found


# -- which of them are offered ----------------------------------------------------------------------------------------
def _ordered(bench: Bench, named: Sequence[Build]) -> list[Build]:
    """By the search's order, the plainest wiring before the room to spare; named builds come wiring by wiring."""
    plain = {kind: n for n, kind in enumerate(dict.fromkeys(build.kind for build in named))}

    def key(build: Build) -> tuple[Any, ...]:
        worst = min(build.worst_db.values(), default=0.0)
        of_type = any(not bench.drawer.transistors[k].measured for k in build.transistors)
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
    return (one.changes, one.transistors) == (other.changes, other.transistors)


def _worth(build: Build, reason: str) -> float:
    name, sign, _ = _MORE[reason]
    return sign * (build.parts if name == "parts" else min(build.figures[name], 200.0))


def _much_better(build: Build, others: Sequence[Build], reason: str) -> bool:
    """Whether a build is better in one respect than each of these by what one minds."""
    if reason in _LESS:  # a cost that was not asked for is no number, and less than none
        name = _MORE[reason][0]
        return all(build.figures[name] < _LESS[reason] * other.figures[name] for other in others)
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
    reasons = [reason for reason in _MORE if reason not in (BASS, CHEAPEST)]
    table = np.round(np.array([[_worth(build, reason) for reason in reasons] for build in some]), 6)
    at_least = np.all(table[:, None] >= table[None], axis=-1)
    beaten = (at_least & np.any(table[:, None] > table[None], axis=-1)).any(axis=0)
    front = sorted((some[k] for k in np.flatnonzero(~beaten)), key=lambda build: build.figures["gain_db"])
    at = np.unique(np.linspace(0, len(front) - 1, min(len(front), FRONT)).astype(int))
    return tuple(front[k] for k in at)
