"""Operating points: the current law at every node, and other routes to the same point."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from piezolab.circuit import nodal
from piezolab.circuit.elements import (
    GROUND,
    Capacitor,
    CurrentSource,
    Inductor,
    Jfet,
    Resistor,
    VoltageControlledCurrent,
    VoltageControlledVoltage,
    VoltageSource,
)
from piezolab.circuit.errors import CircuitError, FloatingNodeError, SingularNetworkError
from piezolab.circuit.jfet import JfetModel, jfet_from_sheet
from piezolab.circuit.network import Network
from piezolab.circuit.operating_point import OperatingPoint, operating_point
from piezolab.circuit.ports import find_ports, port_currents
from piezolab.circuit.two_ports import AT_ONCE
from tests.circuit.stages import RETURNS, spread, stage, transistor

SEEDS = st.integers(0, 2**32 - 1)


def assert_laws_hold(network: Network, point: OperatingPoint) -> None:
    """Kirchhoff's current law at every node, the law of every branch, and transistors where their terminals are."""
    total = {node: 0.0 for node in (*network.nodes, GROUND)}
    largest = dict(total)

    def leave(node: str, current: np.ndarray) -> None:
        total[node] = total[node] + current
        largest[node] = np.maximum(largest[node], np.abs(current))

    volts = max(float(np.max(np.abs(value))) for value in point.voltages.values())
    for element in network:
        match element:
            case Jfet(name=name, drain=d, gate=g, source=s):
                at = point.jfets[name]
                for node, current in ((d, at.i_d), (g, at.i_g), (s, at.i_s)):
                    leave(node, current)
                for here, told in ((point.voltage(g, s), at.v_gs), (point.voltage(d, s), at.v_ds)):
                    assert np.all(np.abs(here - told) <= 1e-11 * (1 + volts)), name
                continue
            case Capacitor():
                continue
            case _ if element.name in point.branch_currents:
                current = point.branch_currents[element.name]
                if isinstance(element, Resistor):
                    miss = point.voltage(element.a, element.b) - element.ohm * current
                    allowed = 1e-11 * (1 + volts) + element.ohm * np.maximum(1e-15, 1e-9 * np.abs(current))
                    assert np.all(np.abs(miss) <= allowed), element.name
            case Resistor():
                current = point.voltage(element.a, element.b) / element.ohm
            case CurrentSource():
                current = np.asarray(element.ampere)
            case VoltageControlledCurrent():
                current = element.siemens * point.voltage(element.plus, element.minus)
            case _:
                raise AssertionError(element)
        leave(element.a, current)
        leave(element.b, -current)
    for node in network.nodes:
        assert np.all(np.abs(total[node]) <= np.maximum(1e-15, 1e-9 * largest[node])), node


def test_a_hundred_thousand_stages() -> None:
    """Every one settles, in every region, with the gate conducting or not."""
    regions: dict[str, int] = {}
    conducting, count = 0, 12_500
    for k, returned in enumerate(RETURNS):
        for gain in (False, True):
            network = stage(np.random.default_rng([k, gain]), count, returned, gain=gain)
            point = operating_point(network)
            assert_laws_hold(network, point)
            at = point.jfets["Q"]
            for region, times in zip(*np.unique(at.region, return_counts=True), strict=True):
                regions[str(region)] = regions.get(str(region), 0) + int(times)
            conducting += int(at.gate_conducts.sum())
    total = 2 * len(RETURNS) * count
    assert total == 100_000 == sum(regions.values())
    assert min(regions[name] for name in ("cut-off", "triode", "saturation")) >= 0.1 * total
    assert conducting >= 0.05 * total


def test_a_hundred_thousand_in_one_batch() -> None:
    network = stage(np.random.default_rng(7), 100_000, "bias")
    point = operating_point(network)
    assert_laws_hold(network, point)
    assert point.jfets["Q"].v_gs.shape == (100_000,)


@given(SEEDS, st.sampled_from(RETURNS), st.booleans())
def test_any_seed(seed: int, returned: str, gain: bool) -> None:
    network = stage(np.random.default_rng(seed), 20, returned, gain=gain)
    assert_laws_hold(network, operating_point(network))


@pytest.mark.parametrize("returned", RETURNS)
def test_a_batch_is_a_loop_over_its_members(returned: str) -> None:
    network = stage(np.random.default_rng(3), 25, returned, gain=True)
    whole = operating_point(network)
    for k in range(25):
        single = operating_point(network.take(np.array([k])))
        for node in network.nodes:
            assert single.voltages[node][0] == pytest.approx(whole.voltages[node][k], rel=1e-9, abs=1e-12)
        for field in ("v_gs", "v_ds", "i_d", "g_m", "g_ds"):
            one, many = getattr(single.jfets["Q"], field)[0], getattr(whole.jfets["Q"], field)[k]
            assert one == pytest.approx(many, rel=1e-8, abs=1e-18), field


def test_more_than_are_solved_at_a_time_change_nothing_for_any() -> None:
    """The same numbers to the last bit, whichever others are solved beside them and in whatever order."""
    rng = np.random.default_rng(11)
    size = 2 * AT_ONCE + 77
    model = transistor(rng, size)
    v_open = np.stack([rng.uniform(-3.0, 1.0, size), rng.uniform(-2.0, 12.0, size)], axis=-1)
    root = 10 ** rng.uniform(0.0, 3.5, (size, 2, 2))
    z = root @ np.swapaxes(root, 1, 2)
    whole = find_ports([model], v_open, z, np.zeros_like(v_open))
    order = rng.permutation(size)[:200]
    some = find_ports([model.take(order, (size,))], v_open[order], z[order], np.zeros((200, 2)))
    assert np.array_equal(whole[order], some)
    i = port_currents([model], whole)[0]
    assert np.allclose(whole, v_open - np.einsum("nab,nb->na", z, i), rtol=0, atol=1e-6)


def test_batch_axes_of_any_shape() -> None:
    ohm, volt = np.array([1e3, 3.9e3, 10e3]), np.array([[6.0], [9.0]])
    point = operating_point(_follower(source_r=ohm, supply=volt))
    assert point.voltages["source"].shape == (2, 3) == point.jfets["Q"].g_m.shape
    for k in range(2):
        for n in range(3):
            one = operating_point(_follower(source_r=float(ohm[n]), supply=float(volt[k, 0])))
            assert one.voltages["source"] == pytest.approx(point.voltages["source"][k, n], rel=1e-12)
            assert one.voltages["source"].shape == ()


def _follower(source_r: object = 3.9e3, supply: object = 9.0, gate: object = 0.0, drain_r: object = 0.0) -> Network:
    model = jfet_from_sheet(idss=3e-3, vgsoff=-1.2, lambda_=0.02, vds_test=10.0, igss=1e-11)
    return Network(
        [
            VoltageSource("V", "plus", GROUND, supply),
            VoltageSource("bias", "back", GROUND, gate),
            Resistor("R_G", "gate", "back", 4.7e6),
            Resistor("R_D", "plus", "drain", drain_r),
            Jfet("Q", "drain", "gate", "source", model),
            Resistor("R_S", "source", GROUND, source_r),
        ]
    )


# -- other routes, with the transistor's law written out again ------------------------------------------------------


def _channel(model: JfetModel, v_gs: float, v_ds: float) -> float:
    if v_ds < 0:
        return -_channel(model, v_gs - v_ds, -v_ds)
    over = v_gs - model.v_off
    if over <= 0:
        return 0.0
    shape = over**2 if v_ds >= over else 2 * over * v_ds - v_ds**2
    return float(model.beta * shape * (1 + model.lambda_ * v_ds))


def _diode(v: float) -> float:
    return 10e-15 * float(np.expm1(min(v / (1.380649e-23 * 298.15 / 1.602176634e-19), 600.0)))


def test_current_found_by_bisection_where_the_gate_draws_none() -> None:
    """I_D alone is unknown: brentq on I = I_D(V_B - I R_S, V+ - I (R_S + R_D))."""
    rng = np.random.default_rng(11)
    seen = set()
    for _ in range(300):
        vgsoff, supply, bias = -spread(rng, None, 0.3, 12.0), rng.uniform(1, 30), rng.uniform(-8, 8)
        source_r, drain_r = spread(rng, None, 10.0, 1e6, zero=0.1), spread(rng, None, 10.0, 1e6, zero=0.3)
        model = JfetModel(
            beta=spread(rng, None, 1e-5, 1e-2), v_off=vgsoff, lambda_=rng.uniform(0, 0.2), saturation_current=1e-300
        )
        network = Network(
            [
                VoltageSource("V", "plus", GROUND, supply),
                VoltageSource("bias", "gate", GROUND, bias),
                Resistor("R_D", "plus", "drain", drain_r),
                Jfet("Q", "drain", "gate", "source", model),
                Resistor("R_S", "source", GROUND, source_r),
            ]
        )
        at = operating_point(network).jfets["Q"]

        def excess(i: float, m=model, v=supply, b=bias, r_s=source_r, r_d=drain_r) -> float:
            return i - _channel(m, b - i * r_s, v - i * (r_s + r_d))

        most = supply / (source_r + drain_r) if source_r + drain_r > 0 else _channel(model, bias, supply) + 1.0
        expected = brentq(excess, 0.0, most, xtol=1e-18, rtol=1e-13, maxiter=500)
        assert at.i_d == pytest.approx(expected, rel=1e-8, abs=1e-14)
        seen.add(str(at.region))
    assert seen == {"cut-off", "triode", "saturation"}


def test_gate_current_found_by_nested_bisection() -> None:
    """With the drain at the supply: source voltage for a given gate voltage inside, gate voltage outside."""
    rng = np.random.default_rng(12)
    conducting = 0
    for _ in range(60):
        supply, bias = rng.uniform(1, 20), rng.uniform(-2, 25)
        gate_r, source_r = spread(rng, None, 1e3, 1e8), spread(rng, None, 100.0, 1e5)
        model = JfetModel(beta=spread(rng, None, 1e-4, 1e-2), v_off=-rng.uniform(0.3, 5), lambda_=rng.uniform(0, 0.1))

        def v_source(v_g: float, m=model, v=supply, r_s=source_r) -> float:
            def excess(v_s: float) -> float:
                return v_s / r_s - _channel(m, v_g - v_s, v - v_s) - _diode(v_g - v_s)

            return brentq(excess, -1.0, max(v, v_g) + 1.0, xtol=1e-15, rtol=1e-14)

        def missing(v_g: float, v=supply, b=bias, r_g=gate_r, inner=v_source) -> float:
            return _diode(v_g - inner(v_g)) + _diode(v_g - v) - (b - v_g) / r_g

        v_g = brentq(missing, -3.0, 26.0, xtol=1e-15, rtol=1e-14)
        network = Network(
            [
                VoltageSource("V", "drain", GROUND, supply),
                VoltageSource("bias", "back", GROUND, bias),
                Resistor("R_G", "back", "gate", gate_r),
                Jfet("Q", "drain", "gate", "source", model),
                Resistor("R_S", "source", GROUND, source_r),
            ]
        )
        point = operating_point(network)
        assert point.voltages["gate"] == pytest.approx(v_g, rel=1e-9, abs=1e-9)
        assert point.voltages["source"] == pytest.approx(v_source(v_g), rel=1e-9, abs=1e-9)
        conducting += bool(point.jfets["Q"].gate_conducts)
    assert conducting > 15


def test_leakage_through_a_large_gate_resistor_is_gate_conduction() -> None:
    """1 uA through 1 gigohm would lift the gate by 1000 V: the junction to the source carries it instead."""
    model = jfet_from_sheet(idss=3e-3, vgsoff=-1.2, igss=1e-6)
    network = _follower().changed("Q", model=model).changed("R_G", ohm=1e9)
    at = operating_point(network).jfets["Q"]
    assert at.v_gs > 0.3 and at.gate_conducts
    assert not operating_point(_follower()).jfets["Q"].gate_conducts


# -- several transistors ---------------------------------------------------------------------------------------------


def _two(rng: np.random.Generator, size: int, kind: str) -> Network:
    first, second = transistor(rng, size), transistor(rng, size)
    elements = [
        VoltageSource("V", "plus", GROUND, rng.uniform(1, 30, size)),
        VoltageSource("bias", "back", GROUND, rng.uniform(-5, 15, size)),
        Resistor("R_G", "back", "gate", spread(rng, size, 1e3, 1e9)),
    ]
    if kind == "cascade":  # a gain stage, its drain drives a follower
        elements += [
            Resistor("R_D", "plus", "middle", spread(rng, size, 100.0, 1e6)),
            Jfet("Q1", "middle", "gate", "low", first),
            Resistor("R_1", "low", GROUND, spread(rng, size, 10.0, 1e6, zero=0.1)),
            Jfet("Q2", "plus", "middle", "out", second),
            Resistor("R_2", "out", GROUND, spread(rng, size, 100.0, 1e6)),
        ]
    elif kind == "current source":  # the second transistor is the first one's source resistor
        elements += [
            Jfet("Q1", "plus", "gate", "out", first),
            Jfet("Q2", "out", "tail gate", "tail", second),
            Resistor("R_2", "tail", "tail gate", spread(rng, size, 10.0, 1e5, zero=0.1)),
            Resistor("R_3", "tail gate", GROUND, spread(rng, size, 10.0, 1e5, zero=0.5)),
            Resistor("load", "out", GROUND, spread(rng, size, 1e3, 1e8)),
        ]
    else:  # one above the other: the upper one holds the lower one's drain
        elements += [
            Resistor("R_D", "plus", "top", spread(rng, size, 10.0, 1e5, zero=0.2)),
            Jfet("Q2", "top", "gate", "middle", second),
            Jfet("Q1", "middle", "gate", "low", first),
            Resistor("R_1", "low", GROUND, spread(rng, size, 10.0, 1e6, zero=0.1)),
            Resistor("leak", "middle", GROUND, spread(rng, size, 1e5, 1e9)),
        ]
    return Network(elements)


@pytest.mark.parametrize("kind", ["cascade", "current source", "stacked"])
def test_two_transistors(kind: str) -> None:
    network = _two(np.random.default_rng(5), 500, kind)
    point = operating_point(network)
    assert_laws_hold(network, point)
    for name in ("Q1", "Q2"):
        regions, times = np.unique(point.jfets[name].region, return_counts=True)
        assert len(regions) >= 2 and times.min() >= 5


@pytest.mark.parametrize("kind", ["cascade", "current source", "stacked"])
def test_slow_ones_of_a_batch_of_pairs_are_as_by_themselves(kind: str) -> None:
    """Those that settle late go on without the others, some by raising the sources; each then as if it were alone."""
    network = _two(np.random.default_rng(5), 200, kind)
    whole = operating_point(network)
    for k in range(0, 200, 8):
        single = operating_point(network.take(np.array([k])))
        for node in network.nodes:
            assert single.voltages[node][0] == pytest.approx(whole.voltages[node][k], rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("kind", ["cascade", "current source"])
def test_ordinary_pairs_settle_at_the_first_go(kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Raising the sources step by step costs twenty times as much; it is for the odd network out."""
    goes = []

    def counted(*arguments: object) -> object:
        goes.append(1)
        return newton(*arguments)

    newton = nodal._newton
    monkeypatch.setattr(nodal, "_newton", counted)
    model = jfet_from_sheet(idss=8e-3, vgsoff=-1.24, lambda_=0.02, igss=5e-12)
    gate = [VoltageSource("supply", "plus", GROUND, np.linspace(3.0, 18.0, 20)), Resistor("R_G", "gate", GROUND, 4.7e6)]
    pair = {
        "cascade": [
            Resistor("R_D", "plus", "middle", 3.3e3), Jfet("Q1", "middle", "gate", "low", model),
            Resistor("R_1", "low", GROUND, 1.5e3), Jfet("Q2", "plus", "middle", "out", model),
            Resistor("R_2", "out", GROUND, 10e3),
        ],
        "current source": [
            Jfet("Q1", "plus", "gate", "out", model), Jfet("Q2", "out", GROUND, "tail", model),
            Resistor("R_2", "tail", GROUND, 220.0), Resistor("load", "out", GROUND, 10e6),
        ],
    }[kind]  # fmt: skip
    network = Network([*gate, *pair])
    assert_laws_hold(network, operating_point(network))
    assert len(goes) == 1


# -- plain networks, and what cannot be solved --------------------------------------------------------------------


def test_without_transistors() -> None:
    network = Network(
        [
            VoltageSource("V", "a", GROUND, 9.0),
            Resistor("R1", "a", "b", 1e3),
            Inductor("L", "b", "c", 1.0),
            Resistor("R2", "c", GROUND, 2e3),
            CurrentSource("J", GROUND, "b", 1e-3),
            Capacitor("C", "c", GROUND, 1e-6),
            VoltageControlledVoltage("A", "d", GROUND, "c", GROUND, -2.0),
        ]
    )
    point = operating_point(network)
    # by superposition: 9 V * 2/3 + 1 mA * (1k || 2k)
    assert point.voltage("b") == pytest.approx(6 + 2 / 3) and point.voltage("b", "c") == 0.0
    assert point.voltage("d") == pytest.approx(-2 * (6 + 2 / 3))
    assert point.branch_currents["L"] == pytest.approx((6 + 2 / 3) / 2e3)
    assert point.branch_currents["V"] == pytest.approx(-(9 - 6 - 2 / 3) / 1e3)


@pytest.mark.parametrize(
    "extra, node",
    [
        ([Capacitor("C_x", "gate", "afloat", 1e-9)], "afloat"),
        ([Jfet("Q2", "plus", "afloat", "source", JfetModel(1e-3, -1.0))], "afloat"),
        ([CurrentSource("J", "plus", "afloat", 1e-6)], "afloat"),
        ([Resistor("R_a", "one", "two", 1e3)], "one"),
    ],
)
def test_floating_node_is_named(extra: list, node: str) -> None:
    with pytest.raises(FloatingNodeError, match=f"node '{node}' has no path to ground"):
        operating_point(_follower().plus(*extra))


def test_two_sources_side_by_side_are_named() -> None:
    with pytest.raises(SingularNetworkError, match="'(V|W)'"):
        operating_point(_follower().plus(VoltageSource("W", "plus", GROUND, 8.0)))


def test_values_that_are_no_numbers_are_refused_not_solved() -> None:
    with pytest.raises(CircuitError, match="V: volt must be a number"):
        _follower(supply=np.array([9.0, np.nan]))
    with pytest.raises(CircuitError, match="Q: v_off must be a number"):
        _follower().changed("Q", model=JfetModel(beta=1e-3, v_off=np.array([-1.0, np.inf])))


def test_region_borders() -> None:
    """Written out for a grounded source: each side of V_DS = V_GS - V_GS(off), and of V_GS = V_GS(off)."""
    model = JfetModel(beta=1e-3, v_off=-2.0)
    for v_gs, v_ds, region in [
        (-1.0, 1.001, "saturation"),
        (-1.0, 0.999, "triode"),
        (-2.001, 5.0, "cut-off"),
        (-1.0, -0.5, "triode"),
        (-2.5, -0.4, "cut-off"),
        (-1.5, -5.0, "triode"),
    ]:
        network = Network(
            [
                VoltageSource("VG", "g", GROUND, v_gs),
                VoltageSource("VD", "d", GROUND, v_ds),
                Jfet("Q", "d", "g", GROUND, model),
            ]
        )
        at = operating_point(network).jfets["Q"]
        assert (str(at.region), float(at.v_ds)) == (region, v_ds)
