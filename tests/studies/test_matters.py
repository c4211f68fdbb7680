"""Imperfections: each effect against the chain with the imperfection entered by hand."""

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.studies.bias import bias
from piezolab.studies.matters import effects, joint, resistor_power
from piezolab.studies.response import response


def named(chain: SignalChain, key: str, part: str = "", lead: int = 0):  # noqa: ANN201
    return next(e for e in effects(chain) if (e.key, e.part, e.lead) == (key, part, lead))


def test_a_joint_in_the_output_capacitor_is_a_series_resistor() -> None:
    """Level into the load falls by R/(Z_load + Z_out) at most: a milliohm is nothing, 10 kilohm about 0.9 dB here."""
    found = named(SignalChain(), "joint", "C_out", 1)
    assert abs(found.level_db[0]) < 1e-6
    load = 1 / (1 / 1e6 + 1 / 100e3)
    assert found.level_db[-1] == pytest.approx(20 * np.log10(load / (load + 10e3)), abs=0.02)
    assert found.rest_v == pytest.approx(np.zeros(8), abs=1e-12)


def test_a_joint_in_the_source_resistor_adds_to_it() -> None:
    chain = SignalChain()
    found = named(chain, "joint", "R_S", 0)
    expected = bias(chain.but(source_r=13.9e3)).v_s - bias(chain).v_s
    assert found.rest_v[-1] == pytest.approx(float(expected), rel=1e-9)


def test_cable_quality_and_stopper_are_the_chain_with_that_value() -> None:
    chain = SignalChain(stage="direct", input="line")
    found = named(chain, "cable quality")
    plain = response(chain, np.array([1000.0])).gain_1khz
    for size, change in zip(found.size, found.level_db, strict=True):
        after = response(chain.but(cable_c=float(size)), np.array([1000.0])).gain_1khz
        assert change == pytest.approx(20 * np.log10(after / plain), abs=1e-9)


def test_a_leak_to_the_supply_lifts_the_gate() -> None:
    found = named(SignalChain(), "leak to supply")
    lifted = 9.0 * 4.7e6 / (4.7e6 + 10e6)
    assert found.rest_v[np.argmin(abs(found.size - 10e6))] > 0.5 * lifted


def test_a_drained_battery_matters_to_a_gain_stage_more_than_to_a_follower() -> None:
    gain = named(SignalChain(stage="gain"), "drained battery")
    follower = named(SignalChain(), "drained battery")
    assert gain.worst_db > follower.worst_db
    assert follower.worst_db < 0.3


def test_order_and_refusal() -> None:
    worst = [effect.worst_db for effect in effects(SignalChain(stage="gain"))]
    assert worst == sorted(worst, reverse=True)
    with pytest.raises(KeyError, match="no part named 'R_9'"):
        joint(assemble(SignalChain().values).parts, "R_9", 0, 1.0)


def test_power_in_the_resistors() -> None:
    chain = SignalChain(stage="gain")
    at_rest, power = bias(chain), resistor_power(chain.values)
    assert power["R_D"] == pytest.approx(float(at_rest.i_d**2 * 6.8e3), rel=1e-6)
    assert power["R_S"] == pytest.approx(float(at_rest.v_s**2 / 1.5e3), rel=1e-6)
    assert max(power.values()) < 0.125, "any resistor will do"
