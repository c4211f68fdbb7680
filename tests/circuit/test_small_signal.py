"""Responses against closed forms, against another library, and against finite differences of the operating point."""

import control
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from piezolab.circuit import small_signal
from piezolab.circuit.elements import (
    GROUND,
    Capacitor,
    CurrentSource,
    Inductor,
    Jfet,
    Resistor,
    VoltageControlledCurrent,
    VoltageSource,
)
from piezolab.circuit.errors import CircuitError, SingularNetworkError
from piezolab.circuit.network import Network
from piezolab.circuit.operating_point import operating_point
from piezolab.circuit.small_signal import impedance, linearised, transfer, transfers
from tests.circuit.stages import RETURNS, stage

SEEDS = st.integers(0, 2**32 - 1)
SWEEP = np.geomspace(0.1, 1e6, 15)


def decades(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high).map(lambda x: 10**x)


@given(decades(-11, -6), decades(4, 11), decades(-12, -8), decades(2, 9), st.floats(0, 0.2))
def test_bare_pickup_closed_form(c_p: float, r_p: float, c: float, r_l: float, loss: float) -> None:
    network = Network(
        [
            VoltageSource("pickup", "source", GROUND),
            Capacitor("C_p", "source", "hot", c_p, loss),
            Resistor("R_p", "hot", GROUND, r_p),
            Capacitor("C", "hot", GROUND, c),
            Resistor("R_L", "hot", GROUND, r_l),
        ]
    )
    omega, together = 2 * np.pi * SWEEP, r_p * r_l / (r_p + r_l)
    series = 1j * omega * c_p + omega * c_p * loss
    expected = series * together / (1 + together * (series + 1j * omega * c))
    assert np.allclose(transfer(network, SWEEP, "pickup", "hot"), expected, rtol=1e-12, atol=0)


def _state_space(elements: list, drive: str, output: str) -> control.StateSpace:
    """State equations of resistors, grounded-rail sources and capacitors, formed by hand: C dv/dt = -G v + b u.

    Every node but the driven one must carry a capacitor to ground, so that its voltage is a state.
    """
    network = Network(elements)
    nodes = [node for node in network.nodes if node != "driven"]
    c, g = np.zeros((len(nodes), len(nodes))), np.zeros((len(nodes), len(nodes)))
    b, b_rate = np.zeros(len(nodes)), np.zeros(len(nodes))
    for element in network:
        if isinstance(element, VoltageSource):
            continue
        stores = isinstance(element, Capacitor)
        matrix, column, value = (c, b_rate, element.farad) if stores else (g, b, 1 / element.ohm)
        ends = [nodes.index(node) if node in nodes else None for node in (element.a, element.b)]
        for mine, other, far in ((ends[0], ends[1], element.b), (ends[1], ends[0], element.a)):
            if mine is not None:
                matrix[mine, mine] += value
                if other is not None:
                    matrix[mine, other] -= value
                elif far == "driven":
                    column[mine] += value
    # with x = v - C^-1 b_rate u the source's derivative disappears
    feed = np.linalg.solve(c, b_rate)
    a = -np.linalg.solve(c, g)
    drive_in = np.linalg.solve(c, b) + a @ feed
    pick = np.zeros((1, len(nodes)))
    pick[0, nodes.index(output)] = 1.0
    return control.ss(a, drive_in[:, None], pick, [[float(feed[nodes.index(output)])]])


@given(SEEDS, st.integers(1, 6))
def test_random_ladders_against_python_control(seed: int, size: int) -> None:
    rng = np.random.default_rng(seed)
    elements: list = [VoltageSource("drive", "driven", GROUND)]
    before = "driven"
    for k in range(size):
        node = f"n{k}"
        elements.append(Resistor(f"R{k}", before, node, 10 ** rng.uniform(2, 6)))
        elements.append(Capacitor(f"C{k}", node, GROUND, 10 ** rng.uniform(-11, -7)))
        elements.append(Resistor(f"G{k}", node, GROUND, 10 ** rng.uniform(3, 8)))
        if rng.random() < 0.6:
            elements.append(Capacitor(f"B{k}", before, node, 10 ** rng.uniform(-11, -7)))
        before = node
    frequency = np.geomspace(1, 1e5, 12)
    system = _state_space(elements, "drive", before)
    expected = np.squeeze(system(2j * np.pi * frequency))
    assert np.allclose(transfer(Network(elements), frequency, "drive", before), expected, rtol=1e-9, atol=1e-13)


@given(decades(-5, -2), decades(-9, -4), decades(-13, -11), decades(-13, -11), decades(2, 6), decades(3, 7))
def test_source_follower_against_python_control(g_m, g_ds, c_gs, c_gd, r_s, r_g) -> None:
    """Transfer function of the linearised stage written as a ratio of polynomials."""
    network = Network(
        [
            VoltageSource("drive", "in", GROUND),
            Resistor("R_G", "in", "gate", r_g),
            Resistor("R_S", "source", GROUND, r_s),
            *_small_jfet("gate", "source", g_m, g_ds, c_gs, c_gd),
        ]
    )
    # at the gate: (1/R_G + s(C_gs + C_gd)) v_g - s C_gs v_s = u/R_G
    # at the source: (g_m + g_ds + 1/R_S + s C_gs) v_s = (g_m + s C_gs) v_g
    y_g = np.array([c_gs + c_gd, 1 / r_g])
    y_s = np.array([c_gs, g_m + g_ds + 1 / r_s])
    forward = np.array([c_gs, g_m])
    denominator = np.polysub(np.polymul(y_g, y_s), np.polymul([c_gs, 0.0], forward))
    # in microseconds, so that the polynomial coefficients stay of one size
    scale = np.array([1e12, 1e6, 1.0])
    system = control.tf(forward / r_g * scale[1:], denominator * scale)
    frequency = np.geomspace(1, 1e7, 12)
    expected = np.squeeze(system(2j * np.pi * frequency * 1e-6))
    assert np.allclose(transfer(network, frequency, "drive", "source"), expected, rtol=1e-9, atol=0)


def _small_jfet(g: str, s: str, g_m: float, g_ds: float, c_gs: float, c_gd: float) -> list:
    """Drain at the supply, which is ground for signals."""
    return [
        VoltageControlledCurrent("g_m", GROUND, s, g, s, g_m),
        VoltageControlledCurrent("g_ds", GROUND, s, GROUND, s, g_ds),
        Capacitor("c_gs", g, s, c_gs),
        Capacitor("c_gd", g, GROUND, c_gd),
    ]


@given(SEEDS, st.sampled_from(RETURNS), st.booleans())
def test_slow_response_is_the_slope_of_the_operating_point(seed: int, returned: str, gain: bool) -> None:
    """A bias source moved a little, solved twice, against the response at next to no frequency."""
    output = "drain" if gain else "source"
    network = stage(np.random.default_rng(seed), 6, returned, gain=gain)
    step = 1e-4
    high, low = (
        operating_point(network.changed("battery", volt=network["battery"].volt + sign * step)) for sign in (1, -1)
    )
    middle = operating_point(network)
    smooth = (high.jfets["Q"].region == low.jfets["Q"].region) & (np.abs(high.jfets["Q"].i_g) < 1e-7)
    slope = (high.voltages[output] - low.voltages[output]) / (2 * step)
    response = transfer(linearised(network, middle), 1e-9, "battery", output)
    assert np.all(np.abs(response.imag[smooth]) < 1e-3)
    assert np.allclose(response.real[smooth], slope[smooth], rtol=1e-3, atol=1e-6)


@pytest.mark.parametrize("at_once", [1, 30, 100, 10**9])
def test_a_few_frequencies_at_a_time_change_no_digit(monkeypatch: pytest.MonkeyPatch, at_once: int) -> None:
    farad = np.random.default_rng(1).uniform(1e-9, 9e-9, (4, 5))
    network = Network(
        [
            VoltageSource("pickup", "source", GROUND),
            Capacitor("C_p", "source", "hot", farad),
            Resistor("R", "hot", "out", 1e5),
            Capacitor("C", "out", GROUND, 1e-9),
        ]
    )
    outputs, drives = [("hot", GROUND), ("out", "hot")], ["pickup", {"pickup": np.linspace(1.0, 2.0, 5)}]
    whole = small_signal.transfers_of_each(network, SWEEP, drives, outputs)
    monkeypatch.setattr(small_signal, "AT_ONCE", at_once)
    for row, again in zip(whole, small_signal.transfers_of_each(network, SWEEP, drives, outputs), strict=True):
        for each, same in zip(row, again, strict=True):
            assert same.shape == (4, 5, len(SWEEP))
            np.testing.assert_array_equal(each, same)


def test_batch_is_a_loop_over_its_members() -> None:
    network = stage(np.random.default_rng(2), 12, "divider", gain=True)
    whole = transfer(linearised(network, operating_point(network)), SWEEP, "E_p", "out")
    assert whole.shape == (12, 15)
    for k in range(12):
        one = network.take(np.array([k]))
        single = transfer(linearised(one, operating_point(one)), SWEEP, "E_p", "out")[0]
        assert np.allclose(single, whole[k], rtol=1e-8, atol=1e-300)


def test_several_sources_add_up_with_their_amplitudes() -> None:
    network = Network(
        [
            VoltageSource("one", "a", GROUND),
            VoltageSource("two", "b", GROUND),
            CurrentSource("three", GROUND, "out", 0.0),
            Resistor("R1", "a", "out", 1e3),
            Resistor("R2", "b", "out", 2e3),
            Capacitor("C", "out", GROUND, 1e-6),
        ]
    )
    parts = [transfer(network, SWEEP, name, "out") for name in ("one", "two", "three")]
    mixed = transfer(network, SWEEP, {"one": 2.0, "two": -1j, "three": 1e-3}, "out")
    assert np.allclose(mixed, 2 * parts[0] - 1j * parts[1] + 1e-3 * parts[2], rtol=1e-12)
    batch = transfer(network, SWEEP, {"one": np.array([1.0, 3.0])}, "out")
    assert np.allclose(batch, np.array([[1.0], [3.0]]) * parts[0], rtol=1e-12)


def test_several_outputs_from_one_solution() -> None:
    halves = Resistor("R1", "a", "b", 1e3), Resistor("R2", "b", GROUND, 1e3)
    network = Network([VoltageSource("E", "a", GROUND), *halves])
    first, second, third = transfers(network, SWEEP, "E", [("b", GROUND), ("a", "b"), ("a", GROUND)])
    assert np.all(first == 0.5) and np.all(second == 0.5) and np.all(third == 1.0)
    assert first.shape == SWEEP.shape and np.iscomplexobj(third)


@given(decades(0, 6), decades(-9, -3), decades(-3, 0))
def test_impedance_of_a_series_circuit(ohm: float, farad: float, henry: float) -> None:
    coil, store = Inductor("L", "b", "c", henry), Capacitor("C", "c", GROUND, farad)
    network = Network([Resistor("R", "a", "b", ohm), coil, store])
    s = 2j * np.pi * SWEEP
    assert np.allclose(impedance(network, SWEEP, "a"), ohm + s * henry + 1 / (s * farad), rtol=1e-9)


def test_impedance_between_two_nodes() -> None:
    sides = Resistor("R1", "a", GROUND, 1e3), Resistor("R2", "b", GROUND, 2e3)
    network = Network([*sides, Resistor("R3", "a", "b", 3e3)])
    assert impedance(network, 1.0, "a", "b") == pytest.approx(1500.0)


@pytest.mark.parametrize(
    "drive, output, sentence",
    [
        ("R", "a", "R: a Resistor cannot drive a network"),
        ("E", "z", "no node 'z'; there are a"),
    ],
)
def test_wrong_names_are_refused(drive: str, output: str, sentence: str) -> None:
    network = Network([VoltageSource("E", "a", GROUND), Resistor("R", "a", GROUND, 1.0)])
    with pytest.raises(CircuitError, match=sentence):
        transfer(network, 1.0, drive, output)


def test_a_node_held_by_capacitors_alone_has_no_answer_at_zero_hertz() -> None:
    network = Network([VoltageSource("E", "a", GROUND), Capacitor("C", "a", "b", 1e-9)])
    with pytest.raises(SingularNetworkError, match="'b'"):
        transfer(network, np.array([0.0, 1.0]), "E", "b")
    assert transfer(network, 1.0, "E", "b") == pytest.approx(1.0)


def test_linearised_elements_bear_the_names_of_their_transistor() -> None:
    network = stage(np.random.default_rng(1), None, "ground")
    linear = linearised(network, operating_point(network))
    names = [element.name for element in linear if element.name.startswith("Q ")]
    assert names == ["Q g_m", "Q g_ds", "Q g_gs", "Q g_gd", "Q c_gs", "Q c_gd"]
    assert not any(isinstance(element, Jfet) for element in linear)
