"""48 V through 6.81 kilohm into the output (IEC 61938, from memory), against the equations solved by scipy."""

import pytest
from scipy.optimize import brentq

from piezolab.chain import SignalChain
from piezolab.studies.phantom import phantom


def test_follower_is_lifted_by_the_jump_and_the_capacitor_ends_reversed() -> None:
    found = phantom(SignalChain())
    # transistor off: 48 V less what C_out holds, through 6.81 k into R_S, with the bleed at the jack
    held = 1.0002125

    def surplus(v_s: float) -> float:
        jack = v_s - held
        return (48 - jack) / 6.81e3 - jack / 100e3 - v_s / 3.9e3

    expected = brentq(surplus, 0, 48)
    assert found.stage_v == pytest.approx(expected, rel=1e-5)
    assert found.v_gs == pytest.approx(-expected, rel=1e-4)
    end_jack = 48 * 100e3 / 106.81e3
    assert found.capacitor_v == pytest.approx(held - end_jack, rel=1e-6)
    assert found.gate_safe and found.gate_limit_v == 35.0


def test_without_a_stage_there_is_nothing_to_harm() -> None:
    assert phantom(SignalChain(stage="direct")) is None


def test_a_large_source_resistor_takes_the_gate_past_its_rating() -> None:
    found = phantom(SignalChain(source_r=1e6, supply_v=3.0, jfet="2N3819"))
    assert -found.v_gs > found.gate_limit_v
    assert not found.gate_safe


@pytest.mark.parametrize(("out_c", "limit", "safe"), [(2.2e-6, 1.0, False), (680e-9, 63.0, True)])
def test_an_electrolytic_does_not_bear_it_and_a_film_capacitor_does(out_c: float, limit: float, safe: bool) -> None:
    found = phantom(SignalChain(out_c=out_c))
    assert found.reverse_limit_v == limit and found.capacitor_safe is safe
    assert found.node == "source" and phantom(SignalChain(stage="gain")).node == "drain"
