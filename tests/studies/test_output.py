"""Impedances at both ends against nodal equations on paper."""

from typing import Any

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.studies.linear import LinearChain
from piezolab.studies.output import at_the_jack, free, impedances, load_impedance, output_corner, output_impedance
from tests.studies.formulas import Slopes, Surroundings, common_source, follower, simple_chains

F = np.geomspace(5, 500e3, 41)


def parallel(*ohms: Any) -> Any:
    return 1 / sum(1 / ohm for ohm in ohms)


# -- output -----------------------------------------------------------------------------------------------------------
def test_no_stage_is_the_pickup_with_its_lead() -> None:
    chain = SignalChain(stage="direct", pickup_loss=0.01, lead_m=2, cable_m=50, input="line")
    s = 2j * np.pi * F
    expected = 1 / (s * 15e-9 * (1 - 0.01j) + 1e-9 + s * 200e-12)
    assert impedances(chain, F).output == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("chain", simple_chains("follower", 40, 11, drain_r=0.0))
def test_follower_from_the_jack_on_paper(chain: SignalChain) -> None:
    """Seen from the source: the gate follows through C_gs as far as the dead pickup lets it, g_m works on the rest."""
    q, a, w = Slopes.of(chain), Surroundings.of(chain, F), 2j * np.pi * F
    y_gs, y_gd = q.g_gs + w * q.c_gs, q.g_gd + w * q.c_gd
    follows = y_gs / (y_gs + y_gd + a.pickup + a.gate)
    source = q.g_ds + a.source + (q.g_m + y_gs) * (1 - follows)
    expected = parallel(1 / source + 1 / a.coupling, chain.bleed_r)
    assert impedances(chain, F).output == pytest.approx(expected, rel=1e-9)


def test_follower_in_short() -> None:
    """1/(g_m + g_ds) beside R_S, the coupling capacitor's reactance on top, the bleed resistor beside all of it."""
    chain = SignalChain(jfet="2N5457", pickup_c=100e-9, out_c=220e-9)
    q, s = Slopes.of(chain), 2j * np.pi * 1e3
    expected = parallel(parallel(1 / (q.g_m + q.g_ds), 3.9e3) + 1 / (s * 220e-9), 100e3)
    found = impedances(chain).output
    assert found == pytest.approx(expected, rel=1e-3)
    # at 1 kHz most of the magnitude is the capacitor: the resistive part is the one that says what the stage can drive
    assert np.abs(found) > 1.2 * found.real > 0


def test_a_small_pickup_capacitance_raises_the_output_resistance() -> None:
    entered = {"jfet": "2N5457", "jfet_ciss": 50e-12, "jfet_crss": 10e-12, "lead_m": 0.0}
    small, large = (impedances(SignalChain({**entered, "pickup_c": c})).output.real for c in (60e-12, 100e-9))
    assert small > 1.2 * large


def test_gain_stage_in_short() -> None:
    """R_D beside the transistor's own resistance, which an unbypassed source resistor multiplies."""
    for bypass_c, lift in ((10e-3, 0.0), (0.0, 1.0)):
        chain = SignalChain(
            stage="gain", jfet="2N5457", supply_v=18, bypass_c=bypass_c, out_c=1e-3, pickup_c=500e-9, jfet_crss=0
        )
        q = Slopes.of(chain)
        own = (1 + lift * (q.g_m + q.g_ds) * 1.5e3) / q.g_ds
        assert impedances(chain).output.real == pytest.approx(parallel(6.8e3, own, 100e3), rel=1e-3)


def test_cable_pad_and_input_do_not_count_at_the_jack() -> None:
    bare = SignalChain(cable_m=0, input_r=1e9, input_c=0)
    for changes in ({"cable_m": 80.0}, {"input": "microphone"}, {"pad": (1e3, 1e2)}):
        changed = impedances(bare.but(input_r=None, input_c=None).but(changes), F).output
        assert changed == pytest.approx(impedances(bare, F).output, rel=1e-9)


def test_the_operating_point_stays_that_of_the_whole_chain() -> None:
    """Taking pickup or input out for the measurement must not move the transistor."""
    chain = SignalChain(pickup_r=10e3, **{"return": "divider"})
    q = LinearChain.of(chain.values).transistor
    assert q.v_gs < -0.8  # the leaky pickup pulls the gate down to nearly 0 V
    found = impedances(chain).output
    assert found.real == pytest.approx(parallel(1 / (q.g_m + q.g_ds), 3.9e3), rel=0.05)


# -- input ------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("chain", simple_chains("follower", 40, 12, drain_r=0.0))
def test_follower_as_the_pickup_sees_it(chain: SignalChain) -> None:
    seen = follower(chain, F)[2] - 1 / chain.pickup_r
    found = impedances(chain, F)
    assert 1 / found.input == pytest.approx(seen, rel=1e-8)
    assert found.input_capacitance == pytest.approx(seen.imag / (2 * np.pi * F), rel=1e-8)


@pytest.mark.parametrize("chain", simple_chains("gain", 40, 13))
def test_gain_stage_as_the_pickup_sees_it(chain: SignalChain) -> None:
    seen = common_source(chain, F)[2] - 1 / chain.pickup_r
    assert 1 / impedances(chain, F).input == pytest.approx(seen, rel=1e-7)


def test_a_capacitive_load_turns_a_followers_input_conductance_negative() -> None:
    """Through C_gs the lagging source pushes current back: shown as it is."""
    chain = SignalChain(jfet="2N5457", cable_m=100, cable_c=1e-9, gate_r=1e9, jfet_ciss=10e-12, jfet_crss=1e-12)
    f = np.array([20e3])
    found = impedances(chain, f)
    seen = follower(chain, f)[2] - 1 / chain.pickup_r
    assert found.input_resistance[0] < 0
    assert found.input_resistance[0] == pytest.approx(1 / seen.real[0], rel=1e-6)
    assert impedances(chain.but(cable_m=0, input_c=0), f).input_resistance[0] > 0


def test_bootstrapping_multiplies_the_gate_resistor() -> None:
    """R_G returned to a tap at half of R_S carries only 1 - gain/2 of the voltage."""
    entered = {"jfet": "2N5457", "jfet_ig": 0.0, "gate_r": 1e6, "jfet_ciss": 0.1e-12, "jfet_crss": 0.0, "return": "tap"}
    chain = SignalChain({**entered, "return_part": 0.5, "pickup_r": 100e9})
    up = np.abs(LinearChain.of(chain.values).gain(np.array([1e3])))[0]
    found = float(impedances(chain).input_resistance)
    assert found == pytest.approx(1e6 / (1 - up / 2), rel=0.01)
    assert found > 1.6e6


def test_an_unbypassed_divider_adds_to_the_gate_resistor_and_a_bypassed_one_does_not() -> None:
    entered = {"jfet_ig": 0.0, "gate_r": 1e6, "return": "divider", "return_part": 0.5, "divider_r": 4e6}
    entered |= {"lead_m": 0.0, "jfet_ciss": 0.1e-12, "jfet_crss": 0.0}
    bypassed, open_ = (
        float(impedances(SignalChain({**entered, "divider_c": c})).input_resistance) for c in (1e-3, 0.0)
    )
    assert bypassed == pytest.approx(1e6, rel=1e-4)
    assert open_ == pytest.approx(1e6 + 1e6, rel=1e-4)  # R1 parallel R2 = 1 megohm


def test_without_a_stage_the_pickup_sees_lead_cable_and_input() -> None:
    chain = SignalChain(stage="direct", lead_m=1, cable_m=5, input_r=470e3, input_c=200e-12)
    found = impedances(chain)
    assert found.input_resistance == pytest.approx(470e3, rel=1e-9)
    assert found.input_capacitance == pytest.approx(100e-12 + 500e-12 + 200e-12, rel=1e-9)
    assert found.frequency == 1000 and np.shape(found.output) == ()


# -- what is plugged in, and nothing plugged in -----------------------------------------------------------------------
@pytest.mark.parametrize("pad", [None, (10e3, 1e3)])
@pytest.mark.parametrize("stage", ["direct", "follower", "gain"])
def test_free_output_and_load_make_the_loaded_chain(stage: str, pad: tuple | None) -> None:
    """Thevenin: loaded = free * Z_load/(Z_out + Z_load), then the pad's own division."""
    chain = SignalChain(stage=stage, pickup_c=2.2e-9, cable_m=20.0, input="line-47k", pad=pad)
    z_out, z_load = impedances(chain, F).output, load_impedance(chain, F)
    y_in = 1 / 47e3 + 2j * np.pi * F * 200e-12
    after = 1.0 if pad is None else parallel(pad[1], 1 / y_in) / (pad[0] + parallel(pad[1], 1 / y_in))
    expected = free(chain.values).gain(F) * z_load / (z_out + z_load) * after
    assert LinearChain.of(chain.values).gain(F) == pytest.approx(expected, rel=1e-9)


def test_free_is_a_chain_without_load() -> None:
    chain = SignalChain(cable_m=30.0, input="microphone", pad=(10e3, 1e3))
    bare = chain.but(cable_m=0.0, pad=None, input="amplifier", input_r=1e9, input_c=0.0)
    assert free(chain.values).gain(F) == pytest.approx(LinearChain.of(bare.values).gain(F), rel=1e-4)


@pytest.mark.parametrize("stage", ["follower", "gain"])
@pytest.mark.parametrize("kind", ["amplifier", "line", "microphone"])
def test_output_corner_is_where_the_capacitor_takes_3_db(stage: str, kind: str) -> None:
    """Against the gain with the capacitor and with a very large one."""
    chain = SignalChain(stage=stage, input=kind, out_c=1e-6, pickup_c=500e-9, gate_r=1e9, bypass_c=0.0, supply_c=0.0)
    found = output_corner(chain)
    values, f = chain.values, np.array([found.corner_hz])
    assert found.load_ohm == pytest.approx(parallel(values.bleed_r, values.input_r), rel=1e-4)
    ratio = LinearChain.of(values).gain(f) / LinearChain.of(values.but(out_c=1.0)).gain(f)
    assert np.abs(ratio) == pytest.approx(np.sqrt(0.5), rel=1e-3)


def test_no_output_capacitor_no_corner() -> None:
    assert output_corner(SignalChain(stage="direct")) is None


@pytest.mark.parametrize("query", [{}, {"stage": "gain", "pad": (10e3, 1e3)}, {"stage": "direct"}, {"discs": "2px"}])
def test_both_at_the_jack_are_each_by_itself(query: dict[str, object]) -> None:
    chain, f = SignalChain(query), np.array([30.0, 1e3, 15e3])
    alone, ohm = at_the_jack(chain, f)
    assert alone == pytest.approx(free(chain.values).gain(f), rel=1e-11, abs=1e-18)
    assert ohm == pytest.approx(output_impedance(chain, f), rel=1e-11)
