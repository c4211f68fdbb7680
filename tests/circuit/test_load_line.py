"""The static transfer against operating points with the capacitors' work done by hand, and against the time domain."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from piezolab.circuit.elements import GROUND, Capacitor, Jfet, Resistor, VoltageSource
from piezolab.circuit.errors import CircuitError
from piezolab.circuit.jfet import JfetModel
from piezolab.circuit.load_line import load_line
from piezolab.circuit.network import Network
from piezolab.circuit.operating_point import operating_point
from piezolab.circuit.small_signal import linearised, transfer
from piezolab.circuit.transient import transient
from tests.circuit.stages import RETURNS, stage

SEEDS = st.integers(0, 2**32 - 1)
DRIVE = np.array([-3.0, -1.0, -0.3, 0.0, 0.2, 1.0, 4.0])


@given(st.floats(2, 6), st.floats(2, 5), st.floats(2, 5), st.floats(-4, -0.5), st.floats(-2, 2))
def test_without_reactances_it_is_the_operating_point_moved(gate_r, source_r, drain_r, v_off, bias) -> None:
    network = Network(
        [
            VoltageSource("E", "in", GROUND, bias),
            Resistor("R_G", "in", "gate", 10**gate_r),
            VoltageSource("V", "plus", GROUND, 9.0),
            Resistor("R_D", "plus", "drain", 10**drain_r),
            Jfet("Q", "drain", "gate", "source", JfetModel(1e-3, v_off, 0.05)),
            Resistor("R_S", "source", GROUND, 10**source_r),
        ]
    )
    point = operating_point(network)
    points, output = load_line(network, point, 1e3, "E", "drain").at(DRIVE)
    moved = operating_point(network.changed("E", volt=bias + DRIVE))
    assert np.allclose(output, moved.voltages["drain"] - point.voltages["drain"], rtol=1e-6, atol=1e-9)
    for field in ("v_gs", "v_ds", "i_d", "i_g"):
        assert np.allclose(getattr(points["Q"], field), getattr(moved.jfets["Q"], field), rtol=1e-6, atol=1e-9), field


def _gain_stage(large: float, small: float, v_off: float = -1.0) -> Network:
    """Coupling capacitors that hold, stray ones that vanish, and a capacitive pickup divider of 15 to 5."""
    return Network(
        [
            VoltageSource("E", "charge", GROUND),
            Capacitor("C_p", "charge", "gate", 15e-9),
            Capacitor("C_lead", "gate", GROUND, 5e-9),
            Resistor("R_G", "gate", GROUND, 1e9),
            VoltageSource("V", "plus", GROUND, 9.0),
            Resistor("R_D", "plus", "drain", 4.7e3),
            Jfet("Q", "drain", "gate", "source", JfetModel(1e-3, v_off, 0.02)),
            Resistor("R_S", "source", GROUND, 1.5e3),
            Capacitor("C_S", "source", GROUND, large),
            Capacitor("C_out", "drain", "out", large),
            Resistor("load", "out", GROUND, 10e3),
            Capacitor("C_cable", "out", GROUND, small),
        ]
    )


def test_large_capacitors_hold_and_small_ones_are_open() -> None:
    """The same network with the capacitors replaced by what they are at 1 kHz: voltages held, gaps, and a ratio."""
    network = _gain_stage(1.0, 1e-15)
    rest = operating_point(network)
    held = Network(
        [
            VoltageSource("G", "gate", GROUND, 0.75 * DRIVE),
            VoltageSource("V", "plus", GROUND, 9.0),
            network["R_D"],
            network["Q"],
            VoltageSource("C_S", "source", GROUND, rest.voltage("source")[()]),
            VoltageSource("C_out", "drain", "out", rest.voltage("drain")[()]),
            network["load"],
        ]
    )
    moved = operating_point(held)
    points, output = load_line(network, rest, 1e3, "E", "out").at(DRIVE)
    calm = 0.75 * DRIVE + rest.jfets["Q"].v_gs < 0.4  # a conducting gate loads the capacitive source
    for field in ("v_gs", "v_ds", "i_d"):
        here, there = getattr(points["Q"], field)[calm], getattr(moved.jfets["Q"], field)[calm]
        assert np.allclose(here, there, rtol=1e-4, atol=1e-6)
    assert np.allclose(output[calm], moved.voltages["out"][calm], rtol=1e-4, atol=1e-4)


@given(SEEDS, st.sampled_from(RETURNS), st.booleans())
def test_slope_at_rest_is_the_response_at_that_frequency(seed: int, returned: str, gain: bool) -> None:
    network = stage(np.random.default_rng(seed), 5, returned, gain=gain)
    point = operating_point(network)
    line = load_line(network, point, 1e3, "E_p", "out")
    linear = linearised(network, point)
    response = transfer(linear, 1e3, "E_p", "out")
    assert np.allclose(np.abs(line.gain), np.abs(response), rtol=1e-9)
    step = 1e-5
    points, output = line.at(np.array([-step, 0.0, step]))
    slope = (output[:, 2] - output[:, 0]) / (2 * step)
    at = point.jfets["Q"]
    smooth = (points["Q"].region[:, 0] == points["Q"].region[:, 2]) & (at.i_forward < 1e-9)
    assert np.allclose(slope[smooth], line.gain[smooth], rtol=1e-3, atol=1e-6)
    assert np.allclose(output[:, 1], 0.0, atol=1e-9)
    gate = np.abs(transfer(linear, 1e3, "E_p", "gate", "source"))
    v_slope = (points["Q"].v_gs[:, 2] - points["Q"].v_gs[:, 0]) / (2 * step)
    assert np.allclose(v_slope[smooth], gate[smooth], rtol=1e-3, atol=1e-6)


@settings(max_examples=12)
@given(st.floats(0.4, 3.0), st.floats(0.05, 0.9), st.sampled_from(["out", "drain"]))
def test_crests_against_the_time_domain(size: float, cut_off: float, output: str) -> None:
    """A 1 kHz sine through the whole network in time, in and beyond the bends, before charge builds up."""
    network = _gain_stage(22e-6, 1e-9, v_off=-0.5 - cut_off)
    point = operating_point(network)
    time = np.arange(0, 2 * 256 + 1) / 256e3
    size = min(size, 1.2 * (cut_off + 0.5))
    run = transient(network, time, {"E": size * np.sin(2e3 * np.pi * time)})
    points, static = load_line(network, point, 1e3, "E", output).at(np.array([-size, size]))
    change = run.voltage(output) - point.voltage(output)
    reach = np.max(np.abs(change))
    assert static.min() == pytest.approx(change[:200].min(), abs=0.04 * reach)
    assert static.max() == pytest.approx(change[:256].max(), abs=0.04 * reach)
    i_d = run.jfets["Q"].i_d[:256]
    assert points["Q"].i_d[0] == pytest.approx(i_d.min(), abs=0.04 * i_d.max())
    assert points["Q"].i_d[1] == pytest.approx(i_d.max(), abs=0.04 * i_d.max())


def test_batch_and_shapes() -> None:
    network = stage(np.random.default_rng(3), 6, "ground", gain=True)
    line = load_line(network, operating_point(network), 1e3, {"E_p": 1.0}, "out")
    points, output = line.at(DRIVE)
    assert output.shape == (6, 7) == points["Q"].i_d.shape
    for k in range(6):
        one = network.take(np.array([k]))
        single, out = load_line(one, operating_point(one), 1e3, {"E_p": 1.0}, "out").at(DRIVE)
        assert np.allclose(out[0], output[k], rtol=1e-6, atol=1e-8)
        assert np.allclose(single["Q"].v_ds[0], points["Q"].v_ds[k], rtol=1e-6, atol=1e-8)
    own = line.at(np.arange(6.0)[:, None] * np.ones(2))[1]
    assert own[0] == pytest.approx([0.0, 0.0], abs=1e-9) and own.shape == (6, 2)


def test_two_transistors() -> None:
    """A follower on a follower without capacitors: again the operating point, moved."""
    network = Network(
        [
            VoltageSource("E", "gate", GROUND),
            VoltageSource("V", "plus", GROUND, 12.0),
            Jfet("Q1", "plus", "gate", "middle", JfetModel(1e-3, -2.0, 0.01)),
            Resistor("R1", "middle", GROUND, 4.7e3),
            Jfet("Q2", "plus", "middle", "out", JfetModel(2e-3, -1.0, 0.01)),
            Resistor("R2", "out", GROUND, 2.2e3),
        ]
    )
    point = operating_point(network)
    _, output = load_line(network, point, 1e3, "E", "out").at(DRIVE)
    moved = operating_point(network.changed("E", volt=DRIVE))
    assert np.allclose(output, moved.voltages["out"] - point.voltages["out"], rtol=1e-6, atol=1e-9)


def test_no_transistor_no_load_line() -> None:
    network = Network([VoltageSource("E", "a", GROUND), Resistor("R", "a", GROUND, 1.0)])
    with pytest.raises(CircuitError, match="without a transistor has no load line"):
        load_line(network, operating_point(network), 1e3, "E", "a")


def test_beyond_cut_off_nothing_more_comes_out_even_where_the_output_is_turned() -> None:
    """A coupling capacitor as large as its load at 1 kHz turns the output by 45 degrees; the current that stops still
    leaves |Z| times its own size behind, and no louder signal adds to that."""
    network = _gain_stage(1.0, 1e-15).changed("C_out", farad=1 / (2 * np.pi * 1e3 * 14.7e3))
    point = operating_point(network)
    points, output = load_line(network, point, 1e3, "E", "out").at(np.array([-6.0, -4.0, -3.0]))
    assert np.all(points["Q"].i_channel == 0)
    reach = 4.7e3 * 10e3 / abs(14.7e3 - 14.7e3j) * float(point.jfets["Q"].i_channel)
    assert np.allclose(output, reach, rtol=2e-3)
