"""Harmonics against series expansions, against a static transfer, and against finer steps."""

import numpy as np
import pytest

from piezolab.circuit.distortion import harmonics
from piezolab.circuit.elements import GROUND, Capacitor, Inductor, Jfet, Resistor, VoltageSource
from piezolab.circuit.errors import CircuitError
from piezolab.circuit.jfet import JfetModel
from piezolab.circuit.load_line import load_line
from piezolab.circuit.network import Network
from piezolab.circuit.operating_point import operating_point
from piezolab.circuit.small_signal import linearised, transfer


def _common_source(lambda_: float = 0.0, r_s: float = 0.0) -> Network:
    return Network(
        [
            VoltageSource("E", "gate", GROUND, -1.0),
            VoltageSource("V", "plus", GROUND, 20.0),
            Resistor("R_D", "plus", "drain", 2.2e3),
            Jfet("Q", "drain", "gate", "source", JfetModel(1e-3, -2.0, lambda_)),
            Resistor("R_S", "source", GROUND, r_s),
        ]
    )


@pytest.mark.parametrize("size", [0.01, 0.1, 0.9])
def test_square_law_makes_a_second_harmonic_and_no_other(size: float) -> None:
    """(w + a sin)^2: fundamental 2wa, second a^2/2, mean shifted by a^2/2, nothing else: a/(4w) of the fundamental."""
    network = _common_source()
    found = harmonics(network, operating_point(network), "E", size, "drain", periods=2)
    gain = 2.2e3 * 1e-3
    assert found.amplitude[1] == pytest.approx(gain * 2 * size, rel=1e-6)
    assert found.amplitude[2] == pytest.approx(gain * size**2 / 2, rel=1e-6)
    assert found.amplitude[0] == pytest.approx(20 - gain * (1 + size**2 / 2), rel=1e-6)
    assert np.all(found.amplitude[3:] < 1e-8)
    assert found.thd == pytest.approx(size / 4, rel=1e-6)


def test_feedback_lowers_the_second_and_makes_a_third() -> None:
    """Series expansion of I with a source resistor, I = (w + v - R I)^2 beta, by implicit differentiation."""
    ohm, beta = 1e3, 1e-3
    network = _common_source(r_s=ohm)
    point = operating_point(network)
    g = float(point.jfets["Q"].g_m)
    one = g / (1 + g * ohm)  # dI/dv
    two = 2 * beta * (1 - ohm * one) ** 2 / (1 + g * ohm)
    three = -6 * beta * ohm * two * (1 - ohm * one) / (1 + g * ohm)
    size = 0.05
    found = harmonics(network, point, "E", size, "drain", periods=2)
    # the third derivative also adds to the fundamental, by a^2/8 of itself
    assert found.amplitude[1] == pytest.approx(2.2e3 * (one * size + three * size**3 / 8), rel=1e-5)
    assert found.amplitude[2] == pytest.approx(2.2e3 * two * size**2 / 4, rel=1e-3)
    assert found.amplitude[3] == pytest.approx(2.2e3 * abs(three) * size**3 / 24, rel=1e-2)


def _stage() -> Network:
    return Network(
        [
            VoltageSource("E", "charge", GROUND),
            Capacitor("C_p", "charge", "gate", 15e-9),
            Resistor("R_G", "gate", GROUND, 4.7e6),
            VoltageSource("V", "plus", GROUND, 9.0),
            Jfet("Q", "plus", "gate", "source", JfetModel(3e-3, -1.0, 0.02, 1e-12, 3e-12, 2e-12)),
            Resistor("R_S", "source", GROUND, 3.9e3),
            Capacitor("C_out", "source", "out", 2.2e-6),
            Resistor("load", "out", GROUND, 47e3),
        ]
    )


def test_follower_against_its_static_transfer() -> None:
    """At 1 kHz its capacitors hold or divide: the load line bent into a sine has the same harmonics."""
    network = _stage()
    point = operating_point(network)
    sizes = np.array([0.1, 0.3, 0.6])
    found = harmonics(network, point, "E", sizes, "out", periods=6)
    assert found.amplitude.shape == (3, 11) and found.waveform.shape == (3, 256) == (3, len(found.time))
    turn = 2 * np.pi * np.arange(256) / 256
    line = load_line(network, point, 1e3, "E", "out")
    for k, size in enumerate(sizes):
        _, wave = line.at(size * np.sin(turn))
        static = np.abs(np.fft.rfft(wave)) / 128
        assert found.amplitude[k, 1] == pytest.approx(static[1], rel=1e-3)
        assert found.amplitude[k, 2] == pytest.approx(static[2], rel=0.02)
        assert found.amplitude[k, 3] == pytest.approx(static[3], rel=0.05)


def test_small_signals_have_the_response_and_hardly_a_harmonic() -> None:
    network = _stage()
    point = operating_point(network)
    found = harmonics(network, point, "E", 1e-3, "out", periods=3)
    response = abs(transfer(linearised(network, point), 1e3, "E", "out"))
    assert found.amplitude[1] == pytest.approx(1e-3 * response, rel=1e-4)
    assert found.thd < 5e-5


@pytest.mark.parametrize("size", [0.2, 2.0])
def test_finer_steps_change_little(size: float) -> None:
    network = _stage()
    point = operating_point(network)
    coarse = harmonics(network, point, "E", size, "out", periods=3)
    fine = harmonics(network, point, "E", size, "out", periods=3, samples=2048)
    for k in (1, 2, 3):
        assert abs(coarse.amplitude[k] - fine.amplitude[k]) < 0.01 * fine.amplitude[k] + 2e-6 * fine.amplitude[1]


def test_starts_in_the_steady_state_of_a_resonant_network() -> None:
    """Without bends nothing has to settle: the first period is the last, coil included."""
    network = Network(
        [
            VoltageSource("E", "a", GROUND),
            Inductor("L", "a", "b", 20e-3),
            Capacitor("C", "b", GROUND, 1e-6),
            Resistor("R", "b", GROUND, 2e3),
        ]
    )
    response = abs(transfer(network, 1e3, "E", "b"))
    found = harmonics(network, operating_point(network), "E", 1.0, "b", periods=1, samples=1024)
    assert found.amplitude[1] == pytest.approx(response, rel=1e-3)
    assert found.thd < 1e-3


@pytest.mark.parametrize("more", [{"periods": 0}, {"samples": 30}, {"count": 1}])
def test_counts_that_make_no_sense(more: dict) -> None:
    network = _stage()
    with pytest.raises(CircuitError, match="harmonics need a period and four samples"):
        harmonics(network, operating_point(network), "E", 1.0, "out", **more)


def test_only_sources_drive() -> None:
    network = _stage()
    with pytest.raises(CircuitError, match="R_S: a Resistor cannot drive"):
        harmonics(network, operating_point(network), "R_S", 1.0, "out")
