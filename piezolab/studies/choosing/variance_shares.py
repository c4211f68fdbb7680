"""Which input a figure's spread comes from: first-order and total shares of its variance, with their doubt.

Inputs are independent; each may hold several numbers. Two samples A and B of all inputs are drawn, and for each input k
one more, AB_k: A with that input alone taken from B. With f the figure and V its variance

    first_k = mean(f_B (f_ABk - f_A)) / V       the part of the variance that goes when input k is known
    total_k = mean((f_A - f_ABk)^2) / (2 V)     the part that stays when all other inputs are known

The first is the estimator of A. Saltelli et al., Comput. Phys. Commun. 181 (2010) 259-270, table 2 (b); the second that
of M. J. W. Jansen, Comput. Phys. Commun. 117 (1999) 35-43; the shares themselves are I. M. Sobol's, Math. Modelling
Comput. Exp. 1 (1993) 407-414 (formulas from memory). The standard errors are those of a ratio of means by the delta
method, so they hold for plain random samples of a few hundred or more and not for evenly laid ones.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

LEAST = 50  # samples: with fewer the standard errors mean nothing
NORMAL = 1.959963984540054  # two-sided 95 % of the normal distribution


@dataclass(frozen=True)
class VarianceShares:
    """first, total: shares, unclipped, so chance can put them a little below 0 or above 1; first_error, total_error:
    their standard errors; all (..., K). variance: of the figure, (...)."""

    first: np.ndarray
    total: np.ndarray
    first_error: np.ndarray
    total_error: np.ndarray
    variance: np.ndarray

    def first_range(self, times: float = NORMAL) -> tuple[np.ndarray, np.ndarray]:
        """Ends of the first-order shares' intervals, times: standard errors on either side (default: 95 %)."""
        return self.first - times * self.first_error, self.first + times * self.first_error

    def total_range(self, times: float = NORMAL) -> tuple[np.ndarray, np.ndarray]:
        """Ends of the total shares' intervals."""
        return self.total - times * self.total_error, self.total + times * self.total_error


def variance_shares(f_a: np.ndarray, f_b: np.ndarray, f_ab: np.ndarray) -> VarianceShares:
    """f_a, f_b: the figure of samples A and B, (..., N); f_ab: of the mixed ones, (..., K, N). A figure that does not
    vary has shares of 0 without doubt. Raises ValueError on fewer than LEAST samples, on shapes that do not go together
    and on a figure that is not finite."""
    f_a, f_b, f_ab = (np.asarray(each, float) for each in (f_a, f_b, f_ab))
    if f_a.shape != f_b.shape or f_ab.ndim != f_a.ndim + 1 or (*f_ab.shape[:-2], f_ab.shape[-1]) != f_a.shape:
        raise ValueError(f"samples: shapes {f_a.shape}, {f_b.shape}, {f_ab.shape}; allowed is (N), (N), (K, N).")
    size = f_a.shape[-1]
    if size < LEAST:
        raise ValueError(f"samples: {size} are too few; allowed is {LEAST} and above.")
    if not (np.isfinite(f_a).all() and np.isfinite(f_b).all() and np.isfinite(f_ab).all()):
        raise ValueError("figure: some of its values are not finite; allowed are numbers.")
    middle = 0.5 * (f_a.mean(axis=-1) + f_b.mean(axis=-1))[..., None]
    # the shares do not feel a constant, but the first estimator's own spread does
    a, b, ab = f_a - middle, f_b - middle, f_ab - middle[..., None]
    each = 0.5 * (a**2 + b**2)
    variance = each.mean(axis=-1)
    still = variance <= 1e-20 * np.maximum(1.0, middle[..., 0] ** 2)
    whole = np.where(still, np.inf, variance)[..., None]
    first, first_error = _ratio(b[..., None, :] * (ab - a[..., None, :]), each[..., None, :], whole)
    total, total_error = _ratio(0.5 * (a[..., None, :] - ab) ** 2, each[..., None, :], whole)
    return VarianceShares(first, total, first_error, total_error, variance)


def _ratio(top: np.ndarray, bottom: np.ndarray, mean: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """mean(top)/mean(bottom) and its standard error to the first order; (..., K, N) and (..., 1, N) to (..., K)."""
    share = top.mean(axis=-1) / mean
    off = (top - share[..., None] * bottom) / mean[..., None]
    return share, off.std(axis=-1, ddof=1) / np.sqrt(top.shape[-1])
