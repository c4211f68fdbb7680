"""The transistor's law: published form, continuity, slopes, symmetry, temperature, and what each parameter means."""

import mpmath as mp
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from piezolab.circuit.jfet import JfetModel, channel, gate_currents, jfet_from_sheet

VOLT = st.floats(-20, 20)
MODELS = st.builds(
    JfetModel,
    beta=st.floats(1e-6, 1e-1),
    v_off=st.floats(-15, -0.1),
    lambda_=st.floats(0, 0.2),
    leakage=st.floats(0, 1e-6),
    temp_c=st.floats(-20, 60),
)


def _law(model: JfetModel, v_gs: mp.mpf, v_ds: mp.mpf) -> mp.mpf:
    """Shichman and Hodges' equations as three separate cases, with as many digits as asked for."""
    if v_ds < 0:
        return -_law(model, v_gs - v_ds, -v_ds)
    over = v_gs - mp.mpf(model.v_off)
    stretch = 1 + mp.mpf(model.lambda_) * v_ds
    if over <= 0:
        return mp.mpf(0)
    if v_ds < over:
        return mp.mpf(model.beta) * v_ds * (2 * over - v_ds) * stretch
    return mp.mpf(model.beta) * over**2 * stretch


@given(MODELS, VOLT, VOLT)
def test_current_and_slopes_against_the_written_law(model: JfetModel, v_gs: float, v_ds: float) -> None:
    i, g_m, g_ds = channel(model, v_gs, v_ds)
    x, y = mp.mpf(v_gs), mp.mpf(v_ds)
    exact = _law(model, x, y)
    largest = model.beta * (abs(v_gs) + abs(v_ds) + 15) ** 2  # of the terms whose difference the overdrive is
    assert abs(float(i) - float(exact)) <= 1e-14 * largest
    with mp.workdps(60):
        h = mp.mpf(10) ** -25
        by_gate = (_law(model, x + h, y) - _law(model, x - h, y)) / (2 * h)
        by_drain = (_law(model, x, y + h) - _law(model, x, y - h)) / (2 * h)
    scale = model.beta * (abs(v_gs) + abs(v_ds) + 15) * (1 + 0.2 * abs(v_ds)) * 10
    assert abs(float(by_gate) - float(g_m)) <= 1e-13 * scale
    assert abs(float(by_drain) - float(g_ds)) <= 1e-13 * scale


@given(MODELS, st.floats(0.01, 10))
def test_nothing_jumps_at_a_border(model: JfetModel, over: float) -> None:
    """Current and both slopes across V_DS = overdrive, and current across cut-off and V_DS = 0."""
    v_gs, step = model.v_off + over, 1e-9
    scale = model.beta * (over + 1) ** 2 * 10
    edge = v_gs - model.v_off
    for low, high in (((v_gs, edge - step), (v_gs, edge + step)), ((v_gs, -step), (v_gs, step))):
        for before, after in zip(channel(model, *low), channel(model, *high), strict=True):
            assert abs(float(after - before)) <= 10 * step * scale
    before, after = (float(channel(model, model.v_off + sign * step, 3.0)[0]) for sign in (-1, 1))
    assert before == 0.0 and 0 <= after <= scale * step


@given(MODELS, VOLT, VOLT)
def test_drain_and_source_may_change_places(model: JfetModel, v_gs: float, v_ds: float) -> None:
    forwards, _, _ = channel(model, v_gs, v_ds)
    backwards, _, _ = channel(model, v_gs - v_ds, -v_ds)
    assert float(forwards) == pytest.approx(-float(backwards), rel=1e-9, abs=1e-12 * model.beta)


@given(MODELS, st.floats(0.01, 10), st.floats(0, 10))
def test_saturation_conductances_by_their_usual_names(model: JfetModel, over: float, beyond: float) -> None:
    """g_m = 2 I_D/(V_GS - V_GS(off)); g_ds = lambda*I_DSS*(1 - V_GS/V_GS(off))^2, which is not lambda*I_D."""
    v_gs, v_ds = model.v_off + over, over + beyond
    i, g_m, g_ds = channel(model, v_gs, v_ds)
    idss = model.beta * model.v_off**2
    if v_ds >= v_gs - model.v_off:
        assert float(g_m) == pytest.approx(2 * float(i) / over, rel=1e-9)
        assert float(g_ds) == pytest.approx(model.lambda_ * idss * (1 - v_gs / model.v_off) ** 2, rel=1e-9)


def test_sheet_current_holds_at_its_own_test_voltage() -> None:
    """I_DSS is read at V_DS = vds_test; without that correction it would be 16 % too high at 0.02/V and 9 V."""
    model = jfet_from_sheet(idss=5e-3, vgsoff=2.0, lambda_=0.02, vds_test=9.0)
    assert float(channel(model, 0.0, 9.0)[0]) == pytest.approx(5e-3, rel=1e-12)
    assert float(model.beta * model.v_off**2) == pytest.approx(5e-3 / 1.18, rel=1e-12)
    # lambda = g_os/I_DSS with both read at V_GS = 0: the model returns that g_os when the test is at low V_DS
    assert float(channel(jfet_from_sheet(idss=5e-3, vgsoff=2.0, lambda_=0.02), 0.0, 9.0)[2]) == pytest.approx(1e-4)


def test_either_sign_of_the_cut_off_voltage_and_capacitances() -> None:
    model = jfet_from_sheet(idss=5e-3, vgsoff=2.0, ciss=5e-12, crss=2e-12)
    assert model.v_off == -2.0 == jfet_from_sheet(idss=5e-3, vgsoff=-2.0).v_off
    assert model.cgs == pytest.approx(3e-12) and model.cgd == 2e-12


@pytest.mark.parametrize(
    "values, sentence",
    [
        ({"idss": 0.0, "vgsoff": -1.0}, "I_DSS above 0 A"),
        ({"idss": np.array([1e-3, np.nan]), "vgsoff": -1.0}, "I_DSS above 0 A"),
        ({"idss": 1e-3, "vgsoff": 0.0}, "other than 0 V"),
        ({"idss": 1e-3, "vgsoff": 1.0, "ciss": 1e-12, "crss": 2e-12}, "C_iss must be at least C_rss"),
    ],
)
def test_meaningless_values_are_refused(values: dict, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        jfet_from_sheet(**values)


def test_temperature_moves_three_things() -> None:
    warm = jfet_from_sheet(idss=4e-3, vgsoff=-2.0, igss=1e-12, temp_c=45.0)
    assert warm.v_off == pytest.approx(-2.04) and warm.beta == pytest.approx(1e-3 * 0.88)
    assert warm.leakage == pytest.approx(4e-12) and warm.thermal_voltage == pytest.approx(8.617333e-5 * 318.15)
    room = jfet_from_sheet(idss=4e-3, vgsoff=-2.0, igss=1e-12)
    assert (room.v_off, room.leakage) == (-2.0, 1e-12) and room.beta == pytest.approx(1e-3)


def test_zero_temperature_coefficient_point() -> None:
    """The two laws oppose each other: below some overdrive a warmer part carries more, above it less."""
    cold, warm = (jfet_from_sheet(idss=5e-3, vgsoff=-3.0, temp_c=t) for t in (15.0, 35.0))
    low, high = (float(channel(warm, v, 9.0)[0] - channel(cold, v, 9.0)[0]) for v in (-2.7, 0.0))
    assert low > 0 > high


@given(MODELS, st.floats(-20, 0.7), st.floats(-20, 20))
def test_gate_junctions(model: JfetModel, v_gs: float, v_ds: float) -> None:
    """Against the diode law and its slope with 40 digits; leakage beside the drain junction."""
    i_gs, g_gs, i_gd, g_gd = (float(value) for value in gate_currents(model, v_gs, min(v_ds, v_gs + 20.0)))
    v_gd = v_gs - min(v_ds, v_gs + 20.0)
    v_t, i_s = mp.mpf(float(model.thermal_voltage)), mp.mpf(10e-15)
    assert i_gs == pytest.approx(float(i_s * mp.expm1(mp.mpf(v_gs) / v_t)), rel=1e-12)
    assert g_gs == pytest.approx(float(i_s * mp.exp(mp.mpf(v_gs) / v_t) / v_t), rel=1e-12, abs=1e-300)
    if v_gd < 3:
        leak = mp.mpf(model.leakage)
        expected = i_s * mp.expm1(mp.mpf(v_gd) / v_t) + leak * mp.tanh(mp.mpf(v_gd) / (2 * v_t))
        assert i_gd == pytest.approx(float(expected), rel=1e-9, abs=1e-30)
        slope = i_s * mp.exp(mp.mpf(v_gd) / v_t) / v_t + leak / (2 * v_t) * mp.sech(mp.mpf(v_gd) / (2 * v_t)) ** 2
        assert g_gd == pytest.approx(float(slope), rel=1e-6, abs=1e-16)


def test_junction_slope_stays_right_beyond_the_exponent_ceiling() -> None:
    model = JfetModel(1e-3, -1.0)
    for v in (4.9, 5.2, 8.0):  # the ceiling lies at 200 thermal voltages, 5.14 V
        i_low, g, *_ = gate_currents(model, v, 40.0)
        i_high, *_ = gate_currents(model, v + 1e-7, 40.0)
        assert float((i_high - i_low) / 1e-7) == pytest.approx(float(g), rel=1e-4)


def test_taking_members_of_a_batch() -> None:
    model = JfetModel(beta=np.array([[1e-3], [2e-3]]), v_off=np.array([-1.0, -2.0, -3.0]))
    taken = model.take(np.array([0, 5]), (2, 3))
    assert taken.beta.tolist() == [1e-3, 2e-3] and taken.v_off.tolist() == [-1.0, -3.0] and taken.lambda_ == 0.0
