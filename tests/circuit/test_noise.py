"""Noise against thermodynamics, against symbolic solutions made by hand, and against itself."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from piezolab.circuit.elements import GROUND, Capacitor, Inductor, Jfet, NoiseVoltage, Resistor, VoltageSource
from piezolab.circuit.errors import CircuitError
from piezolab.circuit.jfet import JfetModel, channel
from piezolab.circuit.network import Network
from piezolab.circuit.noise import channel_noise, gate_noise, noise
from piezolab.circuit.operating_point import operating_point
from piezolab.circuit.small_signal import impedance, linearised, transfer
from tests.circuit.reference import random_network
from tests.circuit.stages import RETURNS, stage

SEEDS = st.integers(0, 2**32 - 1)
K, Q = 1.380649e-23, 1.602176634e-19
SWEEP = np.geomspace(1.0, 1e6, 9)


def _noise(network: Network, frequency: object, output: str, reference: str = GROUND, **more: object):
    return noise(network, operating_point(network), frequency, output, reference, **more)


@given(SEEDS, st.floats(-20, 60))
def test_nyquist(seed: int, temp_c: float) -> None:
    """A passive network in equilibrium has 4kT Re Z between any two nodes, dielectric loss and 0 ohm included."""
    rng = np.random.default_rng(seed)
    network = random_network(rng, int(rng.integers(3, 9)), ladder=bool(rng.integers(2)))
    if rng.integers(2):
        network = Network(element for element in network if not isinstance(element, Inductor))
    a, b = (str(node) for node in rng.choice([*network.nodes, GROUND], 2, replace=False))
    result = _noise(network, SWEEP, a, b, temp_c=temp_c)
    four_kt = 4 * K * (273.15 + temp_c)
    expected = four_kt * impedance(network, SWEEP, a, b).real
    # what two nodes have in common cancels in Z between them, down to the last digits of what each sees by itself
    largest = sum(np.abs(impedance(network, SWEEP, node)) for node in (a, b) if node != GROUND)
    assert np.allclose(result.total, expected, rtol=1e-9, atol=1e-12 * four_kt * (1 + largest.max()))
    assert np.allclose(sum(result.density.values()), result.total, rtol=1e-14, atol=0)


@given(SEEDS)
def test_nyquist_of_a_transistor_without_voltages(seed: int) -> None:
    """Channel and junctions at rest without any source are resistors like others: equilibrium knows no difference."""
    rng = np.random.default_rng(seed)
    network = stage(rng, None, "ground", gain=bool(rng.integers(2))).changed("battery", volt=0.0)
    model = network["Q"].model
    network = network.changed("Q", model=JfetModel(
        model.beta, model.v_off, model.lambda_, model.leakage, model.cgs, model.cgd, 0.0, 17.0
    ))  # fmt: skip
    point = operating_point(network)
    assert point.jfets["Q"].v_ds == 0.0 == point.jfets["Q"].v_gs
    for node in ("gate", "drain", "source", "out"):
        result = noise(network, point, SWEEP, node, temp_c=17.0)
        expected = 4 * K * 290.15 * impedance(linearised(network, point), SWEEP, node).real
        assert np.allclose(result.total, expected, rtol=1e-9, atol=0)


@pytest.mark.parametrize("ohm", [1e3, 1e6, 1e9])
def test_thermal_charge_of_a_capacitor_whatever_the_resistor(ohm: float) -> None:
    """kT/C, by integration over all frequencies."""
    farad = 100e-12
    network = Network([Resistor("R", "a", GROUND, ohm), Capacitor("C", "a", GROUND, farad)])
    corner = 1 / (2 * np.pi * ohm * farad)
    log_f = np.linspace(np.log(corner * 1e-9), np.log(corner * 1e9), 400)
    frequency = np.exp(log_f)
    power = np.sum(_noise(network, frequency, "a").total * frequency) * (log_f[1] - log_f[0])
    assert power == pytest.approx(K * 298.15 / farad, rel=1e-6)


@given(SEEDS)
def test_equipartition(seed: int) -> None:
    """Every capacitance matrix holds kT C^-1, whatever resistors join its nodes (H. Nyquist's theorem, integrated)."""
    rng = np.random.default_rng(seed)
    nodes = ("a", "b", "c")
    matrix = np.zeros((3, 3))
    elements: list = []
    for k, node in enumerate(nodes):
        value = 10 ** rng.uniform(-12, -10)
        matrix[k, k] += value
        elements.append(Capacitor(f"C{node}", node, GROUND, value))
        elements.append(Resistor(f"R{node}", node, GROUND, 10 ** rng.uniform(5, 8)))
    for k, n in ((0, 1), (1, 2)):
        value = 10 ** rng.uniform(-12, -10)
        matrix[k, k] += value
        matrix[n, n] += value
        matrix[k, n] -= value
        matrix[n, k] -= value
        elements.append(Capacitor(f"C{k}{n}", nodes[k], nodes[n], value))
        elements.append(Resistor(f"R{k}{n}", nodes[k], nodes[n], 10 ** rng.uniform(5, 8)))
    log_f = np.linspace(np.log(1e-6), np.log(1e13), 500)
    frequency = np.exp(log_f)
    network = Network(elements)
    for k, node in enumerate(nodes):
        power = np.sum(_noise(network, frequency, node).total * frequency) * (log_f[1] - log_f[0])
        assert power == pytest.approx(K * 298.15 * np.linalg.inv(matrix)[k, k], rel=1e-6)


# -- stages, solved by hand -----------------------------------------------------------------------------------------


def _parts(network: Network) -> tuple[dict[str, float], JfetModel]:
    values = {}
    for element in network:
        for field in ("ohm", "farad", "volt"):
            if hasattr(element, field):
                values[element.name] = float(getattr(element, field))
    return values, network["Q"].model


def _channel_density(model: JfetModel, v_gs: float, v_ds: float, frequency: np.ndarray) -> np.ndarray:
    over = v_gs - float(model.v_off)
    eta = 1 - min(v_ds / over, 1.0)
    g_d0 = 2 * float(model.beta) * over * (1 + float(model.lambda_) * v_ds)
    four_kt = 4 * K * (float(model.temp_c) + 273.15)
    white = four_kt * 2 / 3 * g_d0 * (1 + eta + eta**2) / (1 + eta)
    return white * (1 + float(model.corner_hz) / frequency)


@given(SEEDS)
def test_follower_by_hand(seed: int) -> None:
    """Two nodes, gate and source, with Cramer's rule; the drain sits at the supply."""
    rng = np.random.default_rng(seed)
    random = stage(rng, None, "ground")
    network = Network(
        [
            random["E_p"],
            random["battery"],
            Capacitor("C_p", "charge", "gate", random["C_p"].farad, random["C_p"].loss_tangent),
            Resistor("R_G", "gate", GROUND, random["R_G"].ohm),
            Resistor("R_S", "source", GROUND, 10 ** rng.uniform(2, 6)),
            Capacitor("C_load", "source", GROUND, random["C_cable"].farad),
            Jfet("Q", "plus", "gate", "source", random["Q"].model),
            NoiseVoltage("e_n", "source", "heard", 5e-9),
        ]
    )
    point = operating_point(network)
    at, (value, model) = point.jfets["Q"], _parts(network)
    temp_c, f = 21.0, SWEEP
    s, tan = 2j * np.pi * f, float(network["C_p"].loss_tangent)
    four_kt = 4 * K * (temp_c + 273.15)
    loss = 2 * np.pi * f * value["C_p"] * tan
    # at the gate: a v_g - b v_s = i_g;  at the source: -c v_g + d v_s = i_s
    b = s * float(model.cgs) + at.g_gs
    a = s * (value["C_p"] + float(model.cgd)) + loss + 1 / value["R_G"] + at.g_gd + b
    c = at.g_m + b
    d = at.g_m + at.g_ds + 1 / value["R_S"] + s * value["C_load"] + b
    z_g, z_s = c / (a * d - b * c), a / (a * d - b * c)  # volts at the source for 1 A into gate, into source
    leak = float(model.leakage)
    v_t = float(model.thermal_voltage)
    v_gd = float(at.v_gs - at.v_ds)
    crossing_gs = 1e-14 * (np.exp(at.v_gs / v_t) + 1)
    crossing_gd = 1e-14 * (np.exp(v_gd / v_t) + 1) + leak
    expected = {
        "C_p": four_kt * loss * abs(z_g) ** 2,
        "R_G": four_kt / value["R_G"] * abs(z_g) ** 2,
        "R_S": four_kt / value["R_S"] * abs(z_s) ** 2,
        "Q channel": _channel_density(model, float(at.v_gs), float(at.v_ds), f) * abs(z_s) ** 2,
        "Q gate": 2 * Q * (crossing_gs * abs(z_g - z_s) ** 2 + crossing_gd * abs(z_g) ** 2),
        "e_n": np.full(f.shape, 25e-18),
    }
    result = noise(network, point, f, "heard", temp_c=temp_c)
    assert set(result.density) == set(expected)
    for name, density in result.density.items():
        assert np.allclose(density, expected[name], rtol=1e-9, atol=0), name
    assert np.allclose(result.total, sum(expected.values()), rtol=1e-9, atol=0)


@given(SEEDS)
def test_gain_stage_by_hand(seed: int) -> None:
    """Three nodes, gate, drain and source, with the 3 by 3 inverse written out by cofactors."""
    rng = np.random.default_rng(seed)
    random = stage(rng, None, "ground", gain=True)
    network = Network(
        [
            VoltageSource("battery", "plus", GROUND, random["battery"].volt),
            VoltageSource("E_p", "charge", GROUND),
            Capacitor("C_p", "charge", "gate", random["C_p"].farad, random["C_p"].loss_tangent),
            Resistor("R_G", "gate", GROUND, random["R_G"].ohm),
            Resistor("R_D", "plus", "drain", 10 ** rng.uniform(2.1, 5)),
            Resistor("R_S", "source", GROUND, 10 ** rng.uniform(2.1, 5)),
            Capacitor("C_bypass", "source", GROUND, random["C_bypass"].farad),
            Capacitor("C_load", "drain", GROUND, random["C_cable"].farad),
            Jfet("Q", "drain", "gate", "source", random["Q"].model),
        ]
    )
    point = operating_point(network)
    at, (value, model) = point.jfets["Q"], _parts(network)
    f, four_kt = SWEEP, 4 * K * 298.15
    s, tan = 2j * np.pi * f, float(network["C_p"].loss_tangent)
    loss = 2 * np.pi * f * value["C_p"] * tan
    y_gs, y_gd = s * float(model.cgs) + at.g_gs, s * float(model.cgd) + at.g_gd
    y_g = s * value["C_p"] + loss + 1 / value["R_G"] + y_gs + y_gd
    y_d = 1 / value["R_D"] + s * value["C_load"] + at.g_ds + y_gd
    y_s = 1 / value["R_S"] + s * value["C_bypass"] + at.g_m + at.g_ds + y_gs
    # rows: gate, drain, source
    (m11, m12, m13), (m21, m22, m23), (m31, m32, m33) = (
        (y_g, -y_gd, -y_gs),
        (at.g_m - y_gd, y_d, -at.g_m - at.g_ds),
        (-at.g_m - y_gs, -at.g_ds, y_s),
    )
    determinant = m11 * (m22 * m33 - m23 * m32) - m12 * (m21 * m33 - m23 * m31) + m13 * (m21 * m32 - m22 * m31)
    z_g = -(m21 * m33 - m23 * m31) / determinant  # volts at the drain for 1 A into each node
    z_d = (m11 * m33 - m13 * m31) / determinant
    z_s = -(m11 * m23 - m13 * m21) / determinant
    v_t, v_gd = float(model.thermal_voltage), float(at.v_gs - at.v_ds)
    crossing_gs = 1e-14 * (np.exp(at.v_gs / v_t) + 1)
    crossing_gd = 1e-14 * (np.exp(v_gd / v_t) + 1) + float(model.leakage)
    expected = {
        "C_p": four_kt * loss * abs(z_g) ** 2,
        "R_G": four_kt / value["R_G"] * abs(z_g) ** 2,
        "R_D": four_kt / value["R_D"] * abs(z_d) ** 2,
        "R_S": four_kt / value["R_S"] * abs(z_s) ** 2,
        "Q channel": _channel_density(model, float(at.v_gs), float(at.v_ds), f) * abs(z_d - z_s) ** 2,
        "Q gate": 2 * Q * (crossing_gs * abs(z_g - z_s) ** 2 + crossing_gd * abs(z_g - z_d) ** 2),
    }
    result = noise(network, point, f, "drain")
    for name, density in result.density.items():
        # where a difference of two transfers is far smaller than both, its own last digits are beyond any method
        largest = expected["Q channel"] * (abs(z_d) ** 2 + abs(z_s) ** 2) / abs(z_d - z_s) ** 2
        assert np.allclose(density, expected[name], rtol=1e-9, atol=1e-13 * float(np.max(largest))), name
    assert np.allclose(result.total, sum(expected.values()), rtol=1e-9, atol=0)


# -- the transistor by itself ---------------------------------------------------------------------------------------


def _point_at(model: JfetModel, v_gs: float, v_ds: float):
    held = VoltageSource("G", "g", GROUND, v_gs), VoltageSource("D", "d", GROUND, v_ds)
    return operating_point(Network([*held, Jfet("Q", "d", "g", GROUND, model)])).jfets["Q"]


def test_channel_noise_in_each_region() -> None:
    model = JfetModel(beta=2e-3, v_off=-2.0, lambda_=0.03)
    four_kt = 4 * K * 298.15
    saturated = _point_at(model, -0.5, 6.0)
    assert channel_noise(model, saturated) == pytest.approx(four_kt * 2 / 3 * float(saturated.g_m), rel=1e-12)
    open_ = _point_at(model, -0.5, 0.0)
    assert channel_noise(model, open_) == pytest.approx(four_kt * float(open_.g_ds), rel=1e-12)
    # half-way into triode, eta = 1/2: (2/3)(7/4)/(3/2) = 7/9 of g_d0; the saturation formula would say 2/3 of g_m
    half = _point_at(model, -0.5, 0.75)
    assert channel_noise(model, half) == pytest.approx(four_kt * 7 / 9 * 2 * 2e-3 * 1.5 * (1 + 0.03 * 0.75), rel=1e-12)
    assert channel_noise(model, half) > 2 * four_kt * 2 / 3 * float(half.g_m)
    assert channel_noise(model, _point_at(model, -2.5, 6.0)) == 0.0


@given(st.floats(-1.9, 0.3), st.floats(0.01, 8))
def test_a_reversed_channel_makes_the_noise_of_its_mirror_image(v_gs: float, v_ds: float) -> None:
    model = JfetModel(beta=2e-3, v_off=-2.0, lambda_=0.03)
    here, there = _point_at(model, v_gs, v_ds), _point_at(model, v_gs - v_ds, -v_ds)
    assert channel_noise(model, there) == pytest.approx(channel_noise(model, here), rel=1e-9)
    assert float(channel(model, v_gs, v_ds)[0]) == pytest.approx(-float(there.i_channel), rel=1e-9)


def test_gate_noise_is_shot_noise_of_the_gate_current() -> None:
    model = JfetModel(beta=2e-3, v_off=-2.0, leakage=5e-12)
    reverse = _point_at(model, -1.0, 6.0)
    assert sum(gate_noise(model, reverse)) == pytest.approx(2 * Q * abs(float(reverse.i_g)), rel=1e-9)
    forward = _point_at(model, 0.5, 6.0)
    assert gate_noise(model, forward)[0] == pytest.approx(2 * Q * float(forward.i_gs), rel=1e-6)


def test_flicker_doubles_the_channel_at_its_corner() -> None:
    network = stage(np.random.default_rng(4), None, "ground")
    network = network.changed("Q", model=JfetModel(beta=1e-3, v_off=-1.0, corner_hz=400.0))
    quiet = network.changed("Q", model=JfetModel(beta=1e-3, v_off=-1.0))
    frequency = np.array([40.0, 400.0, 4000.0])
    loud, still = (_noise(each, frequency, "source").density["Q channel"] for each in (network, quiet))
    assert np.allclose(loud / still, [11.0, 2.0, 1.1], rtol=1e-9)


# -- how it is asked --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("returned", RETURNS)
def test_batch_is_a_loop_over_its_members(returned: str) -> None:
    network = stage(np.random.default_rng(8), 10, returned, gain=True)
    temps = np.linspace(0, 40, 10)
    whole = _noise(network, SWEEP, "out", temp_c=temps)
    assert whole.total.shape == (10, 9) and all(value.shape == (10, 9) for value in whole.density.values())
    for k in range(10):
        single = _noise(network.take(np.array([k])), SWEEP, "out", temp_c=float(temps[k]))
        assert np.allclose(single.total[0], whole.total[k], rtol=1e-8)
        for name, value in single.density.items():
            assert np.allclose(value[0], whole.density[name][k], rtol=1e-7, atol=1e-12 * whole.total[k].max()), name


def test_each_contributor_is_what_a_source_in_its_place_would_send() -> None:
    """Straight solutions, one for each resistor, against the one adjoint solution."""
    network = Network(
        [
            VoltageSource("E", "a", GROUND),
            Resistor("R1", "a", "b", 50.0),
            Resistor("R2", "b", "c", 4.7e3),
            Resistor("R3", "c", GROUND, 1e6),
            Capacitor("C1", "b", GROUND, 10e-9, 0.02),
            Capacitor("C2", "b", "c", 1e-9),
            NoiseVoltage("e_n", "c", "d", 3e-9),
        ]
    )
    result = _noise(network, SWEEP, "d", "b")
    for name, a, b, ohm in (("R1", "a", "b", 50.0), ("R2", "b", "c", 4.7e3), ("R3", "c", GROUND, 1e6)):
        opened = network.changed(name, a=f"{a} behind").plus(VoltageSource("probe", a, f"{a} behind"))
        sent = transfer(opened, SWEEP, "probe", "d", "b")
        assert np.allclose(result.density[name], 4 * K * 298.15 * ohm * np.abs(sent) ** 2, rtol=1e-10), b
    assert set(result.density) == {"R1", "R2", "R3", "C1", "e_n"}
    assert np.allclose(result.density["e_n"], 9e-18)


def test_no_ohm_no_noise_and_small_ones_their_own() -> None:
    network = Network([Resistor("R0", "a", "b", 0.0), Resistor("R1", "b", GROUND, 1.0)])
    result = _noise(network, 1e3, "a")
    assert result.density["R0"] == 0.0 and result.total.shape == ()
    assert result.total == pytest.approx(4 * K * 298.15, rel=1e-12)


@pytest.mark.parametrize(
    "frequency, output, sentence",
    [(0.0, "a", "above 0 Hz; the lowest given is 0.0"), (-5.0, "a", "-5.0 Hz"), (1.0, "z", "no node 'z'; there are a")],
)
def test_what_cannot_be_asked(frequency: float, output: str, sentence: str) -> None:
    network = Network([Resistor("R", "a", GROUND, 1e3)])
    with pytest.raises(CircuitError, match=sentence):
        _noise(network, frequency, output)


def test_small_and_large_resistors_of_one_batch() -> None:
    """The same elements in one batch with 0 ohm, a few and many, and each by itself."""
    ohms = np.array([0.0, 10.0, 5e3, 22e6])
    network = Network(
        [
            Resistor("feed", "in", GROUND, 1e4),
            Resistor("R", "in", "out", ohms),
            Capacitor("C", "out", GROUND, 1e-9),
            Resistor("end", "out", GROUND, ohms[::-1].copy() + 1.0),
        ]
    )
    whole = _noise(network, SWEEP, "out")
    assert np.allclose(whole.total, 4 * K * 298.15 * impedance(network, SWEEP, "out").real, rtol=1e-10)
    for k in range(4):
        single = _noise(network.take(np.array([k])), SWEEP, "out")
        for name, value in single.density.items():
            assert np.allclose(value[0], whole.density[name][k], rtol=1e-10, atol=0), name
