"""The nodal solver against LAPACK, against 40 digits, and against itself turned round."""

import mpmath as mp
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from piezolab.circuit.elements import (
    GROUND,
    Capacitor,
    CurrentControlledCurrent,
    CurrentControlledVoltage,
    CurrentSource,
    Inductor,
    Resistor,
    VoltageControlledCurrent,
    VoltageControlledVoltage,
    VoltageSource,
)
from piezolab.circuit.equations import Equations, dense
from piezolab.circuit.errors import SingularNetworkError
from piezolab.circuit.network import Network, ac_equations
from piezolab.circuit.small_signal import solve_driven
from tests.circuit.reference import random_network, solve_precisely

SEEDS = st.integers(0, 2**32 - 1)


def _passive_rc(seed: int) -> Network:
    rng = np.random.default_rng(seed)
    network = random_network(rng, int(rng.integers(2, 10)), ladder=bool(rng.integers(2)))
    return Network(element for element in network if not isinstance(element, Inductor))


@given(SEEDS, st.floats(0, 5))
def test_resistors_and_capacitors_keep_every_digit(seed: int, decade: float) -> None:
    """Each node voltage by itself, however small beside the others, over eleven decades of resistance."""
    network, frequency = _passive_rc(seed), 10**decade
    found = solve_driven(network, np.asarray(frequency), "drive")
    exact = solve_precisely(network, frequency, {"drive": 1.0})
    for node in network.nodes:
        if exact[node] != 0:
            assert float(abs(mp.mpmathify(complex(found[node])) / exact[node] - 1)) < 1e-13, node


@given(SEEDS, st.floats(0, 5), st.integers(0, 3))
def test_every_kind_of_element_against_forty_digits(seed: int, decade: float, controlled: int) -> None:
    rng, frequency = np.random.default_rng(seed), 10**decade
    network = random_network(rng, int(rng.integers(3, 9)), controlled=controlled, ladder=bool(rng.integers(2)))
    found = solve_driven(network, np.asarray(frequency), "drive")
    exact = solve_precisely(network, frequency, {"drive": 1.0})
    largest = max(float(abs(exact[node])) for node in network.nodes)
    sensitivity = _condition(network, frequency)
    for node in network.nodes:
        miss = float(abs(complex(found[node]) - exact[node]))
        assert miss < largest * max(1e-12, 1e-15 * sensitivity), node


def _condition(network: Network, frequency: float) -> float:
    """Skeel's condition number: what rounding of each coefficient alone does to the answer, however rows are scaled."""
    matrix, _ = dense(ac_equations(network, 2 * np.pi * np.asarray(frequency)))
    return float(np.abs(np.abs(np.linalg.inv(matrix)) @ np.abs(matrix)).sum(axis=-1).max())


@given(SEEDS, st.floats(0, 5))
def test_elimination_against_lapack_over_a_sweep(seed: int, decade: float) -> None:
    network = _passive_rc(seed)
    frequency = 10**decade * np.array([1.0, 3.0, 7.0])
    equations = ac_equations(network, 2 * np.pi * frequency)
    (found,) = equations.solve({"drive": 1.0})
    matrix, names = dense(equations)
    side = np.zeros((3, len(names), 1), complex)
    side[:, names.index("drive")] = 1.0
    scale = np.abs(matrix).max(axis=-1, keepdims=True)
    expected = np.linalg.solve(matrix / scale, side / scale)[..., 0]
    for k, name in enumerate(names):
        if name in network.nodes:
            assert np.allclose(found[name], expected[:, k], rtol=1e-9, atol=1e-9)


@given(SEEDS, st.floats(0, 5), st.integers(0, 3))
def test_what_is_asked_for_is_what_the_whole_solution_holds(seed: int, decade: float, controlled: int) -> None:
    rng = np.random.default_rng(seed)
    network = random_network(rng, int(rng.integers(3, 9)), controlled=controlled)
    equations = ac_equations(network, 2 * np.pi * np.asarray(10**decade))
    (whole,) = equations.solve({"drive": 1.0})
    node = str(rng.choice(network.nodes))
    (part,) = equations.solve({"drive": 1.0}, wanted={node})
    assert part[node] == whole[node]
    other = str(rng.choice(network.nodes))
    (less,) = equations.solve({"drive": 1.0}, wanted={node, other}, enough=[frozenset({other})])
    (both,) = equations.solve({"drive": 1.0}, wanted={node, other})
    assert less[other] == both[other] and len(less) <= len(both)


@given(SEEDS, st.floats(0, 5), st.integers(0, 3))
def test_adjoint_network(seed: int, decade: float, controlled: int) -> None:
    """c'(A^-1 b) = b'(A'^-1 c) for every place of the network at once (Tellegen)."""
    rng = np.random.default_rng(seed)
    network = random_network(rng, int(rng.integers(3, 9)), controlled=controlled)
    omega = 2 * np.pi * np.asarray(10**decade)
    output = str(rng.choice(network.nodes))
    equations = ac_equations(network, omega)
    (adjoint,) = equations.solve_adjoint({output: 1.0})
    matrix, names = dense(equations)
    inverse_row = {}
    for name, solution in zip(names, equations.solve(*({name: 1.0} for name in names)), strict=True):
        inverse_row[name] = complex(solution[output])
    passive = not any(isinstance(element, Inductor) or "steered" in element.name for element in network)
    tolerance = 1e-13 if passive else max(1e-10, 1e-14 * _condition(network, 10**decade))
    inverse = np.abs(np.linalg.inv(matrix))[: len(network.nodes)]
    for kind in (slice(None, len(network.nodes)), slice(len(network.nodes), None)):
        largest = inverse[:, kind].max()
        for name in names[kind]:  # with resistors and capacitors alone, every impedance by itself
            scale = abs(inverse_row[name]) if passive and name in network.nodes else largest
            assert abs(complex(adjoint[name]) - inverse_row[name]) <= tolerance * scale, name


@pytest.mark.parametrize("late", [False, True])
def test_controls_may_come_before_or_after_the_source_they_read(late: bool) -> None:
    parts = [
        VoltageSource("drive", "a", GROUND),
        CurrentControlledCurrent("mirror", "b", GROUND, "drive", 2.0),
        CurrentControlledVoltage("trans", "c", GROUND, "drive", 50.0),
        VoltageControlledVoltage("double", "d", GROUND, "b", GROUND, 2.0),
        VoltageControlledCurrent("steer", "e", GROUND, "d", "c", 1e-3),
        *(Resistor(f"R{node}", node, GROUND, 1e3) for node in "abcde"),
    ]
    equations = ac_equations(Network(reversed(parts) if late else parts), np.asarray(1.0))
    (got,) = equations.solve({"drive": 1.0})
    # by hand: 1 mA leaves a into its resistor, so -1 mA flows a to ground in the source
    assert got["b"] == pytest.approx(2.0) and got["c"] == pytest.approx(-0.05) and got["d"] == pytest.approx(4.0)
    assert got["e"] == pytest.approx(-4.05)
    assert equations.solve_adjoint({"e": 1.0})[0]["drive"] == pytest.approx(-4.05)


def test_hundred_gigohm_beside_hundred_ohm() -> None:
    """The star of a tiny leak and a small resistor: the leak's share of the voltage survives to the last digit."""
    network = Network(
        [
            VoltageSource("drive", "top", GROUND),
            Resistor("leak", "top", "middle", 100e9),
            Resistor("small", "middle", "low", 100.0),
            Resistor("rest", "low", GROUND, 150.0),
            Resistor("far leak", "low", "end", 100e9),
            Resistor("last leak", "end", GROUND, 100e9),
        ]
    )
    found = solve_driven(network, np.asarray(1.0), "drive")
    exact = solve_precisely(network, 1.0, {"drive": 1.0})
    for node in network.nodes:
        assert abs(complex(found[node]) / complex(exact[node]) - 1) < 1e-15


@pytest.mark.parametrize("ulps", range(-3, 4))
@pytest.mark.parametrize("ends", [("mass", "damping"), ("damping", "mass")])
def test_exact_resonance_has_an_answer(ends: tuple[str, str], ulps: int) -> None:
    """At 1/(2 pi sqrt(LC)) coil and capacitor cancel; the resistor behind them is then all that is left."""
    coil, store = 2.0**-10, 2.0**-24
    frequency = 1 / (2 * np.pi * np.sqrt(coil * store)) * (1 + ulps * 2.0**-52)
    network = Network(
        [
            VoltageSource("drive", "a", GROUND),
            Capacitor("C", "a", "mass", store),
            Inductor("L", *ends, coil),
            Resistor("R", "damping", "out", 600.0),
            Resistor("load", "out", GROUND, 300.0),
        ]
    )
    found = solve_driven(network, np.asarray(frequency), "drive")
    assert complex(found["out"]) == pytest.approx(1 / 3, rel=1e-12)


@pytest.mark.parametrize(
    "elements, name",
    [
        ([VoltageSource("E1", "a", GROUND), VoltageSource("E2", "a", GROUND)], "E"),
        ([VoltageSource("E1", "a", GROUND), Resistor("short", "a", GROUND, 0.0)], "E1|short"),
        ([Resistor("R", "a", GROUND, 1e3), CurrentSource("J", "b", GROUND)], "b"),
        ([Resistor("R", "a", GROUND, 1e3), Resistor("lost", "b", "c", 1e3)], "[bc]"),
        ([Resistor("R", "a", GROUND, 1e3), Resistor("lost", "b", "c", np.array([1e3, 2e3]))], "[bc]"),
        ([Resistor("R", "a", GROUND, 1e3), VoltageControlledVoltage("A", "a", "a", "a", GROUND, 0.0)], "A"),
        ([VoltageControlledVoltage("A", "a", GROUND, "a", GROUND, 1.0), Resistor("R", "a", GROUND, 1e3)], "A|a"),
    ],
)
def test_no_unique_solution_names_the_place(elements: list, name: str) -> None:
    with pytest.raises(SingularNetworkError, match=f"'({name}).*'"):
        ac_equations(Network(elements), np.asarray(1.0)).solve({})


def test_one_singular_member_of_a_batch_is_enough() -> None:
    network = Network(
        [
            VoltageSource("E", "a", GROUND),
            Resistor("R1", "a", "b", np.array([1.0, 0.0])),
            VoltageSource("F", "b", GROUND),
        ]
    )
    with pytest.raises(SingularNetworkError, match="no unique solution at '(R1|F)'"):
        ac_equations(network, np.asarray(1.0)).solve({"E": 1.0})


def test_zero_ohm_side_by_side_with_a_resistor() -> None:
    network = Network(
        [
            VoltageSource("E", "a", GROUND),
            Resistor("short", "a", "b", 0.0),
            Resistor("beside", "a", "b", 50.0),
            Resistor("load", "b", GROUND, 1e3),
        ]
    )
    (found,) = ac_equations(network, np.asarray(1.0)).solve({"E": 1.0})
    assert found["b"] == 1.0 and found["beside"] == 0.0 and found["short"] == pytest.approx(1e-3)


def test_not_a_number_is_refused() -> None:
    equations = Equations(["a"])
    equations.admittance("a", GROUND, float("nan"))
    with pytest.raises(SingularNetworkError, match="'a'"):
        equations.solve({"a": 1.0})


def test_small_and_large_members_of_one_batch_keep_their_digits() -> None:
    """A resistor of 0 ohm in one build and 10 megohm in the next, beside a capacitor that shorts one of its ends."""
    parts = [
        VoltageSource("drive", "in", GROUND),
        Resistor("feed", "in", "a", 1e3),
        Capacitor("big", "a", GROUND, 10e-3),
        Resistor("upper", "a", "middle", np.array([0.0, 0.0, 3e3, 10e6])),
        Resistor("lower", "middle", GROUND, np.array([0.0, 10e6, 20.0, 7e6])),
    ]
    network = Network(parts)
    found = solve_driven(network, np.asarray(1e6), "drive")
    for k in range(4):
        single = Network(
            Resistor(e.name, e.a, e.b, float(np.broadcast_to(e.ohm, 4)[k])) if isinstance(e, Resistor) else e
            for e in network
        )
        exact = solve_precisely(single, 1e6, {"drive": 1.0})
        for name in ("a", "middle"):
            expected = complex(exact[name])
            assert abs(complex(found[name][k]) - expected) <= 1e-13 * abs(expected) + 1e-40, (name, k)
