"""Battery life against an integral by another library, and the stage at falling voltages against single chains."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.studies.bias import bias
from piezolab.studies.fading_battery import (
    CLIPPING,
    END_VOLTAGE,
    HOURS_A_YEAR,
    SATURATION,
    SHELF,
    battery,
    battery_range,
    fading,
)
from piezolab.studies.linear import LinearChain
from piezolab.studies.response import response
from piezolab.studies.swing import swing


def hours(chain: SignalChain, down_to: float) -> float:
    """The integral of C(I)/I over the battery's voltage, current by current."""
    kind = catalogue.batteries()[chain.supply]

    def per_volt(v: float) -> float:
        current = float(bias(chain.but(supply_v=v)).supply_current)
        return kind.capacity_ah(current) / current / (kind.fresh_v - kind.end_v)

    return quad(per_volt, down_to, kind.fresh_v, limit=60, epsrel=1e-6)[0]


@pytest.mark.parametrize(
    "changes",
    [{}, {"stage": "gain", "play_v": 0.01}, {"other_current": 3e-3}, {"return": "divider", "supply": "carbon-zinc-9v"}],
)
def test_life_to_the_end_voltage_is_the_integral(changes) -> None:
    chain = SignalChain(changes)
    found = battery(chain)
    assert found.ends_by == END_VOLTAGE
    assert found.life_h == pytest.approx(hours(chain, catalogue.batteries()[chain.supply].end_v), rel=1e-4)
    assert found.end_v == pytest.approx(catalogue.batteries()[chain.supply].end_v)


def test_constant_current_makes_it_capacity_over_current() -> None:
    """A lamp that draws far more than the stage: the closed form C(I)/I."""
    chain = SignalChain(other_current=0.05)
    kind = catalogue.batteries()[chain.supply]
    current = 0.05 + float(bias(chain).supply_current) - chain.other_current
    assert battery(chain).life_h == pytest.approx(kind.capacity_ah(current) / current, rel=1e-3)


def test_leaving_saturation() -> None:
    """A gate at half the supply, no drain resistor: saturation needs V+/2 above |V_GS(off)|, here 8 V. Shortly before
    the stage at rest is there, a stroke of 1 mV carries it there."""
    chain = SignalChain({"return": "divider", "divider_r": 2e3, "jfet_vgsoff": 4.0, "jfet_idss": 8e-3, "source_r": 10e3,
                         "play_v": 1e-3, "jfet_ig": 0.0, "pickup_r": 100e9})  # fmt: skip
    found = battery(chain)
    assert found.hours[SATURATION] == pytest.approx(hours(chain, 8.0), rel=2e-3)
    assert found.ends_by == CLIPPING
    assert found.hours[SATURATION] > found.life_h > 0.99 * found.hours[SATURATION]
    assert found.end_v == pytest.approx(8.0, abs=0.01)
    assert found.hours[END_VOLTAGE] > found.life_h
    # where a fresh battery is too little already, that is said rather than that it clips
    assert battery(chain.but(jfet_vgsoff=5.0)).ends_by == SATURATION


def test_clipping_ends_it_where_the_edge_meets_the_playing() -> None:
    chain = SignalChain(stage="gain", play_v=0.1)
    found = battery(chain)
    assert found.ends_by == CLIPPING
    edge = swing(LinearChain.of(chain.but(supply_v=found.end_v).values)).headroom
    assert edge == pytest.approx(0.1, rel=1e-3)
    louder = battery(chain.but(play_v=1.0))
    assert louder.life_h == 0.0 and louder.ends_by == CLIPPING and louder.end_v == pytest.approx(9.4)


def test_shelf_life_caps_it() -> None:
    chain = SignalChain(source_r=470e3, play_v=0.01)
    found = battery(chain)
    assert found.ends_by == SHELF
    assert found.life_h == catalogue.batteries()[chain.supply].shelf_years * HOURS_A_YEAR
    assert found.hours[END_VOLTAGE] > found.life_h


@settings(max_examples=25)
@given(st.floats(1e3, 20e3), st.floats(0.0, 5e-3))
def test_more_current_never_lasts_longer(source_r, extra) -> None:
    chain = SignalChain(source_r=source_r, play_v=0.01)
    assert battery(chain.but(other_current=extra)).life_h <= battery(chain).life_h * (1 + 1e-9)


def test_two_batteries_in_series() -> None:
    assert battery_range(SignalChain()) == (9.4, 6.0, 1.0)
    assert battery_range(SignalChain(supply_v=18.0)) == (18.8, 12.0, 2.0)
    assert battery(SignalChain(supply_v=18.0)).in_series == 2.0


def test_no_battery_no_life() -> None:
    for chain in (SignalChain(supply="adapter"), SignalChain(stage="direct")):
        assert battery(chain) is None and fading(chain) is None


@pytest.mark.parametrize("changes", [{}, {"stage": "gain"}, {"pickup_c": 500e-12, "gate_r": 100e3}])
def test_the_stage_at_each_voltage_is_the_chain_at_that_voltage(changes) -> None:
    chain = SignalChain(changes)
    found = fading(chain)
    assert found.supply_v[0] == 9.4 and found.supply_v[-1] == 6.0 and np.all(np.diff(found.supply_v) < 0)
    assert found.hours[0] == 0 and np.all(np.diff(found.hours) > 0)
    for k in (0, 30, -1):
        one = chain.but(supply_v=float(found.supply_v[k]))
        assert found.bias.i_d[k] == pytest.approx(float(bias(one).i_d), rel=1e-9)
        assert found.bias.region[k] == bias(one).region
        at = response(one)
        assert found.gain_1khz[k] == pytest.approx(at.gain_1khz, rel=1e-9)
        assert found.low_corner_hz[k] == pytest.approx(at.low_corner_hz, rel=0.01)
        edges = swing(LinearChain.of(one.values))
        assert (found.up[k], found.down[k]) == (pytest.approx(float(edges.up)), pytest.approx(float(edges.down)))


def test_no_low_corner_is_nan() -> None:
    found = fading(SignalChain(out_c=1e-3, gate_r=1e9, pickup_r=100e9, pickup_c=500e-9, bleed_r=100e6, input_r=1e9))
    assert np.isnan(found.low_corner_hz).all()
