"""The judgement against closed forms and hand-written equations, and relations that hold for every chain."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.link import from_link
from piezolab.circuit.weighting import a_weighting
from piezolab.quantity import series
from piezolab.studies.bias import bias
from piezolab.studies.hiss import noise
from piezolab.studies.hum import hum
from piezolab.studies.judging.hum_and_hiss import CABLE_F_PER_M, worse
from piezolab.studies.judging.judgement import DC_V, SETTLE_S, STEP_V, judgement
from piezolab.studies.judging.life import life
from piezolab.studies.judging.thin import THIN_DB, thin_part
from piezolab.studies.judging.worth import FOR, Worth, worth, worth_by_input
from piezolab.studies.levels import levels
from piezolab.studies.response import low_note_hz, response
from tests.chain.strategies import chains
from tests.studies.formulas import Slopes, common_source, follower, simple_chains

QUICK = 25


def bare_by_hand(chain: SignalChain, f: np.ndarray) -> np.ndarray:
    """|load over open circuit| of a single bare disc: its admittance against all that hangs on it."""
    v, w = chain.values, 2j * np.pi * np.asarray(f)
    disc = w * v.pickup_c * (1 + 0.004 * (v.temp_c - 25)) * (1 - 1j * v.pickup_loss)
    rest = 1 / v.pickup_r + 1 / v.input_r + w * (v.lead_m * v.lead_c + v.cable_m * v.cable_c + v.input_c)
    return np.abs(disc / (disc + rest))


def db(ratio: np.ndarray | float) -> np.ndarray | float:
    return 20 * np.log10(ratio)


# -- net level and worth by closed forms ------------------------------------------------------------------------------
@pytest.mark.parametrize(("stage", "formula"), [("follower", follower), ("gain", common_source)])
def test_net_level_and_worth_by_closed_forms(stage: str, formula) -> None:
    audio = np.geomspace(20, 20e3, 2001)
    for chain in simple_chains(stage, QUICK, seed=61, **({"drain_r": 0.0} if stage == "follower" else {})):
        found, note = judgement(chain), low_note_hz(chain)
        staged, bare = (abs(formula(chain, np.array([note]))[1][0]), bare_by_hand(chain, note))
        if not staged > 1e-12:
            continue
        assert float(found.sound.low_note_db) == pytest.approx(db(staged), abs=1e-6)
        assert float(found.bare.low_note_db) == pytest.approx(db(bare), abs=1e-6)
        most = np.abs(formula(chain, audio)[1]).max()
        assert float(found.sound.full_db) == pytest.approx(db(most), abs=5e-3)
        assert found.worth.bass_db == pytest.approx(db(staged / bare), abs=1e-6)
        v = chain.values
        c_p = v.pickup_c * (1 + 0.004 * (v.temp_c - 25))
        full = c_p / (c_p + v.lead_m * v.lead_c + v.cable_m * v.cable_c + v.input_c)
        assert found.worth.level_db == pytest.approx(db(most / full), abs=5e-3)


def test_hum_in_the_cable_of_a_bare_disc_by_hand() -> None:
    """A current through 3 fF for each metre into the disc, the cable and the input."""
    chain = SignalChain(stage="direct", pickup_c=1e-9, hum_c=0.0, cable_m=12.0, tuning="E2")
    v, f = chain.values, np.array([50.0 * n for n in (1, 3, 5, 7, 9, 11, 13)])
    share = np.array([1.0, 0.02, 0.03, 0.015, 0.005, 0.008, 0.005])
    w = 2j * np.pi * f
    y = w * 1e-9 * (1 - 0.02j) + 1e-9 + 1e-6 + w * (0.3 + 12.0) * 100e-12 + w * 100e-12
    level = np.abs(w) * 12.0 * CABLE_F_PER_M * 230.0 * share / np.abs(y)
    signal = bare_by_hand(chain, 1000.0) * v.play_v / math.sqrt(2)
    flat = db(np.sqrt(np.sum(level**2)) / signal)
    weighted = db(np.sqrt(np.sum((level * a_weighting(f)) ** 2)) / signal)
    assert float(judgement(chain).loudness.cable_db) == pytest.approx(max(weighted, flat - 10.0), abs=1e-6)


# -- hum and hiss on one scale ----------------------------------------------------------------------------------------
@given(chains())
def test_hum_and_hiss_are_those_of_their_studies_under_one_rule(chain: SignalChain) -> None:
    found, humming = judgement(chain).loudness, hum(chain)
    if not humming.signal_v_rms > 0:
        assert math.isnan(found.hum_db) and math.isnan(found.hiss_db)
        return
    weight = a_weighting(humming.frequency)
    weighted = float(np.sqrt(np.sum((humming.spectrum_v_rms * weight) ** 2)))
    flat_db = humming.relative_db
    a_db = 20 * math.log10(weighted / humming.signal_v_rms) if weighted > 0 else -math.inf
    assert float(found.hum_flat_db) == pytest.approx(flat_db, abs=1e-9)
    assert float(found.hum_db) == pytest.approx(max(a_db, flat_db - 10), abs=1e-9)
    assert float(found.hiss_db) == pytest.approx(-float(noise(chain).snr_db_a), abs=1e-9)


def test_hum_against_the_lowest_string_is_taken_under_one_weighting() -> None:
    """50 Hz alone counts flat less 10 dB; against the string the 10 dB cancel."""
    for link in ("", "tuning=E1&pickup_c=1n", "mains_hz=60"):
        chain = from_link(link)
        found = judgement(chain).loudness
        signal = response(chain, np.array([1000.0]))
        note = db(signal.low_note_gain / signal.gain_1khz)
        assert found.hum_flat_db - 10 > found.hum_a_db
        assert float(found.hum_re_note_db) == pytest.approx(float(found.hum_flat_db) - note, abs=1e-6)
    chain = from_link("loop_v=10m&hum_c=0&mains_hz=60")  # weighting A counts for more in a loop's harmonics
    found, signal = judgement(chain).loudness, response(chain, np.array([1000.0]))
    if found.hum_a_db >= found.hum_flat_db - 10:
        note = db(signal.low_note_gain / signal.gain_1khz * a_weighting(low_note_hz(chain)))
        assert float(found.hum_re_note_db) == pytest.approx(float(found.hum_a_db) - note, abs=1e-6)


@given(st.floats(-200, 50), st.floats(-200, 50), st.floats(0, 40))
def test_the_rule_for_hum_rises_with_either_figure(flat: float, a: float, more: float) -> None:
    assert worse(np.float64(flat + more), np.float64(a)) >= worse(np.float64(flat), np.float64(a))
    assert worse(np.float64(flat), np.float64(a + more)) >= worse(np.float64(flat), np.float64(a))


# -- worth ------------------------------------------------------------------------------------------------------------
def a_worth(**figures: float) -> Worth:
    return Worth(**{
        "bass_db": 0.0, "level_db": 0.0, "hiss_db": 0.0, "cable_db": 0.0, "room_db": 0.0, "hiss_heard": True,
        "cable_heard": True, "works": True, "silent": False, **figures,
    })  # fmt: skip


@pytest.mark.parametrize(
    ("figures", "gains", "costs", "worth_it"),
    [
        ({}, (), (), False),
        ({"bass_db": 1.0}, ("bass",), (), True),
        ({"bass_db": 0.99, "level_db": 0.99, "hiss_db": 2.99, "cable_db": 2.99}, (), (), False),
        ({"level_db": 1.0}, ("level",), (), True),
        ({"hiss_db": 3.0}, ("hiss",), (), True),
        ({"hiss_db": 30.0, "hiss_heard": False}, (), (), False),
        ({"cable_db": 3.0}, ("cable",), (), True),
        ({"bass_db": -1.0, "level_db": 20.0, "cable_db": 60.0}, ("level", "cable"), ("bass",), False),
        ({"bass_db": 5.0, "level_db": -1.5}, ("bass",), ("level",), True),
        ({"bass_db": 1.2, "level_db": -1.5}, ("bass",), ("level",), False),
        ({"hiss_db": 9.0, "level_db": -1.5}, ("hiss",), ("level",), False),
        ({"bass_db": 25.0, "level_db": 25.0, "room_db": -22.0}, ("bass", "level"), ("room",), False),
        ({"bass_db": 28.0, "level_db": -0.5, "room_db": -8.0}, ("bass",), ("room",), True),
        ({"bass_db": 9.0, "works": False}, (), (), False),
        ({"level_db": 2.0, "hiss_db": -9.0}, ("level",), ("hiss",), False),
    ],
)
def test_the_rule_of_worth_at_its_limits(figures, gains, costs, worth_it) -> None:
    found = a_worth(**figures)
    assert (found.gains, found.costs, found.worth_it) == (gains, costs, worth_it)


@given(st.floats(-40, 40), st.floats(-40, 40), st.floats(-40, 40), st.floats(-40, 40), st.floats(-40, 0))
def test_what_spoils_the_bass_is_never_worth_it(bass, level, hiss, cable, room) -> None:
    found = a_worth(bass_db=bass, level_db=level, hiss_db=hiss, cable_db=cable, room_db=room)
    assert not set(found.gains) & set(found.costs)
    assert not (found.worth_it and bass <= -1) and not (found.worth_it and not found.gains)
    better = a_worth(bass_db=bass + 5, level_db=level, hiss_db=hiss, cable_db=cable, room_db=room)
    assert better.worth_it or not found.worth_it


def test_a_stage_that_makes_it_thin_is_not_worth_it() -> None:
    found = judgement(from_link("pickup_c=440p&gate_r=1M&input=acoustic-amplifier&tuning=E2"))
    assert "bass" in found.worth.costs and not found.worth.worth_it and found.worth.level_db > 3
    assert found.thin.key == "gate_r" and found.thin.does == 10e6


def test_every_input_at_once_is_each_by_itself() -> None:
    chain = from_link("pickup_c=2n2&cable_m=8&shield_db=20")
    many = worth_by_input(chain)
    assert set(many) == set(catalogue.inputs())
    for kind, found in many.items():
        alone = worth(chain.but(input=kind))
        for name in ("bass_db", "level_db", "hiss_db", "cable_db", "room_db"):
            assert getattr(found, name) == pytest.approx(getattr(alone, name), abs=1e-6), (kind, name)
        assert found.gains == alone.gains and found.costs == alone.costs
    assert worth(chain.but(stage="direct")) == worth(chain)  # a follower stands for a stage that is not there yet


# -- the part that makes it thin --------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("link", "key"),
    [("pickup_c=1n&gate_r=470k", "gate_r"), ("out_c=10n&input=line", "out_c"), ("out_c=10n&bleed_r=1k", "out_c"),
     ("stage=gain&bypass_c=1u", "bypass_c")],
)  # fmt: skip
def test_the_least_preferred_value_that_does(link: str, key: str) -> None:
    chain = from_link(link)
    found = thin_part(chain)
    assert found.key == key and found.does > found.has
    grid = np.geomspace(20, 20e3, 801)

    def lost(value: float) -> float:
        whole = response(chain.but({key: value}), grid)
        return -whole.low_note_re_midband_db

    assert lost(found.does) <= THIN_DB + 1e-3
    row = sorted(m * 10.0**n for m in series("E12" if found.unit == "ohm" else "E6") for n in range(-12, 10))
    below = max(value for value in row if value < found.does * 0.999)
    assert below <= found.has or lost(below) > THIN_DB - 1e-3
    assert found.loss_db == pytest.approx(lost(found.has), abs=5e-3)


def test_the_corner_of_the_gate_resistor_by_hand() -> None:
    """Disc and lead, 1.03 nF, need R with 1 dB at D3: R = 1/(2 pi f C sqrt(10^0.1 - 1)), at which the transistor's few
    pF and what the bleed takes do not show."""
    chain = from_link("pickup_c=1n&gate_r=470k&out_c=100u")
    least = 1 / (2 * math.pi * 146.83 * 1.03e-9 * math.sqrt(10**0.1 - 1))
    found = thin_part(chain)
    assert found.does / 1.25 < least <= found.does * 1.01


def test_no_part_of_the_stage_is_blamed_for_what_is_not_its_own() -> None:
    assert thin_part(from_link("")) is None
    assert thin_part(from_link("stage=direct&pickup_c=300p&input=line")) is None
    assert thin_part(from_link("pickup_r=100k&pickup_c=1n&gate_r=100M")) is None  # the disc leaks
    assert thin_part(from_link("discs=2px")) is None


# -- edges, plugging, life, working -----------------------------------------------------------------------------------
@settings(max_examples=15)
@given(chains())
def test_relations_that_hold_for_every_chain(chain: SignalChain) -> None:
    found = judgement(chain)
    edges = found.edges
    assert edges.chain_v <= edges.stage_v * (1 + 1e-9)
    assert edges.chain_v == pytest.approx(float(levels(chain).clip_input_v_peak), rel=1e-12)
    assert edges.assumed == (edges.chain_cause == "input" and "input_max" not in chain.entered)
    assert edges.clips == (edges.headroom_db < 0) or edges.chain_v == 0
    assert set(found.worth.gains) <= set(FOR) and not set(found.worth.gains) & set(found.worth.costs)
    powered = chain.topology.powered
    assert (found.working is None) == (found.plug is None) == (not powered)
    assert (found.life is None) == (not powered or chain.supply == "adapter")
    if found.life is not None:
        shelf = catalogue.batteries()[chain.supply].shelf_years * 8766
        assert 0 <= found.life.hours <= shelf and 0 <= found.life.empty_h <= shelf
    if found.working is not None:
        assert 0 <= found.working.share <= 1 and (found.working.rest or not found.working.life)
    assert found.thin is None or found.thin.loss_db > THIN_DB


@pytest.mark.parametrize("supply", ["alkaline-9v", "carbon-zinc-9v", "coin-2", "aa-6"])
@pytest.mark.parametrize("stage", ["follower", "gain"])
def test_what_the_battery_takes_for_itself_by_a_resistor_in_its_lead(stage: str, supply: str) -> None:
    """The other route: the battery's resistance as a resistor of the network. Its figure is for the current without
    it, so it is the larger one, by no more than the part that the loss is of the whole."""
    chain = SignalChain(stage=stage, supply=supply, supply_v=catalogue.batteries()[supply].nominal_v)
    found = life(chain)
    end = catalogue.batteries()[supply].end_v
    assert found.own_ohm == catalogue.batteries()[supply].r_spent
    inside = bias(chain.but(supply_v=end, supply_r=found.own_ohm))
    taken = float(inside.supply_current) * found.own_ohm
    assert taken <= found.own_v * (1 + 1e-9) and found.own_v == pytest.approx(taken, rel=2 * found.own_v / end + 1e-6)
    # and no figure counts it: the operating point is that at the clip
    assert float(bias(chain.but(supply_v=end)).v_d) == pytest.approx(
        end - float(bias(chain.but(supply_v=end)).i_d) * chain.drain_r, rel=1e-9
    )


@pytest.mark.parametrize("stage", ["follower", "gain"])
def test_step_settling_and_direct_voltage_by_an_ode_solver(stage: str) -> None:
    """One capacitor between the stage, a voltage behind its resistance, and the bleed; a minute on its own, then with
    the input. The stage's resistance from the slopes on paper."""
    fixed = {"drain_r": 0.0} if stage == "follower" else {}
    settled = 0
    for chain in simple_chains(stage, 2 * QUICK, seed=17, bypass_c=0.0, jfet_ig=0.0, **fixed):
        found, v, q = judgement(chain).plug, chain.values, Slopes.of(chain)
        if not judgement(chain).works:
            continue
        under = q.g_m + q.g_ds
        behind = (
            1 / (under + 1 / v.source_r) if stage == "follower"
            else 1 / (1 / v.drain_r + q.g_ds / (1 + under * v.source_r))
        )  # fmt: skip
        leak, rest = found.leak_a, found.rest_v
        if abs(leak) * v.bleed_r > 0.3 * abs(rest):
            continue  # what leaks is bounded there: another test

        def charging(t: float, u: np.ndarray, ohm: float, rest=rest, leak=leak, farad=v.out_c) -> np.ndarray:
            return (rest - u - leak * ohm) / (farad * ohm)

        run = solve_ivp(charging, (0, 60), [0.0], args=(behind + v.bleed_r,), rtol=1e-9, atol=1e-12, method="LSODA")
        step = v.bleed_r * (rest - run.y[0, -1]) / (behind + v.bleed_r)
        assert abs(found.step_v) >= 0.98 * abs(step) - 2e-4, chain
        if v.out_c * (behind + v.bleed_r) > 15:
            continue  # the study adds the whole leak to what is left of the charging: never too little
        assert found.step_v == pytest.approx(step, rel=0.02, abs=2e-4), chain
        both = 1 / (1 / v.bleed_r + 1 / v.input_r)
        assert found.dc_v == pytest.approx(leak * both, rel=0.02, abs=1e-6)
        away = abs(found.step_v - found.dc_v)
        if away > 0.011:
            def near(t: float, u: np.ndarray, ohm: float) -> float:
                return u[0] - 10e-3

            near.terminal = True
            fall = solve_ivp(
                lambda t, u, ohm, farad=v.out_c: -u / (farad * ohm), (0, 1e6), [away], args=(behind + both,),
                events=near, rtol=1e-9, atol=1e-12, method="LSODA",
            )  # fmt: skip
            assert found.settle_s == pytest.approx(fall.t[-1], rel=0.02, abs=1e-5), chain
            settled += 1
    assert settled


def test_the_limits_of_plugging_in() -> None:
    assert (STEP_V, SETTLE_S, DC_V) == (0.1, 3.0, 50e-3)
    assert judgement(SignalChain()).quiet_to_plug and judgement(SignalChain(stage="direct")).quiet_to_plug
    assert not judgement(from_link("out_c=100u&bleed_r=1M")).quiet_to_plug


@pytest.mark.parametrize(
    ("link", "count"),
    [("", 1), ("supply_v=3", 1), ("supply_v=9.4", 1), ("supply_v=18", 2), ("supply_v=18.8", 2), ("supply_v=27", 3),
     ("supply_v=25", None), ("supply_v=12", None), ("supply=aa-3&supply_v=9", 2), ("supply=coin-2&supply_v=12", 2)],
)  # fmt: skip
def test_whole_batteries(link: str, count: int | None) -> None:
    assert judgement(from_link(link)).life.batteries == count


def test_a_battery_never_outlasts_its_shelf_life() -> None:
    """A stage that draws next to nothing: the capacity would last for decades."""
    found = judgement(from_link("source_r=10M&supply=aa-6&play_v=1m")).life
    assert (found.hours, found.ends_by) == (7.0 * 8766, "shelf life")
    clipped = judgement(from_link("source_r=10M&supply=aa-6&play_v=100")).life
    assert clipped.hours == 0 and (clipped.empty_h, clipped.empty_by) == (7.0 * 8766, "shelf life")


def test_working_over_the_type() -> None:
    found = judgement(SignalChain()).working
    assert found.rest and found.life and found.spread and found.share == 1.0
    half = judgement(from_link("jfet=2N3819&return=divider&supply_v=9")).working
    assert half.share < 0.9 and not half.spread
    measured = judgement(from_link("jfet_idss=5m&jfet_vgsoff=2")).working
    assert measured.share in (0.0, 1.0)
