"""The time domain against closed forms, against another integrator, and against conservation laws."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from piezolab.circuit.elements import GROUND, Capacitor, CurrentSource, Inductor, Jfet, Resistor, VoltageSource
from piezolab.circuit.errors import CircuitError
from piezolab.circuit.jfet import JfetModel, channel, gate_currents
from piezolab.circuit.network import Network
from piezolab.circuit.operating_point import operating_point
from piezolab.circuit.small_signal import linearised, transfer
from piezolab.circuit.transient import stored_at, transient
from tests.circuit.stages import RETURNS, stage


def decades(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high).map(lambda x: 10**x)


def _rc(ohm: float = 1e3, farad: float = 1e-6) -> Network:
    return Network([VoltageSource("E", "a", GROUND), Resistor("R", "a", "b", ohm), Capacitor("C", "b", GROUND, farad)])


@given(decades(1, 8), decades(-12, -3))
def test_step_into_a_resistor_and_a_capacitor(ohm: float, farad: float) -> None:
    tau = ohm * farad
    time = np.linspace(0, 5 * tau, 1001)
    found = transient(_rc(ohm, farad), time, {"E": np.ones(1001)}, {"C": 0.0}).voltages["b"]
    assert np.max(np.abs(found - (1 - np.exp(-time / tau)))) < 2e-5


def test_error_falls_with_the_square_of_the_step() -> None:
    errors = []
    for count in (200, 400, 800):
        time = np.linspace(0, 6.28e-3, count + 1)
        wave = np.sin(1e3 * time)
        # from the sine's own steady state, in which nothing jumps
        gain = 1 / (1 + 1j)
        found = transient(_rc(), time, {"E": wave}, {"C": np.imag(gain)}).voltages["b"]
        errors.append(np.max(np.abs(found - np.imag(gain * np.exp(1e3j * time)))))
    assert 3.5 < errors[0] / errors[1] < 4.5 and 3.5 < errors[1] / errors[2] < 4.5


def test_steps_may_change_from_one_to_the_next() -> None:
    """Second order all the same: steps that alternate between one and one and a half, twice as many, a quarter."""
    errors = []
    for count in (300, 600):
        steps = np.where(np.arange(count) % 2, 1.5, 1.0)
        time = np.concatenate([[0.0], np.cumsum(steps)]) / steps.sum() * 6.28e-3
        gain = 1 / (1 + 1j)
        wave = {"E": np.sin(1e3 * time)}
        found = transient(_rc(), time, wave, {"C": np.imag(gain)}).voltages["b"]
        errors.append(np.max(np.abs(found - np.imag(gain * np.exp(1e3j * time)))))
    assert errors[1] < 1e-4 and 3.5 < errors[0] / errors[1] < 4.5


def test_ringing_coil_against_its_closed_form() -> None:
    network = Network(
        [
            VoltageSource("E", "a", GROUND),
            Resistor("R", "a", "b", 100.0),
            Inductor("L", "b", "c", 10e-3),
            Capacitor("C", "c", GROUND, 100e-9),
        ]
    )
    time = np.linspace(0, 1e-3, 20_001)
    run = transient(network, time, {"E": np.ones(len(time))}, {})
    decay = 100.0 / (2 * 10e-3)
    turn = np.sqrt(1 / (10e-3 * 100e-9) - decay**2)
    expected = 1 - np.exp(-decay * time) * (np.cos(turn * time) + decay / turn * np.sin(turn * time))
    assert np.max(np.abs(run.voltages["c"] - expected)) < 2e-5
    assert run.stored["L"] == pytest.approx(100e-9 * np.gradient(expected, time)[-1], abs=1e-7)


# -- conservation -----------------------------------------------------------------------------------------------------


@given(decades(-12, -6), decades(-12, -6), st.floats(-10, 10), decades(2, 9))
def test_charge_is_shared_and_kept(first: float, second: float, volt: float, ohm: float) -> None:
    network = Network(
        [Capacitor("C1", "a", GROUND, first), Resistor("R", "a", "b", ohm), Capacitor("C2", "b", GROUND, second)]
    )
    both = first * second / (first + second)
    time = np.linspace(0, 20 * ohm * both, 101)
    run = transient(network, time, start={"C1": volt})
    charge = first * run.voltages["a"] + second * run.voltages["b"]
    assert np.allclose(charge, first * volt, rtol=1e-9, atol=1e-9 * first)
    assert run.voltages["b"][-1] == pytest.approx(volt * first / (first + second), rel=1e-4, abs=1e-9)


def test_capacitors_joined_at_once_share_their_charge_at_once() -> None:
    """A charged one and an empty one side by side: nothing between them limits the current."""
    network = Network(
        [Capacitor("C1", "a", GROUND, 3e-9), Capacitor("C2", "a", GROUND, 1e-9), Resistor("R", "a", GROUND, 1e9)]
    )
    run = transient(network, np.array([0.0, 1e-3]), start={"C1": 8.0, "C2": 0.0})
    assert run.voltages["a"][0] == pytest.approx(6.0, rel=1e-6)


def test_energy_of_a_capacitor_becomes_heat() -> None:
    time = np.linspace(0, 20e-3, 4001)
    network = _rc().changed("E", volt=0.0)
    run = transient(network, time, start={"C": 5.0})
    heat = np.trapezoid(run.voltages["b"] ** 2 / 1e3, time)
    assert heat == pytest.approx(0.5 * 1e-6 * 25.0, rel=2e-4)


@pytest.mark.parametrize("returned", RETURNS)
@pytest.mark.parametrize("gain", [False, True])
def test_rest_stays_at_rest(returned: str, gain: bool) -> None:
    network = stage(np.random.default_rng(6), 30, returned, gain=gain)
    point = operating_point(network)
    run = transient(network, np.linspace(0, 1e-3, 30))
    for node in network.nodes:
        assert np.allclose(run.voltages[node], point.voltages[node][:, None], rtol=1e-8, atol=1e-7), node


# -- a transistor, by another integrator ------------------------------------------------------------------------------


MODEL = JfetModel(beta=2e-3, v_off=-1.5, lambda_=0.03, leakage=1e-11, cgs=0.0, cgd=0.0)
STAGE = Network(
    [
        VoltageSource("E", "charge", GROUND),
        Capacitor("C_p", "charge", "gate", 2e-9),
        Resistor("R_G", "gate", GROUND, 1e6),
        VoltageSource("V", "plus", GROUND, 9.0),
        Resistor("R_D", "plus", "drain", 2.2e3),
        Jfet("Q", "drain", "gate", "source", MODEL),
        Resistor("R_S", "source", GROUND, 1e3),
        Capacitor("C_S", "source", GROUND, 1e-6),
        Capacitor("C_out", "drain", "out", 100e-9),
        Resistor("load", "out", GROUND, 47e3),
    ]
)


def _by_another_integrator(e, rate, time: np.ndarray) -> np.ndarray:
    """State equations by hand: gate voltage, source voltage, voltage of C_out; the drain follows from its own law."""

    def drain_at(v_g: float, v_s: float, v_c: float) -> tuple[float, float, float]:
        low, high = -20.0, 30.0
        for _ in range(200):  # (9 - d)/R_D = i_D + (d - v_c)/load, whose right side rises with d
            d = 0.5 * (low + high)
            i = float(channel(MODEL, v_g - v_s, d - v_s)[0])
            i_gs, _, i_gd, _ = (float(x) for x in gate_currents(MODEL, v_g - v_s, d - v_s))
            if (9 - d) / 2.2e3 > i - i_gd + (d - v_c) / 47e3:
                low = d
            else:
                high = d
            if high - low < 1e-13:
                break
        return d, i, i_gs + i_gd

    def rates(t: float, x: np.ndarray) -> list[float]:
        v_g, v_s, v_c = x
        d, i, i_g = drain_at(v_g, v_s, v_c)
        i_s = i + float(gate_currents(MODEL, v_g - v_s, d - v_s)[0])
        return [
            rate(t) - (v_g / 1e6 + i_g) / 2e-9,
            (i_s - v_s / 1e3) / 1e-6,
            (d - v_c) / 47e3 / 100e-9,
        ]

    point = operating_point(STAGE)
    start = [float(point.voltages["gate"]) + e(0.0), float(point.voltages["source"]), float(point.voltage("drain"))]
    solved = solve_ivp(rates, (0, time[-1]), start, method="LSODA", t_eval=time, rtol=1e-8, atol=1e-9, max_step=2e-5)
    assert solved.success
    return np.array([drain_at(*x)[0] - x[2] for x in solved.y.T])


@pytest.mark.parametrize("amplitude", [0.2, 3.0])
def test_gain_stage_against_scipy(amplitude: float) -> None:
    """Small, and far beyond cut-off, triode and gate conduction."""
    omega, time = 2 * np.pi * 1e3, np.linspace(0, 2e-3, 2001)
    expected = _by_another_integrator(
        lambda t: amplitude * np.sin(omega * t), lambda t: amplitude * omega * np.cos(omega * t), time
    )
    run = transient(STAGE, time, {"E": amplitude * np.sin(omega * time)})
    assert np.max(np.abs(run.voltages["out"] - expected)) < 1.5e-3 * np.max(np.abs(expected))
    if amplitude == 3.0:
        q = run.jfets["Q"]
        assert {str(region) for region in q.region} == {"cut-off", "saturation", "triode"} and q.gate_conducts.any()


@settings(max_examples=15)
@given(st.integers(0, 2**32 - 1), st.sampled_from(RETURNS), st.booleans())
def test_small_signals_are_the_small_signal_response(seed: int, returned: str, gain: bool) -> None:
    network = stage(np.random.default_rng(seed), 8, returned, gain=gain)
    network = Network(
        Capacitor(e.name, e.a, e.b, e.farad) if isinstance(e, Capacitor) else e for e in network
    )  # no loss tangent in the time domain
    point = operating_point(network)
    response = transfer(linearised(network, point), 1e3, "E_p", "out")
    time = np.arange(0, 6 * 256 + 1) / 256e3
    size = 1e-4
    start = stored_at(network, point)
    run = transient(network, time, {"E_p": size * np.sin(2e3 * np.pi * time)}, start)
    turn = np.exp(-2e3j * np.pi * time[-256:])
    # two whole periods' difference takes slow capacitors out
    wave = run.voltages["out"][:, -256:]
    wave = wave - np.linspace(0, 1, 257)[:-1] * (run.voltages["out"][:, -1] - run.voltages["out"][:, -257])[:, None]
    found = 2j * np.mean(wave * turn, axis=-1) / size
    quiet = np.abs(point.jfets["Q"].i_g) < 1e-9
    assert np.all(np.abs(found - response)[quiet] < 0.01 * np.abs(response)[quiet] + 2e-3)


# -- what it is for ---------------------------------------------------------------------------------------------------


def test_a_spike_blocks_the_gate_and_it_recovers_with_its_time_constant() -> None:
    """While the gate conducts it charges C_p; afterwards the gate lies below rest and climbs back with R_G*C_p."""
    time = np.concatenate([np.linspace(0, 1e-3, 501), np.linspace(1e-3, 9e-3, 801)[1:]])
    spike = np.where(time < 0.5e-3, 8.0 * np.sin(2e3 * np.pi * time) ** 2, 0.0)
    run = transient(STAGE, time, {"E": spike})
    rest = float(operating_point(STAGE).voltages["gate"])
    late = time > 2e-3
    below = rest - run.voltages["gate"][late]
    assert np.all(below[:10] > 1.0)
    slope = np.polyfit(time[late], np.log(below), 1)[0]
    assert -1 / slope == pytest.approx(1e6 * 2e-9, rel=0.01)


def test_plugging_in_a_cable_makes_a_thump() -> None:
    """An output capacitor that nothing has discharged meets an empty cable and a load: the jack falls with C_out*R."""
    before = Network(
        [
            VoltageSource("V", "plus", GROUND, 4.0),
            Resistor("R", "plus", "a", 100.0),
            Capacitor("C_out", "a", "jack", 1e-6),
            Resistor("leak", "jack", GROUND, 1e12),
        ]
    )
    after = before.plus(Capacitor("cable", "jack", GROUND, 1e-9), Resistor("load", "jack", GROUND, 1e5))
    time = np.linspace(0, 0.5, 2001)
    run = transient(after, time, start={"C_out": 0.0, "cable": 0.0})
    assert run.voltages["jack"][0] == pytest.approx(0.0, abs=0.02)  # the cable fills through 100 ohm, in 0.1 us
    settled = time > 1e-3
    expected = 4.0 * np.exp(-time[settled] / (1e-6 * (1e5 + 100)))
    assert np.allclose(run.voltages["jack"][settled], expected, rtol=0.01, atol=1e-3)
    assert stored_at(before, operating_point(before))["C_out"] == pytest.approx(4.0, rel=1e-6)


# -- how it is asked --------------------------------------------------------------------------------------------------


def test_batch_is_a_loop_over_its_members() -> None:
    network = stage(np.random.default_rng(9), 6, "divider", gain=True)
    time = np.arange(0, 100) / 50e3
    waves = np.linspace(0.1, 3, 6)[:, None] * np.sin(2e3 * np.pi * time)
    whole = transient(network, time, {"E_p": waves})
    assert whole.voltages["out"].shape == (6, 100) == whole.jfets["Q"].i_d.shape
    for k in range(6):
        one = transient(network.take(np.array([k])), time, {"E_p": waves[k : k + 1]})
        assert np.allclose(one.voltages["out"][0], whole.voltages["out"][k], rtol=1e-6, atol=1e-7)
        assert np.allclose(one.jfets["Q"].i_d[0], whole.jfets["Q"].i_d[k], rtol=1e-5, atol=1e-10)


def test_levels_as_a_batch_of_waveforms_alone() -> None:
    time = np.arange(0, 64) / 64e3
    run = transient(STAGE, time, {"E": np.array([[0.1], [0.2]]) * np.sin(2e3 * np.pi * time)})
    assert run.voltages["out"].shape == (2, 64) and run.stored["C_p"].shape == (2,)


def test_a_run_goes_on_where_another_ended() -> None:
    time = np.linspace(0, 4e-3, 801)
    wave = np.sin(2e3 * np.pi * time)
    whole = transient(STAGE, time, {"E": wave})
    first = transient(STAGE, time[:401], {"E": wave[:401]})
    second = transient(STAGE, time[400:], {"E": wave[400:]}, first.stored)
    assert np.allclose(second.voltages["out"], whole.voltages["out"][400:], atol=3e-3)


def test_two_transistors_in_time() -> None:
    """A follower on a follower: each small signal as its response says."""
    network = Network(
        [
            VoltageSource("E", "gate", GROUND),
            VoltageSource("V", "plus", GROUND, 12.0),
            Jfet("Q1", "plus", "gate", "middle", JfetModel(1e-3, -2.0, 0.01, cgs=5e-12, cgd=2e-12)),
            Resistor("R1", "middle", GROUND, 4.7e3),
            Jfet("Q2", "plus", "middle", "out", JfetModel(2e-3, -1.0, 0.01)),
            Resistor("R2", "out", GROUND, 2.2e3),
        ]
    )
    time = np.arange(0, 513) / 256e3
    run = transient(network, time, {"E": 1e-3 * np.sin(2e3 * np.pi * time)})
    response = transfer(linearised(network, operating_point(network)), 1e3, "E", "out")
    swing = np.ptp(run.voltages["out"][-256:]) / 2
    assert swing == pytest.approx(1e-3 * abs(response), rel=1e-3)
    assert set(run.jfets) == {"Q1", "Q2"}


@pytest.mark.parametrize(
    "more, sentence",
    [
        ({"time": np.array([0.0, 0.0, 1.0])}, "two increasing values"),
        ({"time": np.array([0.0])}, "two increasing values"),
        ({"waveforms": {"R": np.zeros(3)}}, "'R' is no independent source"),
        ({"waveforms": {"E": np.zeros(4)}}, r"E: a waveform of shape \(4,\) does not fit 3 instants"),
        ({"start": {"R": 1.0}}, "'R' stores nothing; C do"),
    ],
)
def test_what_cannot_be_asked(more: dict, sentence: str) -> None:
    with pytest.raises(CircuitError, match=sentence):
        transient(_rc(), **{"time": np.array([0.0, 1.0, 2.0]), **more})


def test_current_sources_drive_too() -> None:
    store, leak = Capacitor("C", "a", GROUND, 1e-6), Resistor("R", "a", GROUND, 1e9)
    network = Network([CurrentSource("J", GROUND, "a"), store, leak])
    time = np.linspace(0, 1e-3, 11)
    run = transient(network, time, {"J": np.full(11, 1e-3)})
    assert np.allclose(run.voltages["a"], time * 1e3, atol=1e-5)
    assert np.array_equal(run.voltage("a"), run.voltages["a"])
    assert np.array_equal(run.voltage(GROUND, "a"), -run.voltages["a"])


def test_a_kink_leaves_no_echo() -> None:
    """A ramp into a series capacitor whose resistor is quick: by hand RCs on the resistor while it rises, then nothing.
    What looked two steps back would still see the ramp: half of RCs the wrong way round."""
    ohm, farad, step, slope = 1e3, 1e-9, 1e-4, 1e3
    whole = Network([VoltageSource("V", "in", GROUND), Capacitor("C", "in", "out", farad),
                     Resistor("R", "out", GROUND, ohm)])  # fmt: skip
    time = step * np.arange(21)
    ramp = slope * np.minimum(time, time[10])
    out = transient(whole, time, {"V": ramp}, {"C": 0.0}).voltage("out")
    held = ohm * farad * slope
    assert out[10] == pytest.approx(held, rel=1e-3) and abs(out[11:]).max() < 0.05 * held


def _knee_error(steps: int, within: float | None) -> float:
    """A sine of 20 V through 10 nF onto a gate junction and 10 megohm, against scipy, furthest, V."""
    model = JfetModel(beta=1e-3, v_off=-1.0, lambda_=0.0, leakage=0.0, cgs=0.0, cgd=0.0)
    whole = Network([VoltageSource("E", "in", GROUND), Capacitor("C", "in", "g", 10e-9),
                     Resistor("R", "g", GROUND, 1e7), Jfet("Q", GROUND, "g", GROUND, model)])  # fmt: skip
    omega, time = 2e3 * np.pi, np.arange(2 * steps + 1) / (1e3 * steps)

    def rate(t: float, v: np.ndarray) -> np.ndarray:
        i_gs, _, i_gd, _ = gate_currents(model, v, np.zeros(1))
        return 20 * omega * np.cos(omega * t) - (v / 1e7 + i_gs + i_gd) / 10e-9

    by_hand = solve_ivp(rate, (0, time[-1]), [0.0], method="LSODA", t_eval=time, rtol=1e-9, atol=1e-10, max_step=1e-5)
    run = transient(whole, time, {"E": lambda at: 20 * np.sin(omega * at)}, within=within)
    return float(np.abs(run.voltage("g") - by_hand.y[0]).max())


def test_a_junction_s_corner_is_met_in_halved_steps() -> None:
    """Its width is a hundredth of a step: whole steps miss by tens of millivolts, halved ones by what is asked."""
    assert _knee_error(96, None) > 10e-3
    errors = [_knee_error(steps, 0.4e-3 * (96 / steps) ** 2) for steps in (96, 384)]
    assert errors[0] < 1e-3 and errors[1] < 0.25 * errors[0]


def test_waveforms_as_functions_are_those_of_their_instants() -> None:
    time, size = np.linspace(0, 1e-3, 201), np.array([[0.1], [0.3]])
    found = [
        transient(STAGE, time, {"E": wave}).voltages["out"]
        for wave in (size * np.sin(2e3 * np.pi * time), lambda at: size * np.sin(2e3 * np.pi * at))
    ]
    assert found[0].shape == (2, 201) == found[1].shape
    assert np.allclose(found[0], found[1], atol=2e-4 * np.abs(found[0]).max())
