"""What a search has at hand: the chain and the drawer that it is about, and the builds that it has looked at."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from piezolab.chain import SignalChain
from piezolab.studies.choosing.drawer import Drawer, casts, set_aside
from piezolab.studies.choosing.wirings import CAPACITORS, Wiring
from piezolab.studies.choosing.worst_case import AtWorst, Stood, both_may_be, parts_it_may_be, seconds_it_may_be
from piezolab.studies.judging.wish import Wish, standing

Progress = Callable[[float], None]


@dataclass(frozen=True)
class Pool:
    """Builds of one wiring, the best first. rows: (N, 1 + slots), see `worst_case.batch`; stood: how they stand;
    tried: how many were looked at; whole: whether those were all there are."""

    wiring: Wiring
    rows: np.ndarray
    stood: Stood
    tried: int
    whole: bool

    def take(self, index: np.ndarray) -> Pool:
        """Some of the builds."""
        return Pool(self.wiring, self.rows[index], self.stood.take(index), self.tried, self.whole)


def _silent(part: float) -> None:
    """Nobody is told."""


@dataclass
class Bench:
    """What a search has at hand: a chain, a drawer, a wish, and how it tells how far it is."""

    chain: SignalChain
    drawer: Drawer
    wish: Wish
    told: Progress = field(default_factory=lambda: _silent)

    def __post_init__(self) -> None:
        self._members: dict[tuple[int, str], list[list[dict[str, float]]]] = {}
        for part in self.drawer.transistors:
            self.chain.but(stage="follower").but(part.entered())  # raises where no chain takes it
        self.worst = AtWorst(self.chain, self.members, self.wish)
        self.left = set_aside(self.chain, self.drawer)

    def casts(self, wiring: Wiring) -> tuple[tuple[int, ...], ...]:
        """The transistors of the drawer that a wiring may have, by place; those of its second type alone."""
        second = wiring.fixed.get("second")
        return tuple(
            cast for cast in casts(self.drawer, wiring.transistors)
            if second is None or self.drawer.transistors[cast[1]].jfet == second
        )  # fmt: skip

    def members(self, wiring: Wiring) -> list[list[dict[str, float]]]:
        """By its casts, what their transistors may be."""
        own = wiring.transistors, wiring.fixed.get("second", "")
        if own not in self._members:
            found, parts = [], self.drawer.transistors
            for first, *second in self.casts(wiring):
                chain = self.chain.but(wiring.fixed).but(parts[first].entered())
                may_be = parts_it_may_be(chain.values, parts[first].jfet, parts[first].measured)
                for other in (parts[k] for k in second):
                    there = chain.but(other.entered_second()).values
                    may_be = both_may_be(may_be, seconds_it_may_be(there, other.jfet, other.measured))
                found.append(may_be)
            self._members[own] = found
        return self._members[own]

    def of_type(self, wiring: Wiring) -> np.ndarray:
        """By its casts, whether a transistor stands for its type."""
        parts = self.drawer.transistors
        return np.array([any(not parts[k].measured for k in cast) for cast in self.casts(wiring)])

    def buildable(self, wiring: Wiring) -> bool:
        """Whether there is something for every place."""
        return not wiring.lacks and (not wiring.powered or bool(self.casts(wiring)))

    def within(self, wiring: Wiring, rows: np.ndarray) -> np.ndarray:
        """Which rows need no more of a value than there is."""
        good: np.ndarray = np.ones(len(rows), bool)
        for value, count in self.left.items():
            used = sum(
                np.array([takes.count(value) for takes in slot.takes])[rows[:, k]]
                for k, slot in enumerate(wiring.slots, 1)
            )
            good &= np.asarray(used) <= count
        return good

    def order(self, pool: Pool) -> np.ndarray:
        """The builds of a pool, the best first."""
        return np.lexsort(tuple(reversed(self.keys(pool))))

    def keys(self, pool: Pool) -> list[np.ndarray]:
        """What builds of one wiring are compared by, the first counts most, less is better."""
        fails, miss, spare = standing(pool.stood.margins, (len(pool.rows),))
        farad = np.zeros(len(pool.rows))
        for k, slot in enumerate(pool.wiring.slots, 1):
            if slot.key in CAPACITORS:
                farad += slot.settings[slot.key][pool.rows[:, k]]
        powered = pool.wiring.powered
        of_type = self.of_type(pool.wiring)[pool.rows[:, 0]] if powered else np.zeros(len(pool.rows), bool)
        return [-np.round(pool.stood.fit, 9), fails, miss, of_type, np.round(2 * spare), farad]
