"""The linear chain against three other routes: closed forms, nodal equations by hand, and python-control."""

from typing import Any

import control
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from piezolab.chain import SignalChain
from piezolab.chain.parameters import all_parameters
from piezolab.circuit.small_signal import transfer
from piezolab.studies.linear import LinearChain
from tests.chain.strategies import random_chain, random_value, sizes
from tests.studies.formulas import SIMPLE, Slopes, Surroundings, common_source, follower, simple_chains

F = np.geomspace(1, 1e6, 61)
PLAIN: dict[str, Any] = {"resonance": None, "pad": None, "discs": "1", "pickup_loss": 0.0}


def gain(chain: SignalChain, f: np.ndarray = F) -> np.ndarray:
    return LinearChain.of(chain.values).gain(f)


# -- no stage ---------------------------------------------------------------------------------------------------------
def test_bare_pickup_against_the_textbook_formula() -> None:
    """H = j w R_T C_p/(1 + j w R_T (C_p + C_c + C_L)), over 400 random chains."""
    rng = np.random.default_rng(1)
    for _ in range(400):
        chain = random_chain(rng, **PLAIN, stage="direct")
        v = chain.values
        c_p = v.pickup_c * (1 + 0.004 * (v.temp_c - 25))
        r_t = 1 / (1 / v.pickup_r + 1 / v.input_r)
        total = c_p + v.lead_m * v.lead_c + v.cable_m * v.cable_c + v.input_c
        x = 2j * np.pi * F * r_t
        assert gain(chain) == pytest.approx(x * c_p / (1 + x * total), rel=1e-9)


def test_dielectric_loss_is_a_conductance_beside_the_capacitance() -> None:
    rng = np.random.default_rng(2)
    for _ in range(100):
        chain = random_chain(rng, **{**PLAIN, "pickup_loss": rng.uniform(0.001, 0.2)}, stage="direct")
        v, w = chain.values, 2 * np.pi * F
        c_p = v.pickup_c * (1 + 0.004 * (v.temp_c - 25))
        source = 1j * w * c_p + w * c_p * v.pickup_loss
        load = 1 / v.pickup_r + 1 / v.input_r
        load = load + 1j * w * (v.lead_m * v.lead_c + v.cable_m * v.cable_c + v.input_c)
        assert gain(chain) == pytest.approx(source / (source + load), rel=1e-9)


def test_pad_before_the_input() -> None:
    rng = np.random.default_rng(3)
    for _ in range(100):
        pad = tuple(10 ** rng.uniform(0, 7, 2))
        chain = random_chain(rng, **{**PLAIN, "pad": pad}, stage="direct")
        v, w = chain.values, 2j * np.pi * F
        foot = 1 / pad[1] + 1 / v.input_r + w * v.input_c
        after = 1 / (pad[0] + 1 / foot)
        source = w * v.pickup_c * (1 + 0.004 * (v.temp_c - 25))
        before = 1 / v.pickup_r + w * (v.lead_m * v.lead_c + v.cable_m * v.cable_c)
        expected = source / (source + before + after) * after / foot
        assert gain(chain) == pytest.approx(expected, rel=1e-9)


# -- discs ------------------------------------------------------------------------------------------------------------
DIRECT = {**PLAIN, "stage": "direct", "pickup_c": 10e-9, "lead_m": 5.0, "cable_m": 20.0}


@given(sizes(50e-12, 500e-9), sizes(10e3, 100e9), st.floats(0, 0.2))
def test_two_discs_alike_are_one_of_twice_or_half_the_capacitance(c: float, r: float, loss: float) -> None:
    both = {**DIRECT, "pickup_loss": loss}
    parallel = gain(SignalChain({**both, "discs": "2p", "pickup_c": c, "pickup_r": r}))
    series = gain(SignalChain({**both, "discs": "2s", "pickup_c": c, "pickup_r": r}))
    values = SignalChain({**both}).values
    assert parallel == pytest.approx(LinearChain.of(values.but(pickup_c=2 * c, pickup_r=r / 2)).gain(F), rel=1e-9)
    assert series == pytest.approx(2 * LinearChain.of(values.but(pickup_c=c / 2, pickup_r=2 * r)).gain(F), rel=1e-9)


@pytest.mark.parametrize("stage", ["direct", "follower", "gain"])
@pytest.mark.parametrize("resonance", [None, (3e3, 20.0, 0.2)])
@pytest.mark.parametrize("discs", ["2px", "2sx"])
def test_opposed_discs_cancel_to_nothing(stage: str, resonance: Any, discs: str) -> None:
    chain = SignalChain(stage=stage, discs=discs, resonance=resonance)
    assert np.all(gain(chain) == 0)


def shared(chain: SignalChain, one: float, two: float) -> np.ndarray:
    """Gain with the discs moved unequally: one of them by a factor `one`, the other by `two`."""
    linear = LinearChain.of(chain.values)
    drive = linear.assembly.drive
    moved = {"E_p1": one * drive["E_p1"], "E_p2": two * drive["E_p2"]}
    return transfer(linear.network, F, moved, linear.assembly.load)


def test_an_idle_second_disc_in_parallel_loads_the_first() -> None:
    chain = SignalChain({**DIRECT, "discs": "2p", "input": ("oscilloscope-probe",)})
    alone = gain(chain.but(discs="1"))
    idle, both = shared(chain, 1, 0), shared(chain, 1, 1)
    assert idle == pytest.approx(both / 2, rel=1e-12)
    high = F > 1e3
    c_load = 5 * 100e-12 + 20 * 100e-12 + chain.values.input_c
    assert np.abs(alone[high]) == pytest.approx(10e-9 / (10e-9 + c_load), rel=1e-4)
    assert np.abs(idle[high]) == pytest.approx(10e-9 / (20e-9 + c_load), rel=1e-4)


def test_an_idle_second_disc_in_series_is_a_capacitor_in_the_way() -> None:
    chain = SignalChain({**DIRECT, "discs": "2s"})
    assert shared(chain, 1, 0) == pytest.approx(gain(chain) / 2, rel=1e-9)
    # opposed, what is heard is the difference of what the two feel
    opposed = chain.but(discs="2sx")
    assert shared(opposed, 1, 0.7) == pytest.approx(gain(chain) * 0.15, rel=1e-6)


# -- a free disc ------------------------------------------------------------------------------------------------------
@given(sizes(500.0, 50e3), sizes(1.0, 500.0), sizes(0.01, 1.0), st.floats(0, 0.2))
def test_resonance_against_the_series_circuit_on_paper(f_s: float, q: float, k: float, loss: float) -> None:
    """IEEE Std 176-1987, equivalent circuit: C_0 beside L, R, C_m; the source in that arm is v_oc C_p/C_m."""
    chain = SignalChain({**DIRECT, "resonance": (f_s, q, k), "pickup_loss": loss})
    v, s = chain.values, 2j * np.pi * F
    c_0 = v.pickup_c / (1 + k)
    c_m = v.pickup_c - c_0
    inductance = 1 / ((2 * np.pi * f_s) ** 2 * c_m)
    arm = s * inductance + 2 * np.pi * f_s * inductance / q + 1 / (s * c_m * (1 - 1j * loss))
    beside = s * c_0 * (1 - 1j * loss) + 1 / v.pickup_r + 1 / v.input_r
    beside = beside + s * (v.lead_m * v.lead_c + v.cable_m * v.cable_c + v.input_c)
    expected = v.pickup_c / c_m / arm / (1 / arm + beside)
    assert gain(chain) == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("k", [0.01, 0.1, 0.5, 1.0])
def test_an_open_disc_gives_its_open_circuit_voltage_below_and_peaks_at_the_anti_resonance(k: float) -> None:
    chain = SignalChain(
        stage="direct", lead_m=0, cable_m=0, input_c=0, input_r=1e9, pickup_r=100e9, pickup_c=500e-9, pickup_loss=0,
        resonance=(5e3, 200.0, k),
    )  # fmt: skip
    low = gain(chain, np.array([50.0, 200.0]))
    assert np.abs(low) == pytest.approx(1 / (1 - (np.array([50, 200]) / 5e3) ** 2 / (1 + k)), rel=1e-4)
    f = np.linspace(4.5e3, 8e3, 20001)
    level = np.abs(gain(chain, f))
    assert f[np.argmax(level)] == pytest.approx(5e3 * np.sqrt(1 + k), rel=3e-4)
    assert level.max() == pytest.approx(200 * np.sqrt(1 + k), rel=1e-3)  # (1 + k) Q / x at x = sqrt(1 + k)
    shorted = np.abs(gain(chain.but(cable_m=100, cable_c=1e-9, lead_m=20, lead_c=1e-9, pickup_c=1e-9), f))
    assert f[np.argmax(shorted)] == pytest.approx(5e3, rel=0.01)


# -- stages against nodal equations on paper --------------------------------------------------------------------------
@pytest.mark.parametrize("chain", simple_chains("follower", 60, 4, drain_r=0.0))
def test_follower_on_paper(chain: SignalChain) -> None:
    assert gain(chain) == pytest.approx(follower(chain, F)[1], rel=1e-9, abs=1e-18)


@pytest.mark.parametrize("chain", simple_chains("gain", 60, 5))
def test_gain_stage_on_paper(chain: SignalChain) -> None:
    assert gain(chain) == pytest.approx(common_source(chain, F)[1], rel=1e-8, abs=1e-15)


# -- the same with python-control -------------------------------------------------------------------------------------
def state_space(chain: SignalChain) -> control.StateSpace:
    """C v' + G v = B u' over the nodes g, s, d, j, brought to state space with z = v - C^-1 B u."""
    v = chain.values
    c_p = v.pickup_c * (1 + 0.004 * (v.temp_c - 25))
    c, g = np.zeros((4, 4)), np.zeros((4, 4))

    def put(matrix: np.ndarray, value: float, a: int, b: int | None = None) -> None:
        matrix[a, a] += value
        if b is not None:
            matrix[b, b] += value
            matrix[a, b] -= value
            matrix[b, a] -= value

    q = Slopes.of(chain)
    gate, source, drain, jack = range(4)
    put(c, c_p + v.lead_m * v.lead_c, gate)
    put(g, 1 / v.pickup_r + 1 / v.gate_r, gate)
    put(c, q.c_gs, gate, source)
    put(g, q.g_gs, gate, source)
    put(c, q.c_gd, gate, drain)
    put(g, q.g_gd, gate, drain)
    put(g, q.g_ds, drain, source)
    for row, sign in ((drain, 1), (source, -1)):
        g[row, gate] += sign * q.g_m
        g[row, source] -= sign * q.g_m
    put(g, 1 / v.source_r, source)
    put(c, v.bypass_c, source)
    put(g, 1 / v.drain_r, drain)
    put(c, v.out_c, drain if chain.stage == "gain" else source, jack)
    put(g, 1 / v.bleed_r + 1 / v.input_r, jack)
    put(c, v.cable_m * v.cable_c + v.input_c, jack)
    inverse = np.linalg.inv(c)
    b = inverse @ np.array([c_p, 0, 0, 0])[:, None]
    a = -inverse @ g
    return control.ss(a, a @ b, np.eye(4)[[jack]], b[[jack]])


@pytest.mark.parametrize(
    "chain",
    [
        c
        for stage, seed in (("gain", 6), ("follower", 7))
        # every node needs a capacitance of its own for this form
        for c in simple_chains(
            stage, 30, seed, pickup_loss=0.0, drain_r=4700.0, jfet_ciss=8e-12, jfet_crss=2e-12, cable_m=4.0, temp_c=25.0
        )
    ],
)
def test_stages_against_python_control(chain: SignalChain) -> None:
    f = np.geomspace(20, 20e3, 21)
    found = state_space(chain)(2j * np.pi * f)
    ours = gain(chain, f)
    # what python-control forms as a small difference of larger numbers has their rounding
    assert found == pytest.approx(ours, rel=1e-9, abs=1e-9 * np.abs(ours).max())


def test_the_bare_pickup_against_python_control() -> None:
    rng = np.random.default_rng(8)
    s = control.tf("s")
    for _ in range(40):
        chain = random_chain(rng, **PLAIN, stage="direct")
        v = chain.values
        c_p = v.pickup_c * (1 + 0.004 * (v.temp_c - 25))
        r_t = 1 / (1 / v.pickup_r + 1 / v.input_r)
        total = c_p + v.lead_m * v.lead_c + v.cable_m * v.cable_c + v.input_c
        system = (s * r_t * c_p) / (1 + s * r_t * total)
        assert system(2j * np.pi * F) == pytest.approx(gain(chain), rel=1e-9)


# -- mid-band, as the textbooks give it -------------------------------------------------------------------------------
#: Nothing but the transistor and its resistors matters at 1 kHz.
IDEAL: dict[str, Any] = {
    **SIMPLE, "pickup_c": 500e-9, "pickup_r": 100e9, "pickup_loss": 0.0, "gate_r": 1e9, "lead_m": 0.0, "cable_m": 0.0,
    "out_c": 1e-3, "input_c": 0.0, "jfet_ciss": 0.1e-12, "jfet_crss": 0.0, "jfet_ig": 0.0,
}  # fmt: skip


WIDE = {**IDEAL, "stage": "gain", "jfet": "2N5457", "supply_v": 18.0}  # enough for saturation


def slopes_on_paper(chain: SignalChain) -> tuple[float, float]:
    """g_m = 2 beta (V_GS - V_GS(off)) (1 + lambda V_DS) and g_ds = lambda beta (V_GS - V_GS(off))^2, in saturation."""
    q, v = LinearChain.of(chain.values).transistor, chain.values
    assert q.region == "saturation"
    beta = v.jfet_idss / (1 + v.jfet_lambda * v.jfet_vds) / v.jfet_vgsoff**2
    over = q.v_gs - v.jfet_vgsoff
    return 2 * beta * over * (1 + v.jfet_lambda * q.v_ds), v.jfet_lambda * beta * over**2


@pytest.mark.parametrize("lambda_", [0.0, 0.02, 0.1])
@pytest.mark.parametrize("input_r, bleed_r", [(1e6, 100e3), (2e3, 1e3)])
def test_follower_mid_band(lambda_: float, input_r: float, bleed_r: float) -> None:
    chain = SignalChain({**IDEAL, "jfet_lambda": lambda_, "input_r": input_r, "bleed_r": bleed_r, "jfet": "2N5457"})
    g_m, g_ds = slopes_on_paper(chain)
    r = 1 / (1 / 3.9e3 + 1 / input_r + 1 / bleed_r)
    assert gain(chain, np.array([1e3]))[0] == pytest.approx(g_m * r / (1 + (g_m + g_ds) * r), rel=2e-4)


@pytest.mark.parametrize("lambda_", [0.0, 0.02, 0.1])
@pytest.mark.parametrize("bypass_c", [0.0, 10e-3])
@pytest.mark.parametrize("input_r", [1e6, 10e3])
def test_gain_stage_mid_band(lambda_: float, bypass_c: float, input_r: float) -> None:
    chain = SignalChain(
        {**WIDE, "jfet_lambda": lambda_, "bypass_c": bypass_c, "input_r": input_r}
    )
    g_m, g_ds = slopes_on_paper(chain)
    r_d = 1 / (1 / 6.8e3 + 1 / 100e3 + 1 / input_r)
    r_s = 0.0 if bypass_c else 1.5e3
    expected = -g_m * r_d / (1 + (g_m + g_ds) * r_s + g_ds * r_d)
    # 10 mF at 1 kHz is still 16 milliohm
    assert gain(chain, np.array([1e3]))[0] == pytest.approx(expected, rel=5e-4)


@pytest.mark.parametrize("part", [0.25, 0.6])
def test_partial_bypass_leaves_the_upper_part_of_the_source_resistor(part: float) -> None:
    chain = SignalChain({**WIDE, "bypass_c": 10e-3, "bypass_part": part})
    g_m, g_ds = slopes_on_paper(chain)
    r_d, r_s = 1 / (1 / 6.8e3 + 1 / 100e3 + 1 / 1e6), 1.5e3 * (1 - part)
    expected = -g_m * r_d / (1 + (g_m + g_ds) * r_s + g_ds * r_d)
    assert gain(chain, np.array([1e3]))[0] == pytest.approx(expected, rel=5e-4)


# -- where a program goes wrong ---------------------------------------------------------------------------------------
def test_miller_capacitance_is_a_flat_loss_with_a_capacitive_source() -> None:
    """Into C_p/(C_p + C_gs + C_gd(1 + |A|)), alike at 300 Hz and at 5 kHz: no pole."""
    chain = SignalChain(
        {**IDEAL, "stage": "gain", "jfet": "2N5457", "pickup_c": 1e-9, "jfet_ciss": 60e-12, "jfet_crss": 50e-12,
         "bypass_c": 10e-3}
    )  # fmt: skip
    f = np.array([300.0, 1e3, 5e3])
    down = common_source(chain, f)[0]
    assert np.abs(down) == pytest.approx(np.abs(down[1]), rel=2e-3)
    loss = 1e-9 / (1e-9 + 10e-12 + 50e-12 * (1 + np.abs(down)))
    assert loss.max() < 0.8
    assert np.abs(gain(chain, f)) == pytest.approx(loss * np.abs(down), rel=2e-3)


def test_a_drain_resistor_brings_miller_back_to_a_follower() -> None:
    entered = {**IDEAL, "jfet": "2N5457", "pickup_c": 1e-9, "jfet_ciss": 60e-12, "jfet_crss": 50e-12, "source_r": 2.2e3}
    without, with_ = (np.abs(gain(SignalChain({**entered, "drain_r": r}), np.array([1e3])))[0] for r in (0.0, 2.2e3))
    up = float(np.abs(follower(SignalChain({**entered, "drain_r": 0.0}), np.array([1e3]))[0][0]))
    assert without == pytest.approx(up * 1e-9 / (1e-9 + 50e-12 + 10e-12 * (1 - up)), rel=1e-3)
    # with as much resistance in the drain it moves nearly as far the other way: C_gd counts about 1 + up times
    assert with_ == pytest.approx(up * 1e-9 / (1e-9 + 50e-12 * (1 + up) + 10e-12 * (1 - up)), rel=0.02)


def test_gate_to_source_capacitance_is_bootstrapped() -> None:
    """All of 100 pF between gate and source costs a follower no more than 100 pF * (1 - gain) to ground would."""
    entered = {**IDEAL, "jfet": "2N5457", "pickup_c": 500e-12, "jfet_ciss": 100e-12, "jfet_crss": 0.0}
    chain = SignalChain(entered)
    up = np.abs(follower(chain, np.array([1e3]))[0][0])
    expected = up * 500e-12 / (500e-12 + 100e-12 * (1 - up))
    assert np.abs(gain(chain, np.array([1e3])))[0] == pytest.approx(expected, rel=1e-3)
    assert 0.7 < up < 1


def test_a_batch_is_its_members() -> None:
    rng = np.random.default_rng(9)
    chain = SignalChain(stage="gain")
    keys = ("pickup_c", "gate_r", "out_c", "cable_m", "source_r")
    many = {key: np.array([random_value(rng, all_parameters()[key]) for _ in range(7)]) for key in keys}
    together = LinearChain.of(chain.values.but(**many)).gain(F)
    for n, row in enumerate(together):
        alone = chain.but({key: float(values[n]) for key, values in many.items()})
        assert row == pytest.approx(gain(alone), rel=1e-9, abs=1e-18)


def test_the_jack_is_loaded_by_what_the_surroundings_say() -> None:
    chain = SignalChain()
    a = Surroundings.of(chain, np.array([1e3]))
    assert 1 / a.load.real[0] == pytest.approx(1 / (1 / 1e6 + 1 / 100e3), rel=0.01)
