"""Square-law parameters that follow from a type's sheet."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from piezolab.catalogue import TransistorType, default_transistor, square_law_intercept, transistors
from piezolab.chain import SignalChain
from piezolab.studies.bias import bias
from piezolab.studies.response import response

TYPES = list(transistors().values())


@given(v=st.floats(0.05, 15), i_dss=st.floats(1e-5, 0.2), part=st.floats(0, 0.9))
def test_the_square_law_through_the_intercept_gives_the_stated_current(
    v: float, i_dss: float, part: float
) -> None:
    intercept = square_law_intercept(v, part * i_dss, i_dss)
    assert intercept >= v
    assert i_dss * (1 - v / intercept) ** 2 == pytest.approx(part * i_dss, rel=1e-9, abs=1e-15 * i_dss)


@given(v=st.floats(0.05, 15), i_dss=st.floats(1e-5, 0.2), part=st.floats(1e-6, 0.5))
def test_the_intercept_against_a_numerical_root(v: float, i_dss: float, part: float) -> None:
    root = brentq(lambda off: i_dss * (1 - v / off) ** 2 - part * i_dss, v, 100 * v, xtol=1e-13, rtol=1e-13)
    assert square_law_intercept(v, part * i_dss, i_dss) == pytest.approx(root, rel=1e-9)


def test_the_intercept_by_hand() -> None:
    """A quarter of I_DSS at 1 V: half the way to cut-off, so 2 V."""
    assert square_law_intercept(1.0, 1e-3, 4e-3) == 2.0


def test_the_intercept_takes_arrays() -> None:
    assert square_law_intercept(np.array([1.0, 2.0]), 1e-3, np.array([[4e-3], [9e-3]])) == pytest.approx(
        np.array([[2.0, 4.0], [1.5, 3.0]])
    )


@pytest.mark.parametrize("i_small", [4e-3, 5e-3, -1e-9, math.nan, np.array([1e-9, 4e-3])])
def test_a_current_that_is_no_cut_off_is_refused(i_small: float) -> None:
    with pytest.raises(
        ValueError, match=r"small drain current: .* A is not allowed; allowed: from 0 to less than I_DSS"
    ):
        square_law_intercept(1.0, i_small, 4e-3)


@pytest.mark.parametrize("row", TYPES, ids=lambda row: row.name)
def test_derived_values_of_every_type(row: TransistorType) -> None:
    assert row.idss_min <= row.idss_typical <= row.idss_max
    assert row.vgsoff_min <= row.vgsoff_typical <= row.vgsoff_max
    assert row.vgsoff_intercept_min <= row.vgsoff_intercept_typical <= row.vgsoff_intercept_max
    for sheet, intercept, i_dss in (
        (row.vgsoff_min, row.vgsoff_intercept_min, row.idss_min),
        (row.vgsoff_typical, row.vgsoff_intercept_typical, row.idss_typical),
        (row.vgsoff_max, row.vgsoff_intercept_max, row.idss_max),
    ):
        assert intercept == pytest.approx(sheet / (1 - math.sqrt(row.vgsoff_id / i_dss)), rel=1e-12)
    assert row.cgs + row.cgd == pytest.approx(row.ciss) and row.cgs > 0 and row.cgd == row.crss
    assert 0 < row.lambda_ < 0.05
    assert row.lambda_is_estimate == ("lambda" in row.estimates)
    if row.gos is not None:
        assert row.lambda_ * row.idss_typical == pytest.approx(row.gos)
    assert "check the sheet" in row.pin_note and row.pins_seen


@pytest.mark.parametrize("row", TYPES, ids=lambda row: row.name)
def test_parts_like_the_typical_one_exist_within_the_sheet(row: TransistorType) -> None:
    """At the typical β = I_DSS/V_off², I_DSS stays inside the sheet over a part of the range."""
    beta = row.idss_typical / row.vgsoff_intercept_typical**2
    low = max(math.sqrt(row.idss_min / beta), row.vgsoff_intercept_min)
    high = min(math.sqrt(row.idss_max / beta), row.vgsoff_intercept_max)
    share = math.log(high / low) / math.log(row.vgsoff_intercept_max / row.vgsoff_intercept_min)
    assert share > 0.1
    assert low < row.vgsoff_intercept_typical < high


def follower_bias(i_dss: float, v_off: float, source_r: float) -> float:
    """Source voltage in V of a saturated follower, gate at 0 V, λ = 0: V_S = R·I_DSS·(1 − V_S/V_off)²."""
    return brentq(lambda v: source_r * i_dss * (1 - v / v_off) ** 2 - v, 0, v_off)


def test_the_default_type_biases_well_with_3k9_on_9_v() -> None:
    row = transistors()[default_transistor()]
    assert row.mounting == "leaded" and row.availability == "common"
    v_s = follower_bias(row.idss_typical, row.vgsoff_intercept_typical, 3900)
    assert 0.9 < v_s < 4.5
    assert row.vgsoff_intercept_typical > 1.0, "a hard-played volt down does not switch it off"
    for i_dss, v_off in (
        (row.idss_min, row.vgsoff_intercept_min),
        (row.idss_typical, row.vgsoff_intercept_typical),
        (row.idss_max, row.vgsoff_intercept_max),
    ):
        v_s = follower_bias(i_dss, v_off, 3900)
        assert 9 - v_s > v_off - v_s + 0.5, "saturated with half a volt to spare"
        assert 9 < row.vds_max and (9 - v_s) * v_s / 3900 < row.power_max


def test_surface_mount_and_scarce_types_are_marked() -> None:
    assert {row.mounting for row in TYPES} == {"leaded", "surface-mount"}
    assert {row.availability for row in TYPES} == {"common", "scarce", "hard to find"}
    for row in TYPES:
        assert (row.mounting == "surface-mount") == row.package.startswith(("SOT", "SC"))


@pytest.mark.parametrize(("jfet", "volts"), [("MPF102", 0.487), ("MPF102-2", 0.487e-3)])
def test_leakage_moves_the_gate_of_a_warm_board(jfet: str, volts: float) -> None:
    """By hand: 2 nA (or 2 pA) times 2^3.5 at 60 °C, through 22 MΩ beside the disc's 1 GΩ. A limit taken for a part's
    figure moves the gate by half a volt; the corrected row by half a millivolt."""
    found = bias(SignalChain(jfet=jfet, gate_r=22e6, temp_c=60.0))
    assert float(found.v_g) == pytest.approx(volts, rel=2e-3)


def test_what_input_capacitance_a_row_holds_is_not_heard_beside_a_disc() -> None:
    """By hand: 5 pF more beside 15 nF are 0.003 dB; the J113 and its twin, which differ in nothing else."""
    levels = [response(SignalChain(jfet=jfet)).midband_gain for jfet in ("J113", "MMBFJ113")]
    assert abs(20 * math.log10(levels[0] / levels[1])) < 20 * math.log10(1 + 5.3e-12 / 15e-9)
