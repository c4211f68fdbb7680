"""Integration over the audio band against adaptive quadrature, and the weighting's shape."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from piezolab.circuit.weighting import a_weighting, band_grid, band_power

CORNERS = st.floats(-1, 6).map(lambda x: 10**x)


def _by_quadrature(density, a_weighted: bool) -> float:
    def integrand(log_f: float) -> float:
        f = np.exp(log_f)
        return f * density(f) * (a_weighting(f) ** 2 if a_weighted else 1.0)

    return quad(integrand, np.log(20.0), np.log(20e3), epsrel=1e-12, epsabs=0, limit=500)[0]


@given(CORNERS, CORNERS, CORNERS, st.integers(0, 2), st.booleans())
def test_band_power_against_quadrature(low: float, high: float, flicker: float, order: int, a_weighted: bool) -> None:
    def density(f: np.ndarray) -> np.ndarray:
        return (f / low) ** 2 / (1 + (f / low) ** 2) / (1 + (f / high) ** 2) ** order * (1 + flicker / f)

    grid = band_grid()
    assert (grid[0], grid[-1], len(grid)) == (20.0, pytest.approx(20e3), 401)
    assert band_power(grid, density(grid), a_weighted=a_weighted) == pytest.approx(
        _by_quadrature(density, a_weighted), rel=1e-6
    )


@pytest.mark.parametrize("quality", [5.0, 50.0])
def test_resonance_needs_points_in_proportion_to_its_quality(quality: float) -> None:
    def density(f: np.ndarray) -> np.ndarray:
        return 1 / ((1 - (f / 3e3) ** 2) ** 2 + (f / 3e3 / quality) ** 2)

    grid = band_grid(int(60 * quality) + 401)
    assert band_power(grid, density(grid)) == pytest.approx(_by_quadrature(density, False), rel=1e-6)


def test_white_noise_fills_its_bandwidth() -> None:
    assert band_power(band_grid(), np.ones(401)) == pytest.approx(19_980.0, rel=1e-6)
    assert band_power(band_grid(201, 100.0, 1000.0), np.ones((3, 201))) == pytest.approx(np.full(3, 900.0), rel=1e-6)


def test_weighting_is_one_at_one_kilohertz_and_falls_to_both_sides() -> None:
    assert a_weighting(1e3) == 1.0
    low, high = np.geomspace(1e-3, 2400, 200), np.geomspace(2600, 1e6, 200)
    assert np.all(np.diff(a_weighting(low)) > 0) and np.all(np.diff(a_weighting(high)) < 0)
    # four zeros at the origin: 80 dB a decade far below, 40 dB a decade far above (the curve's six poles)
    assert 20 * np.log10(a_weighting(0.01) / a_weighting(0.001)) == pytest.approx(80, abs=0.01)
    assert 20 * np.log10(a_weighting(1e7) / a_weighting(1e8)) == pytest.approx(40, abs=0.01)
    assert a_weighting(0.0) == 0.0


@pytest.mark.parametrize("frequency", [np.linspace(20, 20e3, 50), np.geomspace(20, 20e3, 7), np.ones((9, 2))])
def test_other_grids_are_refused(frequency: np.ndarray) -> None:
    with pytest.raises(ValueError, match="at least 8 frequencies, evenly spaced in logarithm"):
        band_power(frequency, np.ones(frequency.shape))


@pytest.mark.parametrize("values", [(7,), (401, 0.0), (401, 30.0, 20.0)])
def test_grids_that_make_no_sense(values: tuple) -> None:
    with pytest.raises(ValueError, match="a band needs 8 points and 0 < low < high"):
        band_grid(*values)
