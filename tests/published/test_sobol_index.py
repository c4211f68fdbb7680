"""Shares of variance against a published function.

T. Ishigami and T. Homma, "An importance quantification technique in uncertainty analysis for computer models", Proc.
ISUMA '90, IEEE (1990) 398-403: Y = sin X1 + a sin^2 X2 + b X3^4 sin X1 with X in (-pi, pi); here a = 7 and b = 0.1 as
usual since. The analytic first-order indices are 0.3139, 0.4424 and 0 (from memory; worked out below once more).
"""

import numpy as np
import pytest

from piezolab.studies.choosing.tolerance import influences

A, B = 7.0, 0.1


def test_ishigami_function() -> None:
    rng = np.random.default_rng(1990)
    x = {name: rng.uniform(-np.pi, np.pi, 40_000) for name in ("X1", "X2", "X3")}
    y = np.sin(x["X1"]) + A * np.sin(x["X2"]) ** 2 + B * x["X3"] ** 4 * np.sin(x["X1"])
    whole = A**2 / 8 + B * np.pi**4 / 5 + B**2 * np.pi**8 / 18 + 0.5
    first = 0.5 * (1 + B * np.pi**4 / 5) ** 2 / whole
    second = A**2 / 8 / whole
    assert (first, second) == (pytest.approx(0.3139, abs=5e-5), pytest.approx(0.4424, abs=5e-5))
    found = influences(x, y)
    # groups of finite width blur the second, whose curve bends most
    assert found["X1"] == pytest.approx(first, abs=0.01)
    assert found["X2"] == pytest.approx(second, abs=0.02)
    assert found["X3"] < 0.005
