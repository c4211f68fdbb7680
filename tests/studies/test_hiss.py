"""Hiss of whole chains against formulas written by hand, one source at a time, and the figures' definitions."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.circuit.weighting import a_weighting
from piezolab.studies.hiss import gate_resistor_sweep, noise, noise_of, quieter_transistors
from piezolab.studies.linear import LinearChain

K = 1.380649e-23
Q = 1.602176634e-19


def log_uniform(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(np.log(low), np.log(high)).map(lambda x: float(np.exp(x)))


@settings(max_examples=30)
@given(
    st.fixed_dictionaries(
        {
            "pickup_c": log_uniform(1e-9, 100e-9),
            "pickup_loss": st.floats(0.001, 0.2),
            "gate_r": log_uniform(100e3, 100e6),
            "source_r": log_uniform(1e3, 50e3),
            "bleed_r": log_uniform(10e3, 1e6),
            "input_r": log_uniform(5e3, 10e6),
            "out_c": log_uniform(50e-9, 20e-6),
            "jfet_ig": log_uniform(1e-13, 1e-8),
            "jfet_corner": log_uniform(1.0, 1e4),
            "temp_c": st.floats(-20, 60),
        }
    )
)
def test_a_follower_by_hand(values: dict[str, float]) -> None:
    """Each noise current put into the follower's three node equations, solved by substitution."""
    chain = SignalChain(values, input_noise=3e-9)
    v = chain.values
    linear = LinearChain.of(v)
    q = linear.transistor
    f = np.array([20.0, 147.0, 1e3, 2e4])
    w = 2j * np.pi * f
    c_p = v.pickup_c * (1 + 0.004 * (v.temp_c - 25))
    kelvin = v.temp_c + 273.15
    y_gs, y_gd = w * (v.jfet_ciss - v.jfet_crss) + q.g_gs, w * v.jfet_crss + q.g_gd
    y_p = w * c_p * (1 - 1j * v.pickup_loss) + 1 / v.pickup_r + 1 / v.gate_r + w * v.lead_m * v.lead_c + y_gs + y_gd
    y_c, drive = w * v.out_c, q.g_m + y_gs
    y_s = 1 / v.source_r + q.g_ds + q.g_m + y_gs + y_c
    y_j = y_c + 1 / v.bleed_r + 1 / v.input_r + w * (v.cable_m * v.cable_c + v.input_c)

    def output(i_p: float, i_s: float, i_j: float) -> np.ndarray:
        v_s = (i_s + drive * i_p / y_p + y_c * i_j / y_j) / (y_s - drive * y_gs / y_p - y_c**2 / y_j)
        return np.abs((i_j + y_c * v_s) / y_j) ** 2

    four_kt = 4 * K * kelvin
    gate, source, jack = output(1, 0, 0), output(0, 1, 0), output(0, 0, 1)
    expected = {
        "C_p": four_kt * 2 * np.pi * f * c_p * v.pickup_loss * gate,
        "R_p": four_kt / v.pickup_r * gate,
        "R_G": four_kt / v.gate_r * gate,
        "R_S": four_kt / v.source_r * source,
        "R_bleed": four_kt / v.bleed_r * jack,
        "R_in": four_kt / v.input_r * jack,
        "Q1 channel": four_kt * (2 / 3) * q.g_m * (1 + v.jfet_corner / f) * source,
        "input": np.full(4, 9e-18),
    }
    if str(q.region) != "saturation" or bool(q.gate_conducts):
        return  # the book's channel noise holds in saturation only
    found = noise(chain, f)
    for name, density in expected.items():
        np.testing.assert_allclose(found.density[name], density, rtol=1e-9, err_msg=name)
    leak = v.jfet_ig * 2 ** ((v.temp_c - 25) / 10)
    assert found.density["Q1 gate"] == pytest.approx(2 * Q * leak * gate, rel=0.2), "two junctions add 20 fA each"
    assert set(found.density) == {*expected, "Q1 gate"}
    np.testing.assert_allclose(found.total, sum(found.density.values()), rtol=1e-12)


@pytest.mark.parametrize("query", [{}, {"stage": "gain"}, {"stage": "direct", "input": "line"}])
def test_integrals_against_quadrature(query: dict[str, str]) -> None:
    chain = SignalChain(query)
    found = noise(chain)

    def density(x: float, weighted: bool) -> float:
        f = np.exp(x)
        level = float(noise(chain, np.array([f])).total[0]) * f
        return level * float(a_weighting(f)) ** 2 if weighted else level

    for weighted, value in ((False, found.output_v_rms), (True, found.output_v_rms_a)):
        whole = quad(density, np.log(20), np.log(20e3), args=(weighted,), epsrel=1e-6, limit=60)[0]
        assert float(value) == pytest.approx(np.sqrt(whole), rel=1e-5)


def test_shares_add_up_and_signal_is_the_reference_sine() -> None:
    chain = SignalChain(stage="gain")
    found = noise(chain)
    assert sum(map(float, found.shares.values())) == pytest.approx(1.0)
    assert list(found.shares.values()) == sorted(found.shares.values(), reverse=True)
    signal = abs(complex(LinearChain.of(chain.values).gain(1000.0))) / np.sqrt(2)
    assert float(found.snr_db_a) == pytest.approx(20 * np.log10(signal / float(found.output_v_rms_a)))
    louder = noise(chain.but(play_v=10.0))
    assert float(louder.snr_db_a) == pytest.approx(float(found.snr_db_a) + 20)


def test_referred_to_the_pickup_it_does_not_depend_on_the_gain_behind() -> None:
    chain = SignalChain(stage="direct", input_noise=0.0, tuning="E4")
    found = noise(chain)
    np.testing.assert_allclose(found.at_pickup * found.gain**2, found.total)


def test_a_larger_gate_resistor_helps_little_with_a_lossy_disc() -> None:
    sweep = gate_resistor_sweep(SignalChain(input_noise=0.0))
    assert np.all(np.diff(sweep.lossless_snr_db_a) > -1e-6)
    lossy = sweep.snr_db_a[-1] - sweep.snr_db_a[np.searchsorted(sweep.gate_r, 4.7e6)]
    lossless = sweep.lossless_snr_db_a[-1] - sweep.lossless_snr_db_a[np.searchsorted(sweep.gate_r, 4.7e6)]
    assert lossy < lossless < 3


def test_quieter_transistors_are_what_putting_them_in_gives() -> None:
    chain = SignalChain(stage="gain")
    rows = quieter_transistors(chain)
    assert {row.change for row in rows} == set(catalogue.offered(catalogue.transistors()))
    best = rows[0]
    gained = float(noise(chain.but(jfet=best.change)).snr_db_a - noise(chain).snr_db_a)
    assert best.noise_db == pytest.approx(-gained)
    assert quieter_transistors(SignalChain(stage="direct")) == ()


def test_a_batch_is_its_members() -> None:
    chain = SignalChain(stage="gain")
    ohms = np.array([1e6, 4.7e6, 22e6])
    many = noise_of(chain.values.but(gate_r=ohms))
    for n, ohm in enumerate(ohms):
        one = noise(chain.but(gate_r=float(ohm)))
        assert float(many.output_v_rms_a[n]) == pytest.approx(float(one.output_v_rms_a), rel=1e-12)
        assert float(many.snr_db_a[n]) == pytest.approx(float(one.snr_db_a))


@pytest.mark.parametrize("query", [{}, {"stage": "gain", "discs": "2s"}, {"discs": "2px"}, {"stage": "direct"}])
def test_the_gain_beside_the_noise_is_that_of_the_chain(query: dict[str, str]) -> None:
    """From the adjoint solution here, from the pickup's own drive there."""
    values = SignalChain(query).values.but(pickup_c=np.array([5e-9, 15e-9]))
    found = noise_of(values)
    assert found.gain == pytest.approx(np.abs(LinearChain.of(values).gain(found.frequency)), rel=1e-11, abs=1e-18)
