"""What counts at direct current, and what does not."""

import pytest

from piezolab.circuit.elements import (
    Capacitor,
    CurrentSource,
    Inductor,
    Jfet,
    Resistor,
    VoltageSource,
)
from piezolab.circuit.errors import FloatingNodeError
from piezolab.circuit.jfet import JfetModel
from piezolab.circuit.live_part import live_part, widened
from piezolab.circuit.network import Network
from piezolab.circuit.operating_point import operating_point

MODEL = JfetModel(beta=1e-3, v_off=-2.0, cgs=5e-12, cgd=2e-12, corner_hz=100.0)
STAGE = (
    VoltageSource("B", "plus", "ground", 9.0),
    Inductor("L", "plus", "drain", 1e-3),
    Jfet("Q", "drain", "gate", "source", MODEL),
    Resistor("R_G", "gate", "ground", 1e6),
    Resistor("R_S", "source", "ground", 1e3),
    Capacitor("C", "source", "jack", 1e-6),
    Resistor("R_1", "jack", "far", 10.0),
    Resistor("R_2", "far", "ground", 1e5),
)


def test_capacitances_coils_and_still_islands_leave_no_trace() -> None:
    live = live_part(Network(STAGE))
    assert [element.name for element in live] == ["B", "L", "Q", "R_G", "R_S"]
    other = [Inductor("L", "plus", "drain", 5e-3) if e.name == "L" else e for e in STAGE if e.name != "R_2"]
    other += [Resistor("R_2", "far", "ground", 47e3), Capacitor("C_more", "drain", "ground", 1e-9)]
    assert live_part(Network(other)) == live
    assert live_part(Network(e for e in other if e.name != "C")) == live


def test_what_drives_an_island_keeps_it() -> None:
    driven = [*STAGE, VoltageSource("E", "end", "ground", 1.0), Resistor("R_3", "end", "jack", 1e4)]
    assert {"R_1", "R_2", "R_3", "E"} <= {element.name for element in live_part(Network(driven))}
    still = [*STAGE, VoltageSource("E", "end", "ground", 0.0), Resistor("R_3", "end", "jack", 1e4)]
    assert "R_1" not in {element.name for element in live_part(Network(still))}


def test_the_whole_follows_from_its_live_part() -> None:
    network = Network(STAGE)
    found, expected = widened(network, operating_point(live_part(network))), operating_point(network)
    assert found.voltages.keys() == expected.voltages.keys()
    assert found.branch_currents.keys() == expected.branch_currents.keys() == {"B", "L", "R_1"}
    for name, volt in expected.voltages.items():
        assert float(found.voltages[name]) == pytest.approx(float(volt), rel=1e-12), name


def test_other_elements_are_left_to_the_whole() -> None:
    network = Network([*STAGE, CurrentSource("I", "ground", "jack", 1e-6)])
    assert live_part(network) is network


def test_a_floating_node_is_still_named() -> None:
    with pytest.raises(FloatingNodeError, match="'alone'"):
        live_part(Network([*STAGE, Capacitor("C_2", "jack", "alone", 1e-9)]))
