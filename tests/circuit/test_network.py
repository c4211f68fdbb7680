"""Networks: names, values, batches, and the elements' own rules."""

import numpy as np
import pytest

from piezolab.circuit.elements import (
    GROUND,
    Capacitor,
    CurrentControlledCurrent,
    Inductor,
    Jfet,
    NoiseVoltage,
    Resistor,
    VoltageControlledCurrent,
    VoltageSource,
)
from piezolab.circuit.errors import CircuitError
from piezolab.circuit.jfet import JfetModel
from piezolab.circuit.network import Network, ac_equations, terminals
from piezolab.circuit.operating_point import operating_point


def test_nodes_in_order_and_ground_left_out() -> None:
    network = Network([VoltageSource("V", "a", GROUND), Resistor("R", "a", "b", 1.0), Capacitor("C", GROUND, "c", 1.0)])
    assert network.nodes == ("a", "b", "c") and [element.name for element in network] == ["V", "R", "C"]


def test_listening_counts_as_touching() -> None:
    assert terminals(VoltageControlledCurrent("g", "a", "b", "c", "d", 1.0)) == ("a", "b", "c", "d")
    assert terminals(Jfet("Q", "d", "g", "s", JfetModel(1.0, -1.0))) == ("d", "g", "s")


def test_changes_make_new_networks() -> None:
    network = Network([Resistor("R1", "a", GROUND, 1.0), Resistor("R2", "a", GROUND, 2.0)])
    assert network.changed("R1", ohm=5.0)["R1"] == Resistor("R1", "a", GROUND, 5.0)
    assert [element.name for element in network.without("R1")] == ["R2"]
    assert [element.name for element in network.plus(Inductor("L", "a", "b", 1.0))] == ["R1", "R2", "L"]
    assert network["R1"].ohm == 1.0
    for call in (lambda: network["R3"], lambda: network.without("R3"), lambda: network.changed("R3", ohm=1.0)):
        with pytest.raises(KeyError, match="no element named 'R3'; there are R1, R2"):
            call()


@pytest.mark.parametrize(
    "elements, sentence",
    [
        ([Resistor("R", "a", GROUND, 1.0), Resistor("R", "a", GROUND, 1.0)], "two elements bear the name 'R'"),
        ([Resistor("a", "a", GROUND, 1.0)], "'a' is the name of an element and of a node"),
        ([Resistor(GROUND, "a", GROUND, 1.0)], "'ground' is the name of an element and of a node"),
        ([Resistor("R", "a", GROUND, -1.0)], "R: ohm must be a number from 0 up"),
        ([Resistor("R", "a", GROUND, np.array([1.0, np.inf]))], "R: ohm must be a number from 0 up"),
        ([Capacitor("C", "a", GROUND, float("nan"))], "C: farad must be a number from 0 up"),
        ([Capacitor("C", "a", GROUND, 1e-9, -0.1)], "C: loss_tangent must be a number from 0 up"),
        ([Inductor("L", "a", GROUND, -1)], "L: henry must be a number from 0 up"),
        ([NoiseVoltage("e", "a", GROUND, -1e-9)], "e: v_per_rthz must be a number from 0 up"),
        ([VoltageSource("V", "a", GROUND, float("inf"))], "V: volt must be a number"),
        ([Jfet("Q", "a", "b", GROUND, JfetModel(float("nan"), -1.0))], "Q: beta must be a number"),
        ([CurrentControlledCurrent("F", "a", "b", "R", 1.0), Resistor("R", "a", "b", 1.0)], "F: 'R' is no voltage"),
        ([CurrentControlledCurrent("F", "a", GROUND, "X", 1.0)], "F: 'X' is no voltage"),
    ],
)
def test_what_cannot_be_is_refused_by_name(elements: list, sentence: str) -> None:
    with pytest.raises(CircuitError, match=sentence):
        Network(elements)


def test_batch_shape_is_common_and_misfits_are_named() -> None:
    model = JfetModel(beta=np.ones((4, 1)), v_off=-1.0)
    network = Network([Resistor("R", "a", GROUND, np.ones(3)), Jfet("Q", "a", "a", GROUND, model)])
    assert network.batch_shape == (4, 3)
    taken = network.take(np.array([11]))
    assert taken.batch_shape == (1,) and taken["R"].ohm.tolist() == [1.0]
    with pytest.raises(CircuitError, match=r"C: values of shape \(2,\) do not fit the batch \(4, 3\)"):
        _ = network.plus(Capacitor("C", "a", GROUND, np.ones(2))).batch_shape


def test_a_transistor_must_be_linearised_first() -> None:
    with pytest.raises(CircuitError, match="Q: linearise the transistor"):
        ac_equations(Network([Jfet("Q", "a", "b", GROUND, JfetModel(1.0, -1.0))]), np.asarray(1.0))


@pytest.mark.parametrize("ohm", [0.0, 10.0, 1e6])
def test_a_resistor_across_its_own_node_does_nothing(ohm: float) -> None:
    network = Network(
        [VoltageSource("V", "a", GROUND, 1.0), Resistor("R", "a", "b", 1e3), Resistor("loop", "b", "b", ohm),
         Resistor("load", "b", GROUND, 1e3)]
    )  # fmt: skip
    assert operating_point(network).voltage("b") == pytest.approx(0.5)
