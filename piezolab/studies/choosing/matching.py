"""Which two measured transistors match best: how far apart two parts are, in the spread of their own type.

Parts of one type lie along a line: a large |V_GS(off)| comes with a large I_DSS. The same difference in I_DSS is much
between parts of one V_GS(off) and little along that line. The measure is therefore the distance of P. C. Mahalanobis
("On the generalised distance in statistics", Proc. Nat. Inst. Sci. India 2 (1936) 49-55) of ln |V_GS(off)| and
ln I_DSS in the type's population. What it means is said by how many pairs taken blindly from the type match as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.quantity import decibels
from piezolab.studies.choosing.drawer import DrawerTransistor
from piezolab.studies.linear import LinearChain
from piezolab.studies.population import population

_DRAWN, _SEED = 20_000, 1936


@dataclass(frozen=True)
class Pair:
    """Two parts of one type, by their places in the bag. distance: see the module; blindly: the share of pairs of the
    type, taken blindly, that match at least as well; level_db, rest_v: what differs between two stages like the
    chain's, each with one of them and with the same resistors: level at 1 kHz and source voltage at rest."""

    first: int
    second: int
    distance: float
    blindly: float
    level_db: float
    rest_v: float


@dataclass(frozen=True)
class TypeSpread:
    """A type's population in ln |V_GS(off)/V| and ln(I_DSS/A), the latter at the sheet's V_DS.

    middle: (2,); whitening: (2, 2), such that whitening @ (x - middle) has unit covariance; apart: distances of pairs
    taken blindly, sorted, (n,).
    """

    middle: np.ndarray
    whitening: np.ndarray
    apart: np.ndarray

    def distance(self, one: np.ndarray, other: np.ndarray) -> np.ndarray:
        """Distance of points (..., 2), shape (...)."""
        return np.linalg.norm((np.asarray(one) - np.asarray(other)) @ self.whitening.T, axis=-1)

    def blindly(self, distance: np.ndarray | float) -> np.ndarray:
        """The share of pairs taken blindly that are no further apart."""
        return np.searchsorted(self.apart, distance, side="right") / len(self.apart)


@lru_cache(maxsize=64)
def type_spread(jfet: str) -> TypeSpread:
    """The population of a type. Raises KeyError on an unknown one."""
    drawn = population(jfet, _DRAWN, _SEED)
    points = np.log(np.stack([-drawn.vgsoff, drawn.idss], axis=-1))
    middle = points.mean(axis=0)
    # lower triangle: |V_GS(off)| first, then what I_DSS differs beyond it
    whitening = np.linalg.inv(np.linalg.cholesky(np.cov(points, rowvar=False)))
    white = (points - middle) @ whitening.T
    half = len(white) // 2
    apart = np.sort(np.linalg.norm(white[:half] - white[half:], axis=-1))
    for array in (middle, whitening, apart):
        array.flags.writeable = False
    return TypeSpread(middle, whitening, apart)


def where_in_its_type(part: DrawerTransistor) -> np.ndarray:
    """ln |V_GS(off)/V| and ln(I_DSS/A), at the sheet's V_DS, of a measured part, (2,). Raises ValueError on one that
    was not measured, KeyError on an unknown type."""
    if not part.measured:
        raise ValueError(f"transistor: {part.name or part.jfet!r} was not measured; allowed are measured ones.")
    sheet_vds = catalogue.transistors()[part.jfet].idss_vds
    lambda_ = float(SignalChain(jfet=part.jfet).values.jfet_lambda)
    idss = part.idss * (1 + lambda_ * sheet_vds) / (1 + lambda_ * part.vds)
    return np.log([abs(part.vgsoff), idss])


def pairs_of(chain: SignalChain, parts: Sequence[DrawerTransistor]) -> tuple[Pair, ...]:
    """All pairs of measured parts of one type, the best match first. Empty where there are no two."""
    chain = chain if chain.topology.powered else chain.but(stage="follower")
    measured = [k for k, part in enumerate(parts) if part.measured]
    both = [(a, b) for a, b in combinations(measured, 2) if parts[a].jfet == parts[b].jfet]
    if not both:
        return ()
    level, rest = {}, {}
    for k in {k for pair in both for k in pair}:
        linear = LinearChain.of(chain.but(parts[k].entered()).values)
        level[k] = float(decibels(linear.gain(np.array([1000.0])))[0])
        source = linear.assembly.network[linear.assembly.transistors[0]].source
        rest[k] = float(linear.point.voltage(source))
    found = []
    for a, b in both:
        spread = type_spread(parts[a].jfet)
        apart = float(spread.distance(where_in_its_type(parts[a]), where_in_its_type(parts[b])))
        found.append(
            Pair(a, b, apart, float(spread.blindly(apart)), abs(level[a] - level[b]), abs(rest[a] - rest[b]))
        )
    return tuple(sorted(found, key=lambda pair: pair.distance))
