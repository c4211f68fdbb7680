"""Bias and follower examples of a textbook.

R. L. Boylestad and L. Nashelsky, "Electronic Devices and Circuit Theory", chapters on FET biasing and FET amplifiers.
Circuits and printed results from memory. The book reads operating points off a graph, so 2 % is allowed. Its
conventions are set here: channel-length modulation is left out at direct current, g_os enters as a conductance of its
own from drain to source, and saturation is taken for granted; where our own check of the region has something to say
to that, the test says so.
"""

import numpy as np
import pytest

from piezolab.circuit.elements import GROUND, Capacitor, Jfet, Resistor, VoltageSource
from piezolab.circuit.jfet import JfetModel, channel
from piezolab.circuit.network import Network
from piezolab.circuit.operating_point import JfetPoint, operating_point
from piezolab.circuit.small_signal import impedance, linearised, transfer

READ = 0.02  # what a graph gives


def _transistor(idss: float, v_p: float) -> JfetModel:
    return JfetModel(beta=idss / v_p**2, v_off=v_p, saturation_current=1e-30)


def _rest(*elements: object) -> tuple[Network, JfetPoint, dict]:
    network = Network(elements)
    point = operating_point(network)
    return network, point.jfets["Q"], dict(point.voltages)


def test_fixed_bias() -> None:
    """I_DSS 10 mA, V_P -8 V, -2 V at the gate, 2 kohm, 16 V: V_GS -2 V, I_D 5.625 mA, V_DS 4.75 V."""
    model = _transistor(10e-3, -8.0)
    saturated = float(channel(model, -2.0, 16.0)[0])
    assert saturated == pytest.approx(5.625e-3, rel=1e-12)  # calculated there, not read off
    assert 16.0 - 2e3 * saturated == pytest.approx(4.75, rel=1e-12)
    # But 4.75 V falls short of V_GS - V_P = 6 V: the transistor is not in saturation and carries less.
    _, at, _ = _rest(
        VoltageSource("V_DD", "plus", GROUND, 16.0),
        VoltageSource("V_GG", "bias", GROUND, -2.0),
        Resistor("R_G", "bias", "gate", 1e6),
        Resistor("R_D", "plus", "drain", 2e3),
        Jfet("Q", "drain", "gate", GROUND, model),
    )
    assert at.v_gs == pytest.approx(-2.0, abs=1e-9) and at.region == "triode"
    # with beta = I_DSS/V_P^2 the load line cuts V_DS (12 V - V_DS) beta = (16 V - V_DS)/2 kohm
    v_ds = min(np.roots([-10e-3 / 64, 12 * 10e-3 / 64 + 1 / 2e3, -16 / 2e3]).real)
    assert at.v_ds == pytest.approx(v_ds, rel=1e-9) and at.v_ds > 1.05 * 4.75 and at.i_d < 0.98 * saturated


def test_self_bias() -> None:
    """I_DSS 8 mA, V_P -6 V, R_S 1 kohm, R_D 3.3 kohm, 20 V: V_GS -2.6 V, I_D 2.6 mA, V_DS 8.8 V."""
    _, at, volts = _rest(
        VoltageSource("V_DD", "plus", GROUND, 20.0),
        Resistor("R_G", "gate", GROUND, 1e6),
        Resistor("R_D", "plus", "drain", 3.3e3),
        Jfet("Q", "drain", "gate", "source", _transistor(8e-3, -6.0)),
        Resistor("R_S", "source", GROUND, 1e3),
    )
    assert at.v_gs == pytest.approx(-2.6, rel=READ)
    assert at.i_d == pytest.approx(2.6e-3, rel=READ)
    assert at.v_ds == pytest.approx(8.8, rel=READ)
    assert volts["drain"] == pytest.approx(11.42, rel=READ) and volts["source"] == pytest.approx(2.6, rel=READ)
    assert at.region == "saturation"


def test_divider_bias() -> None:
    """I_DSS 8 mA, V_P -4 V, 2.1 Mohm and 270 kohm from 16 V, R_D 2.4 kohm, R_S 1.5 kohm:
    V_G 1.82 V, V_GS -1.8 V, I_D 2.4 mA, V_D 10.24 V, V_S 3.6 V, V_DS 6.64 V."""
    _, at, volts = _rest(
        VoltageSource("V_DD", "plus", GROUND, 16.0),
        Resistor("R_1", "plus", "gate", 2.1e6),
        Resistor("R_2", "gate", GROUND, 270e3),
        Resistor("R_D", "plus", "drain", 2.4e3),
        Jfet("Q", "drain", "gate", "source", _transistor(8e-3, -4.0)),
        Resistor("R_S", "source", GROUND, 1.5e3),
    )
    assert volts["gate"] == pytest.approx(1.82, abs=0.005)
    assert at.v_gs == pytest.approx(-1.8, rel=READ) and at.i_d == pytest.approx(2.4e-3, rel=READ)
    assert volts["drain"] == pytest.approx(10.24, rel=READ) and volts["source"] == pytest.approx(3.6, rel=READ)
    assert at.v_ds == pytest.approx(6.64, rel=READ) and at.region == "saturation"


def _follower() -> tuple[Network, JfetPoint]:
    network, at, _ = _rest(
        VoltageSource("V_DD", "drain", GROUND, 9.0),
        VoltageSource("V_i", "in", GROUND, 0.0),
        Capacitor("C_1", "in", "gate", 0.05e-6),
        Resistor("R_G", "gate", GROUND, 1e6),
        Jfet("Q", "drain", "gate", "source", _transistor(16e-3, -4.0)),
        Resistor("R_S", "source", GROUND, 2.2e3),
    )
    linear = linearised(network, operating_point(network))
    # the book's output conductance of 25 uS stands beside the channel
    return linear.plus(Resistor("r_d", "drain", "source", 1 / 25e-6)), at


def test_source_follower() -> None:
    """I_DSS 16 mA, V_P -4 V, R_S 2.2 kohm, R_G 1 Mohm, 9 V, g_os 25 uS: V_GS -2.86 V, g_m 2.28 mS, Z_i 1 Mohm,
    Z_o 362 ohm, A_v 0.83; with g_os left out Z_o 365.7 ohm, A_v 0.83."""
    linear, at = _follower()
    assert at.v_gs == pytest.approx(-2.86, rel=READ) and at.region == "saturation"
    assert at.g_m == pytest.approx(2.28e-3, rel=READ)
    middle = 1e4
    assert transfer(linear, middle, "V_i", "source").real == pytest.approx(0.83, rel=READ)
    assert abs(impedance(linear, middle, "source")) == pytest.approx(362.0, rel=READ)
    assert impedance(linear.without("V_i", "C_1"), middle, "gate").real == pytest.approx(1e6, rel=1e-6)
    without = linear.without("r_d")
    assert abs(impedance(without, middle, "source")) == pytest.approx(365.7, rel=READ)
    assert transfer(without, middle, "V_i", "source").real == pytest.approx(0.83, rel=READ)
