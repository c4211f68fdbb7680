"""Seconds of sound through transistors: against another integrator, and against the time-domain engine."""

from collections.abc import Callable

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from piezolab.circuit.elements import GROUND, Capacitor, Inductor, Jfet, Resistor, VoltageSource
from piezolab.circuit.errors import CircuitError
from piezolab.circuit.jfet import JfetModel, channel, gate_currents
from piezolab.circuit.long_run import TOO_FAR, long_run, outputs_of
from piezolab.circuit.modes import modes
from piezolab.circuit.network import Network
from piezolab.circuit.operating_point import operating_point
from piezolab.circuit.small_signal import impedance, linearised, transfers

MODEL = JfetModel(beta=2e-3, v_off=-1.5, lambda_=0.03, leakage=0.0, cgs=0.0, cgd=0.0)
C_P, R_G, R_S, C_OUT, R_L, C_C = 2e-9, 1e6, 2e3, 100e-9, 47e3, 2e-9
R_D, C_S = 2.2e3, 1e-6
COMMON = (
    VoltageSource("E", "charge", GROUND),
    Capacitor("C_p", "charge", "gate", C_P),
    Resistor("R_G", "gate", GROUND, R_G),
    VoltageSource("V", "plus", GROUND, 9.0),
    Resistor("R_S", "source", GROUND, R_S),
    Resistor("R_L", "out", GROUND, R_L),
)
FOLLOWER = Network(
    [
        *COMMON,
        Jfet("Q", "plus", "gate", "source", MODEL),
        Capacitor("C_c", "source", GROUND, C_C),
        Capacitor("C_out", "source", "out", C_OUT),
    ]
)
GAIN = Network(
    [
        *COMMON,
        Resistor("R_D", "plus", "drain", R_D),
        Jfet("Q", "drain", "gate", "source", MODEL),
        Capacitor("C_S", "source", GROUND, C_S),
        Capacitor("C_c", "drain", GROUND, C_C),
        Capacitor("C_out", "drain", "out", C_OUT),
    ]
)
RATE, COUNT, LENGTH = 192_000, 3840, 2**16  # 20 ms, within a third of a second
HZ = 400.0


def tone(time: np.ndarray, volt: float) -> np.ndarray:
    """A tone that swells and sinks within 18 ms."""
    return volt * np.sin(np.pi * np.clip(time / 0.018, 0, 1)) ** 2 * np.sin(2 * np.pi * HZ * time)


def rate_of(time: float, volt: float) -> float:
    """Its slope, V/s, by hand."""
    if not 0 < time < 0.018:
        return 0.0
    a, w = np.pi / 0.018, 2 * np.pi * HZ
    return volt * (a * np.sin(2 * a * time) * np.sin(w * time) + np.sin(a * time) ** 2 * w * np.cos(w * time))


def currents(v_gs: float, v_ds: float) -> tuple[float, float, float]:
    """Through the channel, and from the gate to source and to drain, A."""
    i_gs, _, i_gd, _ = (float(x) for x in gate_currents(MODEL, v_gs, v_ds))
    return float(channel(MODEL, v_gs, v_ds)[0]), i_gs, i_gd


def follower_by_hand(volt: float) -> Callable[[float, np.ndarray], list[float]]:
    """States: gate, source, voltage of C_out."""

    def slopes(time: float, x: np.ndarray) -> list[float]:
        gate, source, held = x
        i, i_gs, i_gd = currents(gate - source, 9.0 - source)
        out = (source - held) / R_L
        return [
            rate_of(time, volt) - (gate / R_G + i_gs + i_gd) / C_P,
            (i + i_gs - source / R_S - out) / C_C,
            out / C_OUT,
        ]

    return slopes


def gain_by_hand(volt: float) -> Callable[[float, np.ndarray], list[float]]:
    """States: gate, source, drain, voltage of C_out."""

    def slopes(time: float, x: np.ndarray) -> list[float]:
        gate, source, drain, held = x
        i, i_gs, i_gd = currents(gate - source, drain - source)
        out = (drain - held) / R_L
        return [
            rate_of(time, volt) - (gate / R_G + i_gs + i_gd) / C_P,
            (i + i_gs - source / R_S) / C_S,
            ((9.0 - drain) / R_D - i + i_gd - out) / C_C,
            out / C_OUT,
        ]

    return slopes


def followed(network: Network, wave: np.ndarray, **options: int) -> tuple[np.ndarray, np.ndarray]:
    """The change of the output, and what the linear network alone makes of it, V."""
    point = operating_point(network)
    hz = np.fft.rfftfreq(LENGTH, 1 / RATE)
    hz[0] = 1e-3
    answers = np.stack(transfers(linearised(network, point), hz, "E", outputs_of(network, "out")))
    straight = np.fft.irfft(answers * np.fft.rfft(wave, LENGTH), LENGTH)[:, : len(wave)]
    more = long_run(network, point, "out", straight[:-1].T, 1 / RATE, **options)
    return straight[-1] + more, straight[-1]


@pytest.mark.parametrize("volt", [0.3, 1.2, 5.0])
@pytest.mark.parametrize("by_hand", [follower_by_hand, gain_by_hand])
def test_by_another_integrator(by_hand: Callable, volt: float) -> None:
    """Within bounds, into cut-off, and far into gate conduction, where charge stays behind on every capacitor."""
    network = FOLLOWER if by_hand is follower_by_hand else GAIN
    rest = operating_point(network).voltages
    nodes = ("gate", "source") if network is FOLLOWER else ("gate", "source", "drain")
    start = [float(rest[node]) for node in nodes]
    time = np.arange(COUNT) / RATE
    start.append(start[-1])  # of C_out
    fine = {"t_eval": time, "rtol": 1e-7, "atol": 1e-8, "max_step": 1e-4}
    run = solve_ivp(by_hand(volt), (0, time[-1]), start, method="LSODA", **fine)
    wanted = run.y[-2] - run.y[-1]
    found, straight = followed(network, tone(time, volt))
    off = np.abs(found - wanted).max() / np.abs(wanted).max()
    assert off < (1e-3 if volt < 2 else 1e-2)
    assert np.abs(straight - wanted).max() / np.abs(wanted).max() > 10 * off, "there is something to be followed"


def test_error_falls_with_the_square_of_the_step() -> None:
    """Of the same tone at half the rate and a quarter, against the whole rate."""
    found = {}
    for every in (1, 2, 4):
        time = np.arange(COUNT // every) * every / RATE
        point = operating_point(GAIN)
        hz = np.fft.rfftfreq(LENGTH // every, every / RATE)
        hz[0] = 1e-3
        answers = np.stack(transfers(linearised(GAIN, point), hz, "E", outputs_of(GAIN, "out")))
        length = LENGTH // every
        straight = np.fft.irfft(answers * np.fft.rfft(tone(time, 0.5), length), length)[:, : len(time)]
        found[every] = long_run(GAIN, point, "out", straight[:-1].T, every / RATE)
    errors = [np.abs(found[every] - found[1][::every]).max() for every in (2, 4)]
    assert 4 < errors[1] / errors[0] < 6, errors  # (16 - 1)/(4 - 1)


def test_modes_are_the_network() -> None:
    """By another route: the nodal impedance between the nodes themselves."""
    linear = linearised(GAIN, operating_point(GAIN))
    pairs = [("drain", "source"), ("gate", "source"), ("out", GROUND)]
    found = modes(linear, pairs, pairs)
    for hz in (3.0, 250.0, 9e3):
        for k, pair in enumerate(pairs):
            assert found.impedance(hz)[k, k] == pytest.approx(impedance(linear, hz, *pair), rel=1e-5)


def test_a_ringing_mode_is_one_too() -> None:
    network = Network(
        [Inductor("L", "a", "b", 10e-3), Resistor("R", "b", GROUND, 50.0), Capacitor("C", "a", GROUND, 100e-9)]
    )
    found = modes(network, [("a", GROUND)], [("a", GROUND)])
    assert found.impedance(5e3)[0, 0] == pytest.approx(impedance(network, 5e3, "a"), rel=1e-6)
    assert np.abs(found.pole.imag).max() == pytest.approx(np.sqrt(1e9 - 2500.0**2), rel=1e-6)


def test_what_cannot_be_is_said() -> None:
    time = np.arange(COUNT) / RATE
    with pytest.raises(CircuitError, match=TOO_FAR):
        followed(GAIN, tone(time, 5.0), passes=200)
    with pytest.raises(CircuitError, match="do not fit 1 transistors"):
        long_run(GAIN, operating_point(GAIN), "out", np.zeros((10, 3)), 1e-5)
    several = GAIN.changed("R_G", ohm=np.array([1e6, 2e6]))
    with pytest.raises(CircuitError, match="not of a batch"):
        modes(linearised(several, operating_point(several)), [], [])


def test_a_network_without_a_transistor_adds_nothing() -> None:
    network = Network([VoltageSource("E", "out", GROUND), Resistor("R", "out", GROUND, 1e3)])
    assert not long_run(network, operating_point(network), "out", np.zeros((5, 0)), 1e-5).any()
