"""Capacity against current."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import interp1d

from piezolab.catalogue import BatteryKind, batteries

ALL = list(batteries().values())


@pytest.mark.parametrize("row", ALL, ids=lambda row: row.name)
def test_the_stated_points_are_met_and_the_ends_held(row: BatteryKind) -> None:
    own = row.standing or 0.0
    for amps, amp_hours in row.capacity:
        if amps > own:
            assert row.capacity_ah(amps - own) == pytest.approx(amp_hours * (amps - own) / amps, rel=1e-12)
    if row.standing:
        return
    assert row.capacity_ah(0.0) == pytest.approx(row.capacity[0][1])
    assert row.capacity_ah(1e-12) == pytest.approx(row.capacity[0][1])
    assert row.capacity_ah(100.0) == pytest.approx(row.capacity[-1][1])


@given(row=st.sampled_from([row for row in ALL if not row.standing]), share=st.floats(0, 1))
def test_between_points_it_is_a_power_of_the_current(row: BatteryKind, share: float) -> None:
    """Against scipy's interpolation on logarithms."""
    amps, amp_hours = np.log(np.array(row.capacity)).T
    at = min(amps[0] + share * (amps[-1] - amps[0]), amps[-1])
    assert row.capacity_ah(np.exp(at)) == pytest.approx(
        float(np.exp(interp1d(amps, amp_hours)(at))), rel=1e-9
    )


@given(row=st.sampled_from([row for row in ALL if not row.standing]), a=st.floats(0, 2), b=st.floats(0, 2))
def test_more_current_never_gives_more_charge(row: BatteryKind, a: float, b: float) -> None:
    low, high = sorted((a, b))
    assert row.capacity_ah(high) <= row.capacity_ah(low) * (1 + 1e-12)


@given(a=st.floats(0, 0.3), b=st.floats(0, 0.3), own=st.floats(1e-5, 1e-3))
def test_a_standing_current_empties_a_battery_as_if_the_stage_drew_it(a: float, b: float, own: float) -> None:
    """Hours are those of the battery without it at the sum of both; more current, fewer hours, at rest the most."""
    row = replace(batteries()["li-ion-9v-converter-2"], standing=own, shelf_years=0.04)
    plain = replace(row, standing=None)

    def hours(amps: float) -> float:
        return row.capacity_ah(amps) / max(amps, 1e-12)

    assert hours(a) == pytest.approx(plain.capacity_ah(a + own) / (a + own), rel=1e-6)
    low, high = sorted((a, b))
    assert hours(high) <= hours(low) * (1 + 1e-9) <= hours(0.0) * (1 + 1e-6)


def test_the_converter_battery_by_hand() -> None:
    """380 mAh at 0.1 mA for itself and 0.9 mA for the stage: 380 h; with nothing clipped in 3800 h, five months."""
    row = batteries()["li-ion-9v-converter-2"]
    assert row.capacity_ah(0.9e-3) / 0.9e-3 == pytest.approx(380, rel=1e-9)
    assert row.capacity_ah(0.0) / 1e-12 == pytest.approx(3800, rel=1e-6)
    assert 150 < 3800 / 24 < 160 and row.shelf_years * 8766 <= 3800


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
