"""Hum against a solution by hand: nodal equations of the follower, solved by substitution."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from piezolab.chain import SignalChain
from piezolab.studies.hum import LOOP_HARMONICS, MAINS_HARMONICS, hum, with_room
from piezolab.studies.linear import LinearChain


def log_uniform(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(np.log(low), np.log(high)).map(lambda x: float(np.exp(x)))


FOLLOWERS = st.fixed_dictionaries(
    {
        "pickup_c": log_uniform(1e-9, 100e-9),
        "pickup_r": log_uniform(1e6, 1e10),
        "pickup_loss": st.floats(0, 0.2),
        "lead_m": st.floats(0.1, 10),
        "gate_r": log_uniform(100e3, 100e6),
        "source_r": log_uniform(1e3, 50e3),
        "out_c": log_uniform(50e-9, 20e-6),
        "bleed_r": log_uniform(10e3, 1e6),
        "cable_m": st.floats(0.1, 30),
        "input_r": log_uniform(5e3, 10e6),
        "input_c": log_uniform(10e-12, 1e-9),
        "hum_c": log_uniform(0.05e-12, 50e-12),
        "shield_db": st.floats(0, 60),
        "cable_hum_c": log_uniform(0.05e-12, 50e-12),
        "loop_v": log_uniform(1e-3, 0.5),
        "ripple_v": log_uniform(1e-3, 0.5),
        "supply_c": log_uniform(1e-6, 1e-3),
        "mains_hz": st.sampled_from([50, 60]),
        "mains_v": st.sampled_from([100, 120, 230]),
    }
)


def by_hand(chain: SignalChain, frequency: np.ndarray, way: str) -> np.ndarray:
    """Load voltage per volt of one source, with each node equation written out for the follower."""
    v, q = chain.values, LinearChain.of(chain.values).transistor
    w = 2j * np.pi * frequency
    c_gs, c_gd = v.jfet_ciss - v.jfet_crss, v.jfet_crss
    c_x = v.hum_c * 10 ** (-v.shield_db / 20)
    room, cord, ripple, loop = (float(way == name) for name in ("room", "cord", "ripple", "loop"))
    y_gs, y_gd = w * c_gs + q.g_gs, w * c_gd + q.g_gd
    y_disc = w * v.pickup_c * (1 - 1j * v.pickup_loss)
    y_p = y_disc + 1 / v.pickup_r + 1 / v.gate_r + w * (v.lead_m * v.lead_c + c_x) + y_gs + y_gd
    y_c, y_in = w * v.out_c, 1 / v.input_r + w * v.input_c
    y_s = 1 / v.source_r + q.g_ds + q.g_m + y_gs + y_c
    y_j = y_c + 1 / v.bleed_r + w * (v.cable_m * v.cable_c + v.cable_hum_c) + y_in
    into_p, into_s, into_j = w * c_x * room + y_gd * ripple, q.g_ds * ripple, y_in * loop + w * v.cable_hum_c * cord
    # V_p = (into_p + y_gs V_s)/y_p and V_j = (into_j + y_c V_s)/y_j, put into the source's equation
    drive = q.g_m + y_gs
    v_s = (into_s + drive * into_p / y_p + y_c * into_j / y_j) / (y_s - drive * y_gs / y_p - y_c**2 / y_j)
    return (into_j + y_c * v_s) / y_j - loop


@given(FOLLOWERS)
def test_hum_of_a_follower_as_solved_by_hand(values: dict[str, float]) -> None:
    chain = SignalChain(values, supply="adapter")
    found = hum(chain)
    for way, level, table in (
        ("room", values["mains_v"], MAINS_HARMONICS),
        ("cord", values["mains_v"], MAINS_HARMONICS),
        ("ripple", values["ripple_v"], {2: 1.0}),
        ("loop", values["loop_v"], LOOP_HARMONICS),
    ):
        orders = found.frequency / values["mains_hz"]
        shares = np.array([table.get(round(n), 0.0) for n in orders])
        if way == "loop":
            shares = shares / np.sqrt(np.sum(shares**2))
        expected = np.abs(by_hand(chain, found.frequency, way)) * level * shares
        np.testing.assert_allclose(found.by_way[way], expected, rtol=1e-9, atol=1e-15)
    total = np.sqrt(sum(np.sum(level**2) for level in found.by_way.values()))
    assert found.output_v_rms == pytest.approx(total, rel=1e-12)


@given(FOLLOWERS)
def test_a_follower_does_not_cure_hum_at_the_pickup_node(values: dict[str, float]) -> None:
    """At one frequency hum over signal is C_x V_m/(C_p V_s) whatever the load: both meet the same impedance."""
    quiet = {**values, "loop_v": 0.0, "pickup_loss": 0.0}
    ratios = []
    for changes in ({}, {"stage": "direct"}, {"input_r": 1e3}, {"cable_m": 90.0}):
        chain = SignalChain({**quiet, **changes})
        linear = LinearChain.of(chain.values)
        network, (load, _) = with_room(linear)
        from piezolab.circuit.small_signal import transfer

        into = transfer(network, 50.0, "E_room", load)
        wanted = transfer(network, 50.0, linear.assembly.drive, load)
        ratios.append(abs(complex(into / wanted)))
    c_x = values["hum_c"] * 10 ** (-values["shield_db"] / 20)
    assert ratios == pytest.approx([c_x / values["pickup_c"]] * 4, rel=1e-9)


def test_the_ratio_in_decibels_counts_rms_on_both_sides() -> None:
    """0.5 pF from 230 V rms against 1 V peak behind 15 nF, at mid-band: 20 lg(C_x V_m sqrt(2)/(C_p V_peak))."""
    found = hum(SignalChain())
    expected = 20 * np.log10(0.5e-12 * 230 / (15e-9 / np.sqrt(2)))
    assert found.relative_db == pytest.approx(expected, abs=0.05)


def test_more_gate_resistance_does_not_change_hum_over_signal_at_the_pickup() -> None:
    small, large = (hum(SignalChain(gate_r=r, tuning="E4")).way_relative_db("room") for r in (4.7e6, 47e6))
    assert abs(small - large) < 0.1


def test_a_follower_lowers_hum_coupled_into_the_output_cable() -> None:
    """A current injected into the cable's hot conductor meets the stage's output impedance, not the pickup's."""
    from piezolab.circuit.small_signal import impedance

    bare, stage = (
        abs(complex(impedance(LinearChain.of(SignalChain(stage=s).values).network, 50.0, node)))
        for s, node in (("direct", "pickup"), ("follower", "jack"))
    )
    assert stage < bare / 50
    less = [hum(SignalChain(stage=s, cable_hum_c=1e-12)).way_v_rms("cord") for s in ("direct", "follower")]
    assert less[0] / less[1] == pytest.approx(bare / stage, rel=0.02)
    assert hum(SignalChain()).way_v_rms("cord") == 0.0, "none unless it is entered"


def test_shield_battery_and_loop_act_where_they_should() -> None:
    plain = hum(SignalChain())
    shielded = hum(SignalChain(shield_db=30))
    assert shielded.way_relative_db("room") == pytest.approx(plain.way_relative_db("room") - 30, abs=1e-3)
    assert hum(SignalChain(ripple_v=1.0)).way_v_rms("ripple") == 0.0, "a battery has no ripple"
    adapter = hum(SignalChain(supply="adapter"))
    assert adapter.way_v_rms("ripple") > 0
    assert hum(SignalChain(supply="adapter", stage="direct")).way_v_rms("ripple") == 0.0, "nothing to feed"
    loop = hum(SignalChain(loop_v=10e-3))
    assert loop.way_v_rms("loop") == pytest.approx(10e-3, rel=0.01), "a stiff stage passes all of it to the load"
    unbypassed = hum(SignalChain(supply="adapter", **{"return": "divider", "divider_c": 0.0}))
    bypassed = hum(SignalChain(supply="adapter", **{"return": "divider"}))
    assert unbypassed.way_v_rms("ripple") > 1.5 * bypassed.way_v_rms("ripple")


def test_opposed_discs_have_no_signal_to_compare_with() -> None:
    found = hum(SignalChain(discs="2px"))
    assert found.signal_v_rms == pytest.approx(0, abs=1e-12)
    assert found.output_v_rms > 0
