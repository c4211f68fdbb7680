"""A clamp's bent line, its slope and its noise, against their definitions."""

import numpy as np
import pytest

from piezolab.circuit.clamp import ClampModel, bend_v, clamp_current, clamp_noise, holding_v
from piezolab.circuit.elements import GROUND, Clamp, CurrentSource, Resistor, VoltageSource
from piezolab.circuit.network import Network
from piezolab.circuit.operating_point import operating_point

K, Q = 1.380649e-23, 1.602176634e-19
KELVIN = 298.15
#: A pair that holds 8 V at 1 uA, and one diode of 2.5 nA with a slope factor of 1.8.
PAIR = ClampModel(up_v=bend_v(8.0, 1e-6, 0.05, 0.05), down_v=bend_v(8.0, 1e-6, 0.05, 0.05), knee_v=0.05, slope_s=0.05,
                  leak_a=1e-10, junctions=2.0)  # fmt: skip
DIODE = ClampModel(up_v=0.0462 * np.log(0.0462 / 2.5e-9), knee_v=0.0462, slope_s=1.0)


@pytest.mark.parametrize("model", [PAIR, DIODE])
def test_slope_is_that_of_the_current_and_nothing_flows_without_voltage(model: ClampModel) -> None:
    v = np.linspace(-9.0, 9.0, 181)
    step = 1e-6
    (after, _), (before, _) = clamp_current(model, v + step), clamp_current(model, v - step)
    slope = clamp_current(model, v)[1]
    assert slope == pytest.approx((after - before) / (2 * step), rel=1e-4, abs=1e-13)
    assert clamp_current(model, 0.0)[0] == 0.0


def test_the_line_goes_through_what_is_stated() -> None:
    assert clamp_current(PAIR, 8.0)[0] == pytest.approx(1e-6, rel=2e-4)  # the leakage comes on top
    assert clamp_current(PAIR, -8.0)[0] == pytest.approx(-1e-6, rel=2e-4)
    assert holding_v(PAIR, 1e-6) == pytest.approx((8.0, 8.0))
    # Shockley's law with I_S = 2.5 nA and n V_T = 46.2 mV, and what it reaches backwards
    assert clamp_current(DIODE, 0.3)[0] == pytest.approx(2.5e-9 * np.expm1(0.3 / 0.0462), rel=1e-4)
    assert clamp_current(DIODE, -1.0)[0] == pytest.approx(-2.5e-9, rel=1e-6)
    # 18 megohm at rest of an ordinary switching diode: common practice, no source
    assert 1 / clamp_current(DIODE, 0.0)[1] == pytest.approx(18e6, rel=0.05)


def test_noise_is_johnsons_at_rest_and_schottkys_far_from_it() -> None:
    for model in (PAIR, DIODE):
        at_rest = 4 * K * KELVIN * clamp_current(model, 0.0)[1]
        assert clamp_noise(model, 0.0) == pytest.approx(at_rest, rel=1e-6)
        assert clamp_noise(model, 1e-4) == pytest.approx(at_rest, rel=1e-2)
        far = -3.0
        shot = 2 * Q * abs(clamp_current(model, far)[0]) / model.junctions
        assert clamp_noise(model, far) == pytest.approx(shot, rel=1e-6)


@pytest.mark.parametrize("volt", [40.0, -40.0, 3.0])
def test_a_network_keeps_its_current_law(volt: float) -> None:
    ohm = np.array([100.0, 10e3, 1e9])
    network = Network([VoltageSource("E", "far", GROUND, volt), Resistor("R", "far", "gate", ohm),
                       Clamp.between("D", "gate", GROUND, PAIR), CurrentSource("nothing", "gate", GROUND)])  # fmt: skip
    held = operating_point(network).voltage("gate")
    assert (volt - held) / ohm == pytest.approx(clamp_current(PAIR, held)[0], rel=1e-6, abs=1e-15)
    if abs(volt) == 40.0:
        assert np.all(np.abs(held) < np.where(ohm < 1e3, 20.0, 9.0))
