"""48 V through 6.81 kilohm into the output (IEC 61938, from memory), against the equations solved by scipy."""

import numpy as np
import pytest
from scipy.optimize import brentq

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.pages.what_do_cable_and_input_change import sentences as say
from piezolab.studies.judging.judgement import judgement
from piezolab.studies.phantom import driven_backwards, fed, phantom, plug_in_power
from piezolab.studies.shopping import shopping
from tests.chain.own_stages import NoCapacitor, known


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


# -- plug-in power ------------------------------------------------------------------------------------------------
def test_a_recorder_leaves_the_capacitor_of_a_low_source_the_wrong_way_round() -> None:
    """By hand: the socket's volts divided by its feed and the bleed resistor, less what the source rests at."""
    chain, row = SignalChain(input=("recorder",)), catalogue.inputs()["recorder"]
    found = judgement(chain).fed["recorder"]
    jack = row.feed_v * 100e3 / (100e3 + row.feed_ohm)
    assert found.jack_v == pytest.approx(jack, rel=1e-6)
    assert found.capacitor_v == pytest.approx(1.0002125 - jack, rel=1e-5)
    assert found.reversed and not found.capacitor_safe and not found.disturbs and found.gate_safe
    assert "two electrolytics" in say.fed_sentence(found)
    assembly = assemble(chain.values)
    assert driven_backwards(chain, assembly) == {"C_out"} and not driven_backwards(SignalChain(), assembly)
    (item,) = (each for each in shopping(chain) if each.name == "C_out")
    assert item.kind == "bipolar" and item.rating_v < 48, "a few volts ask for no phantom rating"


def test_a_drain_well_above_the_feed_keeps_it_the_right_way_round() -> None:
    chain = SignalChain(stage="gain", input=("recorder",))
    found = plug_in_power(chain)["recorder"]
    assert found.capacitor_v > 0 and not found.reversed and not driven_backwards(chain, assemble(chain.values))
    assert "the right way round" in say.fed_sentence(found) == say.fed_sentence(judgement(chain).fed["recorder"])


def test_without_a_capacitor_the_feed_moves_the_stage() -> None:
    """By hand: the square law with a source that the feed lifts through its resistor."""
    row = catalogue.inputs()["recorder"]
    with known(NoCapacitor):
        chain = SignalChain(stage="straight", input=("recorder",))
        v, found = chain.values, plug_in_power(chain)["recorder"]
        said = say.fed_sentence(found)
    beta = v.jfet_idss / (1 + v.jfet_lambda * v.jfet_vds) / v.jfet_vgsoff**2
    out = 1 / v.foot_r

    def current(v_s: float) -> float:
        return beta * max(abs(v.jfet_vgsoff) - v_s, 0.0) ** 2 * (1 + v.jfet_lambda * (v.supply_v - v_s))

    def rest(feed_v: float, ohm: float) -> float:
        return current(brentq(lambda s: current(s) + (feed_v - s) / ohm - s * out, 0.0, 9.0))

    expected = rest(row.feed_v, row.feed_ohm) / rest(0.0, 1e12) - 1
    assert not found.blocked and found.disturbs and "with no output capacitor" in said
    assert found.current_part == pytest.approx(expected, rel=0.01)


def test_no_feed_does_nothing_and_a_bare_disc_has_nothing_to_harm() -> None:
    still = fed(SignalChain(), 1e-9, 2.2e3)
    assert still.capacitor_v == pytest.approx(1.0002125, rel=1e-4) and still.current_part == pytest.approx(0, abs=1e-9)
    assert plug_in_power(SignalChain(stage="direct", input=("recorder",))) == {}
    assert plug_in_power(SignalChain()) == {}
    kinds = {name for name, row in catalogue.inputs().items() if row.feed_v}
    assert kinds == {"recorder", "computer-microphone", "wireless"}
    assert all(bool(row.feed_v) == bool(row.feed_ohm) for row in catalogue.inputs().values())
    assert np.isfinite([each.jack_v for each in plug_in_power(SignalChain(), tuple(kinds)).values()]).all()
