"""A build at its worst: over the parts that its transistor may be, the tolerances, and the battery's whole life.

A search compares thousands of builds by few samples, the same for all: the type's 1st, 50th and 99th percentile of
V_GS(off), each with the I_DSS of a part that is there, on a fresh battery and on a spent one; of two transistors the
four pairs of those ends, and the middle. The share of fresh
builds that fits, in warmer and colder rooms, is counted afterwards for those that are named, with its interval by C. J.
Clopper and E. S. Pearson, Biometrika 26 (1934) 404-413.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import lru_cache

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.values import Values
from piezolab.giving_way import give_way
from piezolab.studies.choosing.build_figures import build_figures
from piezolab.studies.choosing.further_figures import further
from piezolab.studies.choosing.tolerance import TEMP_K, drawn
from piezolab.studies.choosing.wirings import Wiring
from piezolab.studies.fading_battery import battery_range
from piezolab.studies.judging.wish import BuildFigures, Wish, margins
from piezolab.studies.population import population
from piezolab.studies.response import low_note_hz

RANKS = (0.01, 0.5, 0.99)  # of V_GS(off)
AT_ONCE = 3000  # builds that are worked out before others are heard
MOST_MISS = 0.025  # of fresh builds: a build that is offered fits in all but so many
SIZE, SEED = 1000, 2718
DOUBT = 0.005  # on either side of the interval
_SECOND_KEYS = ("second_idss", "second_vds", "second_vgsoff")
_TRANSISTOR_KEYS = (
    "jfet_idss", "jfet_vds", "jfet_vgsoff", "jfet_lambda", "jfet_ciss", "jfet_crss", "jfet_ig", "jfet_corner",
)  # fmt: skip


@dataclass(frozen=True)
class FittingShare:
    """Of `size` fresh builds: the share that fits all wishes, and its interval. by_wish: the share for each."""

    share: float
    low: float
    high: float
    size: int
    by_wish: Mapping[str, float]

    @property
    def sure(self) -> bool:
        """Whether a build may be offered: all but MOST_MISS of those made so fit, beyond doubt."""
        return self.low >= 1 - MOST_MISS


def voltages(chain: SignalChain) -> tuple[float, ...]:
    """The battery's voltage fresh and spent, V; of an adapter its own."""
    found = battery_range(chain)
    return (float(chain.values.supply_v),) if found is None else (float(found[0]), float(found[1]))


def parts_it_may_be(values: Values, jfet: str, measured: bool) -> list[dict[str, float]]:
    """What the search takes a transistor for: itself where it was measured, else three of its type. values: of a chain
    with it."""
    own = {key: float(values[key]) for key in _TRANSISTOR_KEYS}
    if measured:
        return [own]
    scale = (1 + values.jfet_lambda * values.jfet_vds) / (1 + values.jfet_lambda * population(jfet, 2).vds)
    return [{**own, "jfet_idss": idss * scale, "jfet_vgsoff": vgsoff} for idss, vgsoff in _ranks(jfet)]


def seconds_it_may_be(values: Values, jfet: str, measured: bool) -> list[dict[str, float]]:
    """The same of the second transistor, of a chain with it in its place."""
    own = {key: float(values[key]) for key in _SECOND_KEYS}
    if measured:
        return [own]
    lambda_ = catalogue.transistors()[jfet].lambda_
    scale = (1 + lambda_ * values.second_vds) / (1 + lambda_ * population(jfet, 2).vds)
    return [{**own, "second_idss": idss * scale, "second_vgsoff": vgsoff} for idss, vgsoff in _ranks(jfet)]


def both_may_be(first: Sequence[dict[str, float]], second: Sequence[dict[str, float]]) -> list[dict[str, float]]:
    """What two transistors are taken for together: they are drawn apart, so each end of one with each of the other."""
    places = list(itertools.product(range(len(first)), range(len(second))))
    if len(first) > 1 and len(second) > 1:
        ends, middle = (0, len(RANKS) - 1), len(RANKS) // 2
        places = [(a, b) for a, b in places if (a in ends and b in ends) or (a, b) == (middle, middle)]
    return [first[a] | second[b] for a, b in places]


@lru_cache(maxsize=64)
def _ranks(jfet: str) -> tuple[tuple[float, float], ...]:
    drawn_parts = population(jfet)
    order = np.argsort(-drawn_parts.vgsoff)
    at = [order[round(rank * (len(order) - 1))] for rank in RANKS]
    return tuple((float(drawn_parts.idss[k]), float(drawn_parts.vgsoff[k])) for k in at)


def batch(base: Values, members: Sequence[dict[str, float]], wiring: Wiring, rows: np.ndarray) -> Values:
    """Builds as resolved values: rows (N, 1 + slots) of a place in `members` and of an option for each slot."""
    keys = (*_TRANSISTOR_KEYS, *(_SECOND_KEYS if wiring.transistors > 1 else ()))
    changes = {key: np.array([part[key] for part in members])[rows[:, 0]] for key in keys}
    for k, slot in enumerate(wiring.slots, 1):
        changes |= {key: options[rows[:, k]] for key, options in slot.settings.items()}
    return base.but(**changes)


@dataclass(frozen=True)
class Stood:
    """Builds at their worst, each (N,). margins: of each wish, dB, the smallest of all samples; fit: the share of the
    samples that fit all wishes; least: figures as in BuildFigures, the worst of all samples."""

    margins: Mapping[str, np.ndarray]
    fit: np.ndarray
    least: Mapping[str, np.ndarray]

    def take(self, index: np.ndarray) -> Stood:
        """Some of the builds."""
        own, least = ({name: each[index] for name, each in of.items()} for of in (self.margins, self.least))
        return Stood(own, self.fit[index], least)

    @classmethod
    def together(cls, parts: Sequence[Stood]) -> Stood:
        """Several batches as one."""
        own, least = (
            {name: np.concatenate([getattr(part, of)[name] for part in parts]) for name in getattr(parts[0], of)}
            for of in ("margins", "least")
        )
        return cls(own, np.concatenate([part.fit for part in parts]), least)


@dataclass(frozen=True)
class AtWorst:
    """How builds of a chain stand at their worst. members: for a wiring, by its casts, what each may be."""

    chain: SignalChain
    members: Callable[[Wiring], Sequence[Sequence[dict[str, float]]]]
    wish: Wish

    def stood(self, wiring: Wiring, rows: np.ndarray) -> Stood:
        """Of rows (N, 1 + slots), N at least 1: a place in `members` and of an option for each slot."""
        per = max(1, AT_ONCE // len(RANKS))
        found = []
        for start in range(0, len(rows), per):
            found.append(self._some(wiring, rows[start : start + per]))
            give_way()
        return Stood.together(found)

    def _some(self, wiring: Wiring, rows: np.ndarray) -> Stood:
        there = self.chain.but(wiring.fixed)
        values, starts, many = there.values, np.arange(len(rows)), rows
        if wiring.powered:
            members = self.members(wiring)
            flat = [part for parts in members for part in parts]
            first = np.cumsum([0, *(len(parts) for parts in members)])
            often = np.diff(first)[rows[:, 0]]
            own = np.repeat(np.arange(len(rows)), often)
            starts = np.concatenate([[0], np.cumsum(often)[:-1]])
            many = rows[own].copy()
            many[:, 0] = first[rows[own, 0]] + np.arange(len(own)) - starts[own]
            values = batch(values, flat, wiring, many)
        supplies = voltages(there)
        more = further(there, values, self.wish, (len(many),), (wiring, many))
        each = [
            replace(_own_figures(values.but(supply_v=supply_v), self.chain, self.wish), **more)
            for supply_v in supplies
        ]
        least = {
            name: _least([_over_members(sign * np.asarray(getattr(figures, name), float), starts) for figures in each])
            for name, sign in _BETTER.items()
        }
        own_margins = [margins(figures, self.wish) for figures in each]
        by_wish = {name: _least([_over_members(found[name], starts) for found in own_margins])
                   for name in own_margins[0]}  # fmt: skip
        fit = np.mean([_share_of_members(found, starts) for found in own_margins], axis=0)
        return Stood(by_wish, fit, {name: _BETTER[name] * found for name, found in least.items()})


#: Figures by which builds are told apart, and whether more of them is better.
_BETTER = {"low_note_db": 1, "headroom_db": 1, "gain_db": 1, "current_a": -1}


def _own_figures(values: Values, chain: SignalChain, wish: Wish) -> BuildFigures:
    with_noise = wish.snr_db_a is not None
    found = build_figures(values, low_note_hz(chain), with_noise=with_noise, at_this_voltage=True)
    return BuildFigures(*(np.atleast_1d(getattr(found, field.name)) for field in fields(found)))


def _over_members(each: np.ndarray, starts: np.ndarray) -> np.ndarray:
    return np.minimum.reduceat(np.nan_to_num(each, nan=-np.inf), starts)


def _least(each: Sequence[np.ndarray]) -> np.ndarray:
    return np.min(each, axis=0)


def _share_of_members(found: Mapping[str, np.ndarray], starts: np.ndarray) -> np.ndarray:
    if not found:
        return np.ones(len(starts))
    every = np.all([each >= 0 for each in found.values()], axis=0).astype(float)
    often = np.diff(np.append(starts, len(every)))
    return np.add.reduceat(every, starts) / often


def fresh_margins(
    chain: SignalChain,
    wish: Wish,
    percents: tuple[float, float],
    size: int,
    seed: int,
) -> dict[str, np.ndarray]:
    """The margin of each wish, dB, (size,), for builds of a chain drawn afresh: the smaller one of a fresh battery and
    a spent one. percents: tolerance of resistors and capacitors."""
    values, _ = drawn(chain, *percents, size, seed, room_k=TEMP_K)
    return margins_over_life(chain, values, wish, (size,))


def margins_over_life(
    chain: SignalChain, values: Values, wish: Wish, shape: tuple[int, ...], *, fades: bool = True
) -> dict[str, np.ndarray]:
    """The margin of each wish, dB, of builds of a chain, whose batch has that shape: the smaller one of a fresh battery
    and a spent one; where it does not fade, at the chain's own voltage."""
    worst: dict[str, np.ndarray] = {}
    more = further(chain, values, wish, shape)
    for supply_v in voltages(chain) if fades else (float(chain.values.supply_v),):
        figures = build_figures(
            values.but(supply_v=supply_v), low_note_hz(chain), with_noise=wish.snr_db_a is not None,
            at_this_voltage=True,
        )  # fmt: skip
        give_way()
        for name, each in margins(replace(figures, **more), wish).items():
            each = np.broadcast_to(np.nan_to_num(each, nan=-np.inf), shape)
            worst[name] = np.minimum(worst[name], each) if name in worst else each
    return worst


def share_that_fits(
    chain: SignalChain, wish: Wish, percents: tuple[float, float], size: int = SIZE, seed: int = SEED
) -> FittingShare:
    """How many of the builds of a chain fit all wishes, from a fresh battery to a spent one."""
    found = fresh_margins(chain, wish, percents, size, seed)
    every = np.all([each >= 0 for each in found.values()], axis=0) if found else np.ones(size, bool)
    fit = int(np.count_nonzero(every))
    by_wish = {name: float(np.mean(each >= 0)) for name, each in found.items()}
    return FittingShare(fit / size, *interval(fit, size), size, by_wish)


def interval(fit: int, size: int, doubt: float = DOUBT) -> tuple[float, float]:
    """Clopper and Pearson's interval of a share, `doubt` on either side. Raises ValueError unless 0 <= fit <= size."""
    if not 0 <= fit <= size or size < 1:
        raise ValueError(f"share: {fit} of {size} is out of range; allowed is 0 to all of at least one.")
    from scipy.special import betaincinv

    low = 0.0 if fit == 0 else float(betaincinv(fit, size - fit + 1, doubt))
    return low, 1.0 if fit == size else float(betaincinv(fit + 1, size - fit, 1 - doubt))
