"""Loading of a capacitive source, and the corners of a stage, against textbook and examination problems.

Piezoelectric sensors on an oscilloscope are the textbooks' case of the bare pickup on an input: a charge on the
sensor's capacitance, with cable and instrument across it.
"""

import math
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from piezolab.chain import SignalChain
from piezolab.quantity import decibels
from piezolab.studies.bias import bias
from piezolab.studies.linear import LinearChain
from piezolab.studies.loading import loading
from piezolab.studies.output import impedances
from piezolab.studies.response import response

#: A sensor that neither leaks nor loses, straight into what the problem says.
SENSOR: dict[str, Any] = {"stage": "direct", "pickup_r": 100e9, "pickup_loss": 0.0, "lead_m": 0.0}


def within(chain: SignalChain, share: float) -> float:
    """Lowest frequency in Hz at which the level still is that share of the full level."""
    found = loading(chain)

    def level(log_f: float) -> float:
        return float(np.abs(LinearChain.of(chain.values).gain(10**log_f))) / found.full_level - share

    return 10 ** brentq(level, -3, 6, xtol=1e-12)


# -- sensors on an oscilloscope ---------------------------------------------------------------------------------------
def test_sensor_cable_and_oscilloscope_share_the_charge() -> None:
    """Crystal 1 nF, cable 200 pF, oscilloscope 1 megohm and 400 pF, 4e-6 C/cm: 2500 V/cm of the crystal's own 4000.

    An examination question of electrical engineering, with its answer: https://interviewmania.com/discussion/95361
    """
    chain = SignalChain({**SENSOR, "pickup_c": 1e-9, "cable_m": 2.0, "input_r": 1e6, "input_c": 400e-12})
    assert 4e-6 / 1e-9 * loading(chain).full_level == pytest.approx(2500, rel=1e-12)
    at_radio = LinearChain.of(chain.values).gain(1e6)
    assert 4e-6 / 1e-9 * np.abs(at_radio) == pytest.approx(2500, rel=1e-5)


def test_lowest_frequency_within_five_percent() -> None:
    """Crystal 1 nF, cable 2 nF, amplifier 1 megohm: a gain of more than 0.95 from about 160 Hz.

    Graduate Aptitude Test in Engineering 2013, instrumentation, question 51 (choices 16, 160, 1600 and 16 000 Hz):
    https://in.gateoverflow.in/182/gate2013-51
    """
    chain = SignalChain({**SENSOR, "pickup_c": 1e-9, "cable_m": 20.0, "input_r": 1e6, "input_c": 0.0})
    lowest = within(chain, 0.95)
    assert lowest == pytest.approx(160, rel=0.02)
    assert min((16, 160, 1600, 16e3), key=lambda choice: abs(math.log(choice / lowest))) == 160
    # the study's own question, turned round: the least resistance that keeps that note within the same loss
    least = loading(chain).bare.least_load_ohm(lowest, -decibels(0.95))
    assert least == pytest.approx(1e6, rel=1e-4)


def test_a_textbook_sensor_and_the_capacitor_that_extends_its_range() -> None:
    """1000 pF and 1e-5 C/in, cable 300 pF, oscilloscope 1 megohm and 50 pF: alone 10 000 V/in, in the whole system
    7410 V/in at high frequencies, within 5 % from 358 Hz; within 5 % from 10 Hz with 0.047 uF across, at 207 V/in.

    E. O. Doebelin, Measurement Systems: Application and Design, problem on piezoelectric transducers; numbers and
    three-figure answers from memory.
    """
    entered = {**SENSOR, "pickup_c": 1000e-12, "cable_m": 3.0, "input_r": 1e6, "input_c": 50e-12}
    chain = SignalChain(entered)
    assert 1e4 * loading(chain).full_level == pytest.approx(7410, rel=1e-3)
    assert within(chain, 0.95) == pytest.approx(358, rel=2e-3)
    wider = SignalChain({**entered, "input_c": 50e-12 + 47.05e-9})
    assert within(wider, 0.95) == pytest.approx(10, rel=2e-3)
    assert 1e4 * loading(wider).full_level == pytest.approx(207, rel=3e-3)


# -- corners of a stage -----------------------------------------------------------------------------------------------
# R. L. Boylestad and L. Nashelsky, Electronic Devices and Circuit Theory, chapter on frequency response, the example of
# a self-biased JFET stage; from memory. I_DSS 8 mA, V_P -4 V, r_d infinite, V_DD 20 V, C_G 0.01 uF, R_G 1 megohm,
# R_D 4.7 kohm, R_S 1 kohm with 2 uF, C_C 0.5 uF into 2.2 kohm. Here the pickup is C_G, without the book's 10 kohm
# generator before it, which is a hundredth of R_G.
BOOK: dict[str, Any] = {
    "stage": "gain", "pickup_c": 0.01e-6, "pickup_r": 100e9, "pickup_loss": 0.0, "lead_m": 0.0, "gate_r": 1e6,
    "jfet_idss": 8e-3, "jfet_vgsoff": -4.0, "jfet_lambda": 0.0, "jfet_ig": 0.0, "jfet_ciss": 0.1e-12, "jfet_crss": 0.0,
    "supply_v": 20.0, "drain_r": 4.7e3, "source_r": 1e3, "bypass_c": 2e-6, "out_c": 0.5e-6, "bleed_r": 100e6,
    "input_r": 2.2e3, "input_c": 0.0, "cable_m": 0.0,
}  # fmt: skip
HUGE: dict[str, Any] = {"pickup_c": 500e-9, "gate_r": 1e9, "bypass_c": 10e-3, "out_c": 1e-3}  # corners far below


def corner(*kept: str) -> float:
    """Lower corner with the other capacitors made so large that they do not count."""
    return response(SignalChain({**BOOK, **{key: v for key, v in HUGE.items() if key not in kept}})).low_corner_hz


def test_operating_point_and_mid_band_of_the_example() -> None:
    """V_GSQ -2 V, I_DQ 2 mA, g_m 2 mS, mid-band gain -3."""
    at = bias(SignalChain(BOOK))
    assert (at.v_gs, at.i_d, at.g_m) == pytest.approx((-2.0, 2e-3, 2e-3), rel=1e-4)
    assert at.region == "saturation" and at.v_d == pytest.approx(20 - 9.4, rel=1e-4)
    ideal = LinearChain.of(SignalChain({**BOOK, **HUGE}).values).gain(np.array([1e3]))[0]
    assert ideal == pytest.approx(-3.0, rel=2e-3)  # the book rounds 2.998


def test_gate_corner_of_the_example() -> None:
    """f_LG 15.8 Hz, with 10 kohm before C_G; 15.9 Hz without."""
    assert 1 / (2 * math.pi * 1.01e6 * 0.01e-6) == pytest.approx(15.8, abs=0.05)
    assert corner("pickup_c", "gate_r") == pytest.approx(15.8 * 1.01, rel=5e-3)


def test_output_corner_of_the_example() -> None:
    """f_LC 46.13 Hz."""
    assert corner("out_c") == pytest.approx(46.13, rel=1e-3)


def test_source_corner_of_the_example() -> None:
    """f_LS 238.73 Hz. That is the pole of C_S; as the gain does not fall to nothing below it but to a third, the level
    is 3 dB down a little lower, at 238.73 sqrt(1 - 2/9) Hz: the zero stands at 1/(2 pi R_S C_S) = 79.58 Hz."""
    pole, zero = 238.73, 1 / (2 * math.pi * 1e3 * 2e-6)
    assert corner("bypass_c") == pytest.approx(math.sqrt(pole**2 - 2 * zero**2), rel=1e-3)
    f = np.array([79.58, 238.73])
    chain = SignalChain({**BOOK, **{key: value for key, value in HUGE.items() if key != "bypass_c"}})
    level = np.abs(LinearChain.of(chain.values).gain(f)) / 3.0
    expected = np.sqrt((f**2 + zero**2) / (f**2 + pole**2))
    assert level == pytest.approx(expected, rel=2e-3)


def test_the_highest_of_the_three_leads() -> None:
    """The book takes f_LS, the highest, for the corner of the whole: all three together come within 10 % of it."""
    whole = response(SignalChain(BOOK)).low_corner_hz
    assert whole == pytest.approx(238.73, rel=0.1)


def test_miller_capacitance_of_the_example() -> None:
    """C_gd 2 pF, C_gs 4 pF, wiring 5 pF, gain -3: C_i = 5 + 4 + (1 + 3) 2 = 17 pF (the book's high-frequency part)."""
    chain = SignalChain(
        {**BOOK, **HUGE, "jfet_ciss": 6e-12, "jfet_crss": 2e-12, "lead_m": 0.5, "lead_c": 10e-12}
    )
    assert impedances(chain, 10e3).input_capacitance == pytest.approx(17e-12, rel=2e-3)
