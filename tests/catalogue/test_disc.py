"""Capacitance from geometry."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants, integrate

from piezolab.catalogue.disc import (
    VACUUM_PERMITTIVITY,
    disc_capacitance,
    plate_capacitance,
    strip_capacitance,
)

SIZES = st.floats(1e-3, 0.1)
THICK = st.floats(5e-6, 1e-2)
PERMITTIVITY = st.floats(1, 1e4)


def test_the_vacuum_permittivity_is_codata() -> None:
    """Within 2e-9: CODATA's 2018 and 2022 values differ by 1e-10 of themselves."""
    assert VACUUM_PERMITTIVITY == pytest.approx(constants.epsilon_0, rel=2e-9)


@given(d=SIZES, t=THICK, er=PERMITTIVITY)
def test_a_disc_against_rings_summed_by_quadrature(d: float, t: float, er: float) -> None:
    rings, _ = integrate.quad(lambda r: constants.epsilon_0 * er * 2 * np.pi * r / t, 0, d / 2)
    assert disc_capacitance(d, t, er) == pytest.approx(rings, rel=1e-8)


@given(d=SIZES, t=THICK, er=PERMITTIVITY, k=st.floats(0.1, 10))
def test_scaling(d: float, t: float, er: float, k: float) -> None:
    c = disc_capacitance(d, t, er)
    assert disc_capacitance(k * d, t, er) == pytest.approx(k**2 * c)
    assert disc_capacitance(d, k * t, er) == pytest.approx(c / k)
    assert strip_capacitance(d, d, t, er) == pytest.approx(c * 4 / np.pi)


def test_arrays_broadcast() -> None:
    result = disc_capacitance(np.array([0.01, 0.02]), np.array([[1e-4], [2e-4]]), 1700.0)
    assert result.shape == (2, 2)
    assert result[0, 1] == pytest.approx(disc_capacitance(0.02, 1e-4, 1700.0))


@pytest.mark.parametrize("bad", [0.0, -0.01, float("nan"), float("inf"), np.array([0.01, 0.0])])
def test_an_impossible_size_is_refused(bad: float) -> None:
    for call, field in (
        (lambda: disc_capacitance(bad, 2e-4, 1700.0), "electrode diameter"),
        (lambda: disc_capacitance(0.02, bad, 1700.0), "thickness"),
        (lambda: disc_capacitance(0.02, 2e-4, bad), "permittivity"),
        (lambda: strip_capacitance(bad, 0.01, 2e-4, 12.0), "electrode length"),
        (lambda: strip_capacitance(0.01, bad, 2e-4, 12.0), "electrode width"),
        (lambda: plate_capacitance(bad, 2e-4, 12.0), "electrode size"),
    ):
        with pytest.raises(ValueError, match=f"{field}: .* is not allowed; allowed: above 0, finite"):
            call()
