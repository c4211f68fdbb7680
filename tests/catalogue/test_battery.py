"""Capacity against current."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import interp1d

from piezolab.catalogue import BatteryKind, batteries

ALL = list(batteries().values())


@pytest.mark.parametrize("row", ALL, ids=lambda row: row.name)
def test_the_stated_points_are_met_and_the_ends_held(row: BatteryKind) -> None:
    for amps, amp_hours in row.capacity:
        assert row.capacity_ah(amps) == pytest.approx(amp_hours, rel=1e-12)
    assert row.capacity_ah(0.0) == pytest.approx(row.capacity[0][1])
    assert row.capacity_ah(1e-12) == pytest.approx(row.capacity[0][1])
    assert row.capacity_ah(100.0) == pytest.approx(row.capacity[-1][1])


@given(row=st.sampled_from(ALL), share=st.floats(0, 1))
def test_between_points_it_is_a_power_of_the_current(row: BatteryKind, share: float) -> None:
    """Against scipy's interpolation on logarithms."""
    amps, amp_hours = np.log(np.array(row.capacity)).T
    at = min(amps[0] + share * (amps[-1] - amps[0]), amps[-1])
    assert row.capacity_ah(np.exp(at)) == pytest.approx(
        float(np.exp(interp1d(amps, amp_hours)(at))), rel=1e-9
    )


@given(row=st.sampled_from(ALL), a=st.floats(0, 2), b=st.floats(0, 2))
def test_more_current_never_gives_more_charge(row: BatteryKind, a: float, b: float) -> None:
    low, high = sorted((a, b))
    assert row.capacity_ah(high) <= row.capacity_ah(low) * (1 + 1e-12)


def test_arrays_keep_their_shape() -> None:
    row = ALL[0]
    currents = np.array([[0.0, 0.001], [0.01, 1.0]])
    result = row.capacity_ah(currents)
    assert result.shape == (2, 2)
    assert result.ravel() == pytest.approx([row.capacity_ah(float(amps)) for amps in currents.ravel()])
    assert isinstance(row.capacity_ah(0.001), float)


@pytest.mark.parametrize("current", [-1e-3, float("nan"), np.array([0.1, -0.1])])
def test_an_impossible_current_is_refused(current: float) -> None:
    with pytest.raises(ValueError, match="battery current: .* allowed: 0 A or more"):
        ALL[0].capacity_ah(current)
