"""The parts that a transistor type is made of: one population for spread, tolerance, checks and faults.

Sheet corners combined at will are parts that do not exist. Here V_GS(off) is log-uniform over the sheet's range and
beta = I_DSS/V_GS(off)^2 log-normal about the sheet's typical (or geometric-mean) point, drawn again until I_DSS and
V_GS(off) lie within the sheet's limits. Our own model of what makers ship; common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
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
    middle = np.log(kind.idss_typical / kind.vgsoff_intercept_typical**2)
    idss, vgsoff = np.empty(0), np.empty(0)
    while len(idss) < size:
        v = np.exp(rng.uniform(np.log(low), np.log(high), 4 * size))
        i = np.exp(rng.normal(middle, BETA_SPREAD, 4 * size)) * v**2
        kept = (i >= kind.idss_min) & (i <= kind.idss_max)
        idss, vgsoff = np.concatenate([idss, i[kept]]), np.concatenate([vgsoff, v[kept]])
    return Population(idss[:size], -vgsoff[:size], kind.idss_vds)


def builds(chain: SignalChain, size: int = SIZE, seed: int = SEED) -> Values:
    """The chain's values with the transistor drawn from its type; what was measured stays as measured.

    With V_GS(off) or I_DSS measured alone, the other is drawn from the parts of the type that come nearest to it.
    """
    values = chain.values
    measured_i, measured_v = chain.jfet_idss is not None, chain.jfet_vgsoff is not None
    if measured_i and measured_v:
        return values
    drawn = population(chain.jfet, size, seed)
    scale = (1 + values.jfet_lambda * values.jfet_vds) / (1 + values.jfet_lambda * drawn.vds)
    idss, vgsoff = drawn.idss * scale, drawn.vgsoff
    if measured_i:  # keep each part's beta, bring it to the measured current
        vgsoff = -np.sqrt(values.jfet_idss / (idss / vgsoff**2))
        idss = np.broadcast_to(values.jfet_idss, idss.shape)
    elif measured_v:
        idss = idss / vgsoff**2 * values.jfet_vgsoff**2
        vgsoff = np.broadcast_to(values.jfet_vgsoff, idss.shape)
    return values.but(jfet_idss=idss, jfet_vgsoff=vgsoff)
