"""One thing to build from a drawer, with its figures as the judgement of one chain has them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.parameters import all_parameters
from piezolab.chain.stages.register import controls
from piezolab.studies.choosing.bench import Bench, Pool
from piezolab.studies.choosing.build_figures import whole_figures
from piezolab.studies.choosing.drawer import Drawer
from piezolab.studies.choosing.further_figures import further
from piezolab.studies.choosing.worst_case import FittingShare, batch
from piezolab.studies.judging.wish import BuildFigures, Wish, benefits, margins, missed
from piezolab.studies.judging.worth import Worth
from piezolab.studies.response import low_note_hz


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
    the wish it does better than the chain as it is, and `drawer` where that cannot be built from the drawer; second:
    the place of its second transistor, None where it has none; second_brings: what that is worth."""

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
    second: int | None = None
    second_brings: Worth | None = None

    @property
    def transistors(self) -> tuple[int, ...]:
        """The places of its transistors in the drawer."""
        return tuple(k for k in (self.transistor, self.second) if k is not None)

    @property
    def parts(self) -> int:
        """How many pieces are soldered in, the transistors included."""
        return sum(len(taken.pieces) for taken in self.takes) + len(self.transistors)

def as_chain(chain: SignalChain, drawer: Drawer, build: Build) -> SignalChain:
    """The chain with a build in it. Raises ChainError."""
    return chain.but(build.changes).but(_entered(drawer, build.transistors))


def surroundings(chain: SignalChain) -> dict[str, Any]:
    """What a drawer's builds are asked about: the chain's values without its stage and transistor."""
    of_stage = {"stage", *(control.key for control in controls())}
    return {key: chain[key] for key in all_parameters() if key not in of_stage and not key.startswith("jfet")}


def with_stage_of(chain: SignalChain, other: SignalChain) -> SignalChain:
    """The chain with the other's stage and transistor in it; any two go together."""
    return other.but(surroundings(chain))


def _entered(drawer: Drawer, cast: Sequence[int]) -> dict[str, Any]:
    """The link keys that put transistors of a drawer in their places."""
    parts = [drawer.transistors[k] for k in cast]
    each = [*(part.entered() for part in parts[:1]), *(part.entered_second() for part in parts[1:])]
    return {key: value for entered in each for key, value in entered.items()}

def named_builds(bench: Bench, pool: Pool, before: Build, at_hand: bool) -> list[Build]:
    """The builds of a pool with their figures as the judgement has them. before: what they are compared with; at_hand:
    whether that can be built from the drawer."""
    kind, count = pool.wiring, len(pool.rows)
    base, note = bench.chain.but(kind.fixed), low_note_hz(bench.chain)
    values = base.values
    if kind.powered:
        typical = [base.but(_entered(bench.drawer, cast)).values for cast in bench.casts(kind)]
        values = batch(values, [each.as_dict() for each in typical], kind, pool.rows)
    found = whole_figures(values, note)
    figures = BuildFigures(*(np.broadcast_to(np.atleast_1d(each), count) for each in vars(found).values()))
    figures = replace(figures, **further(base, values, bench.wish, (count,), (kind, pool.rows)))
    each = margins(figures, bench.wish)
    return [_told(bench, pool, k, figures.take(np.array(k)), each, before, at_hand) for k in range(count)]


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
    first, second = (*(bench.casts(kind)[row[0]] if kind.powered else ()), None, None)[:2]
    own = {name: float(np.broadcast_to(margin, len(pool.rows))[k]) for name, margin in each.items()}
    worst = {name: float(margin[k]) for name, margin in pool.stood.margins.items()}
    return Build(
        kind.name, changes, tuple(takes), first,
        {key: value.item() for key, value in vars(figures).items()}, own, _failing(own), worst, _failing(worst),
        brings=(*benefits(own, before.margins_db), *(() if at_hand else ("drawer",))), second=second,
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

