"""The parts that a transistor type is made of: one population for spread, tolerance, checks and faults.

Sheet corners combined at will are parts that do not exist. Here V_GS(off) is log-uniform over the sheet's range and
beta = I_DSS/V_GS(off)^2 log-normal about the sheet's typical (or geometric-mean) point, drawn again until I_DSS and
V_GS(off) lie within the sheet's limits. Our own model of what makers ship; common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab import catalogue
from piezolab.catalogue.transistor import TransistorType
from piezolab.chain import SignalChain
from piezolab.chain.stages.second_transistor import TYPE
from piezolab.chain.values import Values

BETA_SPREAD = 0.15  # standard deviation of ln(beta)
SEED = 1906
SIZE = 2000


@dataclass(frozen=True)
class Population:
    """Draws of one type: idss (A, at the sheet's V_DS) and vgsoff (V, negative), shape (N,)."""

    idss: np.ndarray
    vgsoff: np.ndarray
    vds: float


def population(type_name: str, size: int = SIZE, seed: int = SEED) -> Population:
    """Draw parts of a type. Raises KeyError on an unknown type."""
    kind = catalogue.transistors()[type_name]
    rng = np.random.default_rng(seed)
    low, high = kind.vgsoff_intercept_min, kind.vgsoff_intercept_max
    middle = _log_beta(kind)
    idss, vgsoff = np.empty(0), np.empty(0)
    while len(idss) < size:
        v = np.exp(rng.uniform(np.log(low), np.log(high), 4 * size))
        i = np.exp(rng.normal(middle, BETA_SPREAD, 4 * size)) * v**2
        kept = (i >= kind.idss_min) & (i <= kind.idss_max)
        idss, vgsoff = np.concatenate([idss, i[kept]]), np.concatenate([vgsoff, v[kept]])
    return Population(idss[:size], -vgsoff[:size], kind.idss_vds)


def builds(chain: SignalChain, size: int = SIZE, seed: int = SEED) -> Values:
    """The chain's values with each transistor drawn from its type, one apart from the other; what was measured stays.

    With V_GS(off) or I_DSS measured alone, the other is drawn as it is spread among the type's parts that measure so,
    within the sheet's limits; where under one in a hundred of them keeps these (the part is not of its type's
    sheet), the limits are let go.
    """
    values = chain.values
    first = _Reading(chain.jfet, chain.jfet_idss, chain.jfet_vgsoff, values.jfet_lambda, values.jfet_vds)
    idss, vgsoff = _drawn(first, size, seed)
    changes = {"jfet_idss": idss, "jfet_vgsoff": vgsoff}
    if chain.topology.has(TYPE):
        lambda_ = catalogue.transistors()[values.second].lambda_
        second = _Reading(values.second, chain.second_idss, chain.second_vgsoff, lambda_, values.second_vds)
        idss, vgsoff = _drawn(second, size, seed + 1)
        changes |= {"second_idss": idss, "second_vgsoff": vgsoff}
    return values.but(**{key: value for key, value in changes.items() if value is not None})


@dataclass(frozen=True)
class _Reading:
    """What is known of one transistor: its type, what was measured (else None), lambda and the V_DS of its I_DSS."""

    kind: str
    idss: float | None
    vgsoff: float | None
    lambda_: float
    vds: float


def _drawn(known: _Reading, size: int, seed: int) -> tuple[np.ndarray | None, np.ndarray | None]:
    """I_DSS at the reading's V_DS and V_GS(off) of parts that it may be; None for what was measured."""
    if known.idss is not None and known.vgsoff is not None:
        return None, None
    kind = catalogue.transistors()[known.kind]
    # the sheet states I_DSS at another V_DS than the reading's
    scale = (1 + known.lambda_ * known.vds) / (1 + known.lambda_ * kind.idss_vds)
    if known.idss is not None:
        return None, -_vgsoff_given(kind, known.idss / scale, size, seed)
    if known.vgsoff is not None:
        return _idss_given(kind, -known.vgsoff, size, seed) * scale, None
    drawn = population(known.kind, size, seed)
    return drawn.idss * scale, drawn.vgsoff


def _vgsoff_given(kind: TransistorType, idss: float, size: int, seed: int) -> np.ndarray:
    """|V_GS(off)| in V of parts of that I_DSS: with ln V uniform and ln beta = ln I_DSS - 2 ln V normal, ln V is normal
    with half the spread."""
    middle = 0.5 * (np.log(idss) - _log_beta(kind))
    return _log_normal(middle, BETA_SPREAD / 2, kind.vgsoff_intercept_min, kind.vgsoff_intercept_max, size, seed)


def _idss_given(kind: TransistorType, vgsoff: float, size: int, seed: int) -> np.ndarray:
    """I_DSS in A, at the sheet's V_DS, of parts of that |V_GS(off)| in V."""
    middle = _log_beta(kind) + 2 * np.log(vgsoff)
    return _log_normal(middle, BETA_SPREAD, kind.idss_min, kind.idss_max, size, seed)


def _log_normal(middle: float, spread: float, low: float, high: float, size: int, seed: int) -> np.ndarray:
    """Draws of exp(normal) between two limits; without the limits where under one draw in a hundred keeps them."""
    drawn = np.exp(np.random.default_rng(seed).normal(middle, spread, 100 * size))
    kept = drawn[(drawn >= low) & (drawn <= high)]
    return kept[:size] if len(kept) >= size else drawn[:size]


def _log_beta(kind: TransistorType) -> float:
    """ln of the median beta in A/V^2: that of the sheet's typical point."""
    return np.log(kind.idss_typical / kind.vgsoff_intercept_typical**2)
