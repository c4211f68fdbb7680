"""A gate stopper: corner by the gate's capacitance, hiss by its own noise."""

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.circuit.jfet import JfetModel
from piezolab.studies.hiss import noise
from piezolab.studies.linear import LinearChain
from piezolab.studies.stopper import RADIO_HZ, stoppers

BOLTZMANN = 1.380649e-23  # J/K (SI, 2019)


def test_corner_is_that_of_the_stopper_with_the_gates_capacitance():
    """A bypassed gain stage on a stiff disc: R with C_gs + C_gd (1 + g_m R_D); the drain resistor is small and nothing
    hangs on it, so that the gain holds far up."""
    bare = {"cable_m": 0.0, "pickup_c": 500e-9, "lead_m": 0.0, "input_c": 0.0}
    chain = SignalChain().but(stage="gain", drain_r=100.0, bypass_c=1e-3, **bare)
    linear = LinearChain.of(chain.values)
    assert linear.works
    model: JfetModel = linear.assembly.network["Q1"].model
    gain = float(linear.transistor.g_m) * 100.0
    gate_c = float(model.cgs) + float(model.cgd) * (1 + gain)
    found = stoppers(chain)
    assert found.corner_hz == pytest.approx(1 / (2 * np.pi * found.ohm * gate_c), rel=0.03)
    assert found.radio_db[-1] == pytest.approx(-10 * np.log10(1 + (RADIO_HZ / found.corner_hz[-1]) ** 2), abs=0.5)


def test_hiss_is_the_stoppers_own():
    """4kTR in series with the gate, added to what the chain makes without it, over a gain that stays as it is."""
    chain = SignalChain().but(stage="gain", gate_stop=0.0)
    plain, found = noise(chain), stoppers(chain)
    for ohm, hiss in zip(found.ohm, found.hiss_db, strict=True):
        own = 4 * BOLTZMANN * (273.15 + 25.0) * ohm * plain.gain**2
        weighted = plain.density | {"stopper": own}
        power = type(plain)(plain.frequency, weighted, plain.gain, plain.signal_v_rms).output_v_rms_a
        assert hiss == pytest.approx(20 * np.log10(float(power / plain.output_v_rms_a)), abs=0.1)


def test_there_is_none_without_a_gate_or_a_signal():
    assert stoppers(SignalChain().but(stage="direct")) is None
    assert stoppers(SignalChain().but(discs="2px")) is None
