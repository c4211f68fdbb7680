"""What the bare pickup loses, against the response of the same network and against handy inversions."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import brentq

from piezolab.chain import SignalChain
from piezolab.pitch import frequency
from piezolab.quantity import decibels
from piezolab.studies.linear import LinearChain
from piezolab.studies.loading import bare_pickup, loading
from piezolab.studies.response import response
from tests.chain.strategies import chains, sizes

#: What the closed form leaves out, and its own assumptions.
EXACT: dict[str, Any] = {"pickup_loss": 0.0, "resonance": None, "pad": None}


def direct_gain(chain: SignalChain, f: float) -> float:
    return float(np.abs(LinearChain.of(chain.but(stage="direct").values).gain(f)))


@given(chains(**EXACT), st.floats(1.0, 20e3))
def test_the_closed_form_is_the_network(chain: SignalChain, f: float) -> None:
    """With one disc or two, over any chain, whatever its stage."""
    bare = bare_pickup(chain.values)
    assert np.abs(bare.gain(f)) == pytest.approx(direct_gain(chain, f), rel=1e-9, abs=1e-300)
    found = loading(chain)
    assert found.low_note_gain == pytest.approx(direct_gain(chain, found.low_note_hz), rel=1e-9, abs=1e-300)
    assert repr(loading(chain.but(stage="direct"))) == repr(loading(chain.but(stage="gain")))


@given(chains(**EXACT, input=("amplifier",)), sizes(50e-12, 500e-9), sizes(10e3, 100e9))
def test_two_discs_have_twice_the_leakage_in_series_and_half_of_it_in_parallel(
    chain: SignalChain, c: float, r: float
) -> None:
    """By hand: 1/(2 pi R C) of all that lies across the source, and the least input that the leakage leaves over."""
    chain = chain.but({"pickup_c": c, "pickup_r": r, "temp_c": 25.0})
    v = chain.values
    across = v.lead_m * v.lead_c + v.cable_m * v.cable_c + v.input_c
    for discs, c_p, leak in (("1", c, r), ("2p", 2 * c, r / 2), ("2s", c / 2, 2 * r)):
        found = loading(chain.but(discs=discs))
        r_all = 1 / (1 / leak + 1 / v.input_r)
        assert found.corner_hz == pytest.approx(1 / (2 * math.pi * r_all * (c_p + across)), rel=1e-9)
        # 3 dB is 10**0.3 in power: the note lies at x = f/f_c with 1 + 1/x**2 = 10**0.3
        wanted = 1 / math.sqrt(10**0.3 - 1) / (2 * math.pi * found.low_note_hz * (c_p + across))
        left = 1 / wanted - 1 / leak
        if left > 1e-6 / leak:
            assert found.min_input_ohm_3db == pytest.approx(1 / left, rel=1e-6)
        elif left < 0:
            assert math.isnan(found.min_input_ohm_3db)


@given(chains(**EXACT))
def test_corner_and_full_level_are_those_of_the_response(chain: SignalChain) -> None:
    found = loading(chain)
    assume(found.full_level > 0 and 2e-3 < found.corner_hz < 5e6)
    direct = response(chain.but(stage="direct"))
    assert direct.low_corner_hz == pytest.approx(found.corner_hz, rel=1e-8)
    assert direct.midband_gain == found.full_level
    assert math.isnan(direct.high_corner_hz)
    assert direct.low_note_re_midband_db == pytest.approx(found.low_note_re_plateau_db, abs=1e-6)


@given(chains(**EXACT))
def test_levels_add_up(chain: SignalChain) -> None:
    found = loading(chain)
    if found.full_level == 0:
        assert found.plateau_db == found.low_note_re_open_db == -math.inf
    else:
        assert found.plateau_db + found.low_note_re_plateau_db == pytest.approx(found.low_note_re_open_db, abs=1e-9)
    assert found.low_note_re_plateau_db <= 0
    assert found.corner_hz > 0


@given(chains(**EXACT, discs="1"))
def test_the_least_input_resistance_loses_exactly_that_much(chain: SignalChain) -> None:
    """Entered as the input's resistance it gives 1 dB, and 3 dB, in the network too."""
    found = loading(chain)
    for least, loss_db in ((found.min_input_ohm_1db, 1.0), (found.min_input_ohm_3db, 3.0)):
        if math.isnan(least):
            # the insulation alone, into nothing, already loses more
            open_ = bare_pickup(chain.values.but(input_r=np.inf))
            assert decibels(open_.gain(found.low_note_hz)) - decibels(open_.full_level) < -loss_db
            continue
        values = chain.but(stage="direct").values.but(input_r=least)
        level = decibels(np.abs(LinearChain.of(values).gain(found.low_note_hz))) - found.plateau_db
        assert level == pytest.approx(-loss_db, abs=1e-9)
        if 100 <= least <= 1e9 and len(chain.input) == 1:
            entered = loading(chain.but(input_r=least))
            assert entered.low_note_re_plateau_db == pytest.approx(-loss_db, abs=1e-9)
    if not math.isnan(found.min_input_ohm_1db):
        assert found.min_input_ohm_3db < found.min_input_ohm_1db


def test_least_input_resistance_by_search() -> None:
    """The default chain without loss: brentq on the network, no formula."""
    chain = SignalChain(stage="direct", pickup_loss=0, tuning="E1")

    def level(log_r: float) -> float:
        values = chain.values.but(input_r=10**log_r)
        return decibels(np.abs(LinearChain.of(values).gain(frequency("E1")))) - decibels(15e-9 / 15.43e-9)

    for loss_db, found in ((1, loading(chain).min_input_ohm_1db), (3, loading(chain).min_input_ohm_3db)):
        assert 10 ** brentq(lambda x, loss=loss_db: level(x) + loss, 3, 8, xtol=1e-14) == pytest.approx(found, rel=1e-9)


def test_a_leaky_pickup_makes_any_input_resistance_too_small() -> None:
    found = loading(SignalChain(pickup_c=1e-9, pickup_r=1e6, tuning="E1"))
    assert math.isnan(found.min_input_ohm_1db) and math.isnan(found.min_input_ohm_3db)
    half = loading(SignalChain(pickup_c=1e-9, pickup_r=4e6, tuning="E1"))
    assert math.isnan(half.min_input_ohm_1db) and half.min_input_ohm_3db > 4e6


# -- with a pad -------------------------------------------------------------------------------------------------------
@given(chains(pad=(220e3, 1e6), pickup_loss=0.0, resonance=None, discs="1", input_c=0.0, input=("amplifier",)))
def test_behind_a_pad_the_least_input_resistance_is_still_the_inputs(chain: SignalChain) -> None:
    found = loading(chain)
    for least, loss_db in ((found.min_input_ohm_1db, 1.0), (found.min_input_ohm_3db, 3.0)):

        def level(input_r: float) -> float:
            bare = bare_pickup(chain.values.but(input_r=input_r))
            return decibels(bare.gain(found.low_note_hz)) - decibels(bare.full_level)

        if least == 0:
            assert level(1e-6) >= -loss_db  # the pad's series resistor is enough alone
        elif math.isnan(least):
            assert level(1e15) < -loss_db  # the pad's shunt, or the insulation, forbids it
        else:
            assert level(least) == pytest.approx(-loss_db, abs=1e-9)


def test_each_answer_behind_a_pad() -> None:
    chain = SignalChain(pickup_c=1e-9, tuning="E1", pad=(2.2e6, 22e6 / 10), cable_m=0)
    assert math.isnan(loading(chain).min_input_ohm_1db)
    assert loading(chain.but(pad=(4.7e6, 10e6))).min_input_ohm_3db == 0
    assert 0 < loading(chain.but(pad=(2.2e6, 10e6))).min_input_ohm_3db < 1e7


@given(chains(**{**EXACT, "pad": (10e3, 2.2e3)}, input_c=0.0, input=("amplifier",), cable_m=0.0))
def test_a_pad_without_capacitance_is_in_the_closed_form(chain: SignalChain) -> None:
    bare = bare_pickup(chain.values)
    for f in (20.0, 1e3):
        assert np.abs(bare.gain(f)) == pytest.approx(direct_gain(chain, f), rel=1e-9, abs=1e-300)


# -- what makers should find ------------------------------------------------------------------------------------------
@given(chains(**EXACT, discs="1"), st.floats(0.1, 100.0))
def test_less_cable_raises_the_full_level_and_the_corner(chain: SignalChain, metres: float) -> None:
    short, long_ = loading(chain.but(cable_m=0.0)), loading(chain.but(cable_m=metres))
    assert short.full_level > long_.full_level
    assert short.corner_hz > long_.corner_hz


@given(chains(**EXACT, discs="1"))
def test_far_below_the_corner_the_cable_does_not_matter(chain: SignalChain) -> None:
    """There the level is w R C_p: the current of the pickup's charge through the resistance."""
    low = [loading(chain.but(cable_m=m)) for m in (0.0, 100.0)]
    f = min(found.corner_hz for found in low) * 1e-4
    levels = [float(np.abs(found.bare.gain(f))) for found in low]
    expected = 2 * np.pi * f * low[0].bare.r_total * low[0].bare.c_p
    assert levels == pytest.approx([expected, expected], rel=1e-6)


def test_the_lowest_string_counts_wherever_it_stands() -> None:
    for tuning in ("E1-A1-D2", "D2-E1-A1", "G4-E1"):
        assert loading(SignalChain(tuning=tuning)).low_note_hz == frequency("E1")


def test_loss_below_the_full_level_is_not_loss_below_open_circuit() -> None:
    found = loading(SignalChain(cable_m=30, pickup_c=3e-9, tuning="E2"))
    assert found.plateau_db == pytest.approx(20 * math.log10(3 / (3 + 0.03 + 3 + 0.1)), abs=1e-9)
    assert found.low_note_re_open_db < found.low_note_re_plateau_db - 6


def test_a_batch_of_builds() -> None:
    values = SignalChain().values
    many = bare_pickup(values.but(pickup_c=np.array([5e-9, 15e-9, 50e-9]), pickup_r=np.array([1e6, 1e9, 1e11])))
    for n, (c, r) in enumerate(((5e-9, 1e6), (15e-9, 1e9), (50e-9, 1e11))):
        one = bare_pickup(values.but(pickup_c=c, pickup_r=r))
        assert many.corner_hz[n] == one.corner_hz and many.full_level[n] == one.full_level
        assert many.least_load_ohm(82.4, 1.0)[n] == pytest.approx(one.least_load_ohm(82.4, 1.0), nan_ok=True)


def test_temperature_moves_the_corner_with_the_capacitance() -> None:
    cold, warm = (loading(SignalChain(temp_c=t)) for t in (0, 50))
    assert cold.corner_hz / warm.corner_hz == pytest.approx((15 * 1.1 + 0.43) / (15 * 0.9 + 0.43), rel=1e-9)
