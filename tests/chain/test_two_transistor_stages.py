"""The stages with two transistors against hand-written equations, and their second transistor's own settings."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.link import from_link, to_query
from piezolab.chain.stages.steady_follower import HOLD_OHM
from piezolab.pages.kit.worth_words import second_sentence
from piezolab.studies.bias import bias, bias_of
from piezolab.studies.board_as_built import BoardAsBuilt
from piezolab.studies.judging.worth import second_worth, without_second
from piezolab.studies.knock import knock
from piezolab.studies.linear import LinearChain
from piezolab.studies.population import builds, population
from piezolab.studies.response import response

QUIET = {"lead_m": 0, "cable_m": 0, "input_c": 0, "input_r": 1e9, "bleed_r": 1e8, "out_c": 1e-3, "pickup_c": 500e-9,
         "pickup_r": 1e11, "jfet_ciss": 0.1e-12, "jfet_crss": 0, "gate_r": 1e9, "jfet_ig": 0}  # fmt: skip


def drain_current(v_gs: float, v_ds: float, idss: float, vgsoff: float, lambda_: float, vds_test: float) -> float:
    """The square law of Shichman and Hodges (1968) in saturation, I_DSS read at vds_test."""
    overdrive = max(v_gs - vgsoff, 0.0)
    return idss / (1 + lambda_ * vds_test) / vgsoff**2 * overdrive**2 * (1 + lambda_ * v_ds)


@settings(max_examples=25, deadline=None)
@given(
    idss=st.tuples(st.floats(4e-3, 9e-3), st.floats(4e-3, 9e-3)),
    vgsoff=st.tuples(st.floats(-2.2, -1.2), st.floats(-2.2, -1.2)),
    ohm=st.floats(500.0, 5e3),
)
def test_steady_follower_at_rest(idss: tuple[float, float], vgsoff: tuple[float, float], ohm: float) -> None:
    """Two square laws and three node equations, solved one inside the other."""
    chain = SignalChain(
        stage="steady", jfet_idss=idss[0], jfet_vds=9, jfet_vgsoff=vgsoff[0], jfet_lambda=0.01, jfet_ig=0,
        second="J113", second_idss=idss[1], second_vgsoff=vgsoff[1], steady_r=ohm, divider_c=0, pickup_r=1e11,
    )  # fmt: skip
    second = catalogue.transistors()["J113"].lambda_
    v_g = 4.5 * 1e11 / (1e11 + 4.7e6 + 500e3)  # the disc's own leakage pulls at the divider

    def sunk(v_s: float) -> float:
        def left(foot: float) -> float:
            return foot / ohm - drain_current(-foot, v_s - foot, idss[1], vgsoff[1], second, 9.0)

        return brentq(left, 0.0, 3.0, xtol=1e-15) / ohm

    def upper(v_s: float) -> float:
        return drain_current(v_g - v_s, 9 - v_s, idss[0], vgsoff[0], 0.01, 9.0)

    v_s = brentq(lambda v: upper(v) - sunk(v) - v / HOLD_OHM, v_g, v_g + 2.2, xtol=1e-14)
    found = bias(chain)
    assert found.works
    assert found.v_s == pytest.approx(v_s, rel=1e-6)
    assert found.i_d == pytest.approx(upper(v_s), rel=1e-6)
    assert LinearChain.of(chain.values).point.jfets["Q2"].i_d == pytest.approx(sunk(v_s), rel=1e-6)


def test_driven_follower_at_rest() -> None:
    """The gain stage knows nothing of the follower but its leakage; the follower's V_GS from its own current."""
    chain = SignalChain(
        stage="driven", jfet_idss=5e-3, jfet_vds=9, jfet_vgsoff=-1.5, jfet_lambda=0.01, jfet_ig=0, source_r=2.2e3,
        drain_r=6.8e3, second="J201", second_idss=0.6e-3, second_vgsoff=-0.8, follow_r=22e3, gate_r=1e6,
    )  # fmt: skip
    kind = catalogue.transistors()["J201"]

    def first(v_s: float) -> float:
        i = v_s / 2.2e3
        return i - drain_current(-v_s, 9 - 6.8e3 * i - v_s, 5e-3, -1.5, 0.01, 9.0)

    v_s = brentq(first, 0.0, 1.5, xtol=1e-15)
    v_d = 9 - 6.8e3 * v_s / 2.2e3
    v_f = brentq(
        lambda v: v / 22e3 - drain_current(v_d - v, 9 - v, 0.6e-3, -0.8, kind.lambda_, 9.0), v_d, v_d + 0.8, xtol=1e-14
    )
    found, point = bias(chain), LinearChain.of(chain.values).point
    assert found.works
    assert (found.v_s, found.v_d) == pytest.approx((v_s, v_d), rel=1e-5)  # the second gate leaks into the drain
    assert point.voltage("follower") == pytest.approx(v_f, rel=1e-5)


def test_gain_of_the_steady_follower() -> None:
    """g_m/(g_m + g_ds + g_o), where g_o = g_ds2/(1 + (g_m2 + g_ds2) R) is the steady current's own conductance."""
    chain = SignalChain(stage="steady", steady_r=1e3, divider_r=1e8, **QUIET)
    found = response(chain, np.array([1e3]))
    point = LinearChain.of(chain.values).point
    one, two = point.jfets["Q1"], point.jfets["Q2"]
    steady = two.g_ds / (1 + (two.g_m + two.g_ds) * 1e3)
    load = 1 / HOLD_OHM + 1 / 1e8 + 1 / 1e9
    assert found.gain[0] == pytest.approx(one.g_m / (one.g_m + one.g_ds + steady + load), rel=2e-4)
    plain = response(SignalChain(stage="follower", source_r=3.9e3, **QUIET), np.array([1e3]))
    assert abs(plain.gain[0]) < abs(found.gain[0]) < 1  # what the second transistor brings


def test_gain_of_the_driven_follower() -> None:
    """-g_m R_D/(1 + (g_m + g_ds) R_S + g_ds R_D) of the first, times g_m/(g_m + g_ds + 1/R_F) of the second."""
    chain = SignalChain(stage="driven", bypass_c=0, second="J201", follow_r=22e3, **QUIET)
    found = response(chain, np.array([100.0]))
    point = LinearChain.of(chain.values).point
    one, two = point.jfets["Q1"], point.jfets["Q2"]
    first = -one.g_m * 6.8e3 / (1 + (one.g_m + one.g_ds) * 1.5e3 + one.g_ds * 6.8e3)
    second = two.g_m / (two.g_m + two.g_ds + 1 / 22e3 + 1 / 1e8 + 1 / 1e9)
    assert found.gain[0] == pytest.approx(first * second, rel=2e-4)


def test_the_second_is_the_firsts_type_until_another_is_chosen() -> None:
    chain = SignalChain(stage="steady", jfet="2N5457")
    assert chain.second == "2N5457" and to_query(chain) == "stage=steady&jfet=2N5457"
    kind = catalogue.transistors()["J201"]
    other = from_link("stage=steady&second=J201")
    assert other.values.second_idss == kind.idss_typical
    assert other.values.second_vgsoff == -kind.vgsoff_intercept_typical
    measured = other.but(second_idss=0.5e-3, second_vgsoff=-0.7)
    assert measured.values.second_vds == 9.0  # as of the first: measured on the battery
    assert measured.measured("second") and not measured.measured("jfet") and not measured.transistor_measured
    assert measured.but(jfet_idss=5e-3, jfet_vgsoff=-1).transistor_measured
    assert SignalChain(jfet_idss=5e-3, jfet_vgsoff=-1).transistor_measured


def test_both_are_drawn_and_apart_from_each_other() -> None:
    many = builds(SignalChain(stage="steady"), 2000)
    assert np.sort(many.jfet_vgsoff) == pytest.approx(np.sort(population("J113", 2000).vgsoff))
    assert np.abs(np.corrcoef(many.jfet_vgsoff, many.second_vgsoff)[0, 1]) < 4 / np.sqrt(2000)
    assert bias_of(many).works.shape == (2000,)
    held = builds(SignalChain(stage="steady", second_idss=5e-3, second_vgsoff=-1.2), 50)
    assert (held.second_idss, held.second_vgsoff) == (5e-3, -1.2) and held.jfet_idss.shape == (50,)
    assert "second_idss" not in {key for key, value in builds(SignalChain(), 50).as_dict().items() if np.ndim(value)}


def test_legs_of_another_type_are_its_own() -> None:
    """Where the types are alike their legs are; another type's are those that the catalogue has seen."""
    build = BoardAsBuilt()
    alike = build.layout(SignalChain(stage="steady"))
    assert alike.second_pins is None
    other = build.layout(SignalChain(stage="steady", second="BF245B"))
    seen = catalogue.transistors()["BF245B"].pins_seen
    assert other.second_pins in seen and other.pins == alike.pins


def test_when_the_second_transistor_is_worth_its_solder() -> None:
    """Into a heavy input a follower after the gain stage brings what the drain resistor would lose there."""
    heavy = SignalChain(stage="driven", input_r=10e3, play_v=0.05)
    found = second_worth(heavy)
    by_hand = response(heavy, np.array([1e3])).gain / response(heavy.but(stage="gain"), np.array([1e3])).gain
    assert found.level_db == pytest.approx(float(20 * np.log10(np.abs(by_hand[0]))), abs=0.02)
    assert found.worth_it and "is worth its solder" in second_sentence(heavy, found)
    light = SignalChain(stage="driven", input_r=1e6, play_v=0.05)
    assert not second_worth(light).worth_it
    assert "brings nothing that counts" in second_sentence(light, second_worth(light))
    assert second_worth(SignalChain(stage="gain")) is None


def test_a_steady_follower_is_weighed_against_one_of_the_same_current() -> None:
    chain = SignalChain(stage="steady")
    plain = without_second(chain)
    assert plain.stage == "follower" and plain["return"] == "divider"
    assert bias(plain).i_d == pytest.approx(bias(chain).i_d, rel=0.02)


def test_the_lower_rating_of_two_types_counts() -> None:
    chain = SignalChain(stage="steady", second="J201")
    rows = [catalogue.transistors()[name] for name in ("J113", "J201")]
    found = knock(chain, 5.0)
    assert found.may_v == min(row.vgs_max for row in rows)
    assert found.may_drain_v == min(row.vds_max for row in rows)
