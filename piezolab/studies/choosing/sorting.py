"""A bag of measured transistors and a drawer of parts: which goes where, and which to put aside.

Each part is tried in every stage that the drawer can make, with the drawer's own resistors, from a fresh battery to a
spent one. For each stage the parts are ordered as every search orders; a part goes where its place in that order is
best, the plainer stage before the other. Where the drawer has no capacitor for a stage's output, usual ones are taken
as bought: what a build then needs is listed. Aside: what nothing of the drawer makes work, what misses a wish
everywhere, and what cannot be of its type, so that the readings or the type are wrong.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.giving_way import give_way
from piezolab.studies.choosing.bench import Bench
from piezolab.studies.choosing.drawer import Drawer, DrawerTransistor
from piezolab.studies.choosing.matching import Pair, pairs_of, where_in_its_type
from piezolab.studies.choosing.one_build import Build, as_chain, as_it_stands, named_builds
from piezolab.studies.choosing.parts_search import lacking, looked_at
from piezolab.studies.choosing.wirings import offered_values, wirings
from piezolab.studies.choosing.worst_case import share_that_fits
from piezolab.studies.judging.wish import Wish, standing
from piezolab.studies.population import BETA_SPREAD

IDLE, MISSES, OUTSIDE, UNLIKELY = "does not work", "misses wishes", "outside the sheet", "unlikely of its type"
READING = 1.1  # a reading may be out by so much before it is held against the sheet; common practice, no source
_FAR = 4.0  # standard deviations of beta: one of 16,000 parts is further out
BOUGHT = (1e-6, 2.2e-6, 4.7e-6, 10e-6)  # output capacitors that every shop has, F; common practice, no source


@dataclass(frozen=True)
class Suited:
    """One transistor in one stage. place: in the bag; build: the best of the drawer with it; rank: among the bag's
    parts in that stage, from 0."""

    place: int
    build: Build
    rank: int

    @property
    def fits(self) -> bool:
        """Whether it fits all wishes, fresh battery to spent one."""
        return not self.build.misses and not self.build.fails


@dataclass(frozen=True)
class Aside:
    """A transistor to put aside. why: IDLE, MISSES, OUTSIDE or UNLIKELY; misses: wishes that its nearest build misses;
    outside: which of `idss` and `vgsoff` leave the sheet; nearest: that build, None where none was looked at."""

    place: int
    why: str
    misses: tuple[str, ...] = ()
    outside: tuple[str, ...] = ()
    nearest: Build | None = None


@dataclass(frozen=True)
class SortedBag:
    """places: of the parts sorted, those measured. goes: where each part goes that is of use; stages: wiring -> parts
    that fit in it, the best first; aside: the others; pairs: of what is not aside, the best match first, in the
    first build of `goes`; missing:
    wirings that the drawer lacks something for; bought: capacitors taken as bought, F."""

    places: tuple[int, ...]
    goes: tuple[Suited, ...]
    stages: Mapping[str, tuple[Suited, ...]]
    aside: tuple[Aside, ...]
    pairs: tuple[Pair, ...]
    missing: Mapping[str, tuple[str, ...]]
    bought: tuple[float, ...]


def sorted_bag(
    chain: SignalChain, drawer: Drawer, wish: Wish | None = None, told: Callable[[float], None] = lambda part: None
) -> SortedBag:
    """Sort the drawer's measured transistors. told: is called with the part that is done, 0 to 1. Raises ChainError on
    a value that no chain takes."""
    wish = wish or Wish()
    places = tuple(k for k, part in enumerate(drawer.transistors) if part.measured)
    bought = () if offered_values("out_c", drawer) else BOUGHT
    whole = replace(drawer, capacitors=(*drawer.capacitors, *bought))
    doubts = {k: found for k in places if (found := doubt(drawer.transistors[k], k)) is not None}
    sound = [k for k in places if k not in doubts]
    stages = _in_every_stage(chain, whole, wish, sound, told)
    every = [suited for rows in stages.values() for suited in rows]
    goes, aside = [], list(doubts.values())
    for k in sound:
        found = _placed(k, [suited for suited in every if suited.place == k])
        if isinstance(found, Suited):
            goes.append(replace(found, build=_drawn(chain, whole, wish, found.build)))
        elif found is not None:
            aside.append(found)
    goes.sort(key=lambda suited: (suited.rank, list(stages).index(suited.build.kind)))
    told(1.0)
    return SortedBag(
        places, tuple(goes), _fitting(stages), tuple(aside), _matched(chain, whole, goes), lacking(whole), bought
    )


def _fitting(stages: Mapping[str, Sequence[Suited]]) -> dict[str, tuple[Suited, ...]]:
    """The stages that some part fits in, with those parts."""
    fitted = {kind: tuple(row for row in rows if row.fits) for kind, rows in stages.items()}
    return {kind: rows for kind, rows in fitted.items() if rows}


def _matched(chain: SignalChain, drawer: Drawer, goes: Sequence[Suited]) -> tuple[Pair, ...]:
    """The pairs of the parts that go somewhere, by their places in the bag."""
    if not goes:
        return ()
    kept = [suited.place for suited in goes]
    pairs = pairs_of(as_chain(chain, drawer, goes[0].build), [drawer.transistors[k] for k in kept])
    return tuple(replace(pair, first=kept[pair.first], second=kept[pair.second]) for pair in pairs)


def doubt(part: DrawerTransistor, place: int = 0) -> Aside | None:
    """Whether readings and type of a measured part contradict each other; None where they do not."""
    kind = catalogue.transistors()[part.jfet]
    v, i = np.exp(where_in_its_type(part))
    limits = {
        "vgsoff": (v, kind.vgsoff_intercept_min, kind.vgsoff_intercept_max), "idss": (i, kind.idss_min, kind.idss_max),
    }  # fmt: skip
    outside = tuple(name for name, (x, low, high) in limits.items() if not low / READING <= x <= high * READING)
    if outside:
        return Aside(place, OUTSIDE, outside=outside)
    off = np.log(i / v**2) - np.log(kind.idss_typical / kind.vgsoff_intercept_typical**2)
    # one tenth off in either reading moves ln(beta) by three times that
    return Aside(place, UNLIKELY) if abs(off) > _FAR * BETA_SPREAD + 3 * np.log(READING) else None


def _in_every_stage(
    chain: SignalChain, drawer: Drawer, wish: Wish, places: Sequence[int], told: Callable[[float], None]
) -> dict[str, tuple[Suited, ...]]:
    """Each part's best build in every stage that can be made, by stage, the best part first."""
    before = as_it_stands(chain, wish)
    by_stage: dict[str, list[tuple[int, Build]]] = {}
    for n, k in enumerate(places):
        told(n / len(places))
        for build in _builds(chain, drawer, wish, k, before):
            by_stage.setdefault(build.kind, []).append((k, build))
    order = [wiring.name for wiring in wirings(drawer)]
    return {kind: _ranked_in(by_stage[kind]) for kind in order if kind in by_stage}


def _placed(k: int, own: Sequence[Suited]) -> Suited | Aside | None:
    """Where one part goes of the stages it was tried in, plainest first; None where there is none."""
    fitting = [suited for suited in own if suited.fits]
    if fitting:
        return min(fitting, key=lambda suited: suited.rank)
    if not own:
        return None
    near = min((suited.build for suited in own), key=_stands)
    why = IDLE if "works" in near.misses or "works" in near.fails else MISSES
    return Aside(k, why, near.misses or near.fails, nearest=near)


def _builds(chain: SignalChain, drawer: Drawer, wish: Wish, k: int, before: Build) -> list[Build]:
    """The best build of every stage with one part alone."""
    bench = Bench(chain, replace(drawer, transistors=(drawer.transistors[k],)), wish)
    found = []
    for wiring in wirings(bench.drawer):
        give_way()
        if not wiring.powered or not bench.buildable(wiring):
            continue
        pool = looked_at(bench, wiring)
        if pool is not None:
            (build,) = named_builds(bench, pool.take(np.array([0])), before, True)
            found.append(replace(build, transistor=k))
    return found


def _stands(build: Build) -> tuple[float, ...]:
    """What builds are compared by at their worst, less is better."""
    fails, miss, spare = standing({name: np.asarray(margin) for name, margin in build.worst_db.items()})
    return len(build.fails) > 0, float(fails), float(miss), float(np.round(spare, 1)), -build.figures["headroom_db"]


def _ranked_in(rows: Sequence[tuple[int, Build]]) -> tuple[Suited, ...]:
    ordered = sorted(rows, key=lambda row: _stands(row[1]))
    return tuple(Suited(k, build, rank) for rank, (k, build) in enumerate(ordered))


def _drawn(chain: SignalChain, drawer: Drawer, wish: Wish, build: Build) -> Build:
    percents = drawer.resistor_percent, drawer.capacitor_percent
    return replace(build, fit=share_that_fits(as_chain(chain, drawer, build), wish, percents))


def to_fetch(build: Build, drawer: Drawer) -> tuple[tuple[str, float], ...]:
    """Pieces of a build that the drawer does not have: setting and value, ohm or F."""
    there = (*drawer.resistors, *drawer.capacitors)
    return tuple((taken.key, piece) for taken in build.takes for piece in taken.pieces if piece not in there)
