"""A second route to every linear answer: textbook nodal equations, written plainly, solved with 40 digits by mpmath.

Nothing here shares code with the package but the element classes. After C.-W. Ho, A. E. Ruehli and P. A. Brennan,
"The modified nodal approach to network analysis", IEEE Trans. Circuits and Systems CAS-22 (1975) 504-509.
"""

from __future__ import annotations

import mpmath as mp
import numpy as np

from piezolab.circuit.elements import (
    GROUND,
    Capacitor,
    CurrentControlledCurrent,
    CurrentControlledVoltage,
    CurrentSource,
    Element,
    Inductor,
    Resistor,
    VoltageControlledCurrent,
    VoltageControlledVoltage,
    VoltageSource,
)
from piezolab.circuit.network import Network

mp.mp.dps = 40


def solve_precisely(network: Network, frequency: float, drive: dict[str, float]) -> dict[str, mp.mpc]:
    """Node voltages and source currents of a linear network of plain numbers; sources not driven are dead."""
    nodes = list(network.nodes)
    branched = [
        element.name
        for element in network
        if isinstance(
            element, Resistor | Inductor | VoltageSource | VoltageControlledVoltage | CurrentControlledVoltage
        )
    ]
    place = {name: k for k, name in enumerate([*nodes, *branched])}
    matrix, side = mp.zeros(len(place)), mp.zeros(len(place), 1)
    s = mp.mpc(0, 2 * mp.pi * mp.mpf(frequency))

    def add(row: str, column: str, value: object) -> None:
        if GROUND not in (row, column):
            matrix[place[row], place[column]] += mp.mpmathify(value)

    def current(a: str, b: str, column: str, value: object) -> None:
        add(a, column, value)
        add(b, column, -mp.mpmathify(value))

    def voltage_row(element: Element) -> None:
        current(element.a, element.b, element.name, 1)
        add(element.name, element.a, 1)
        add(element.name, element.b, -1)

    for element in network:
        match element:
            case Resistor():
                voltage_row(element)
                add(element.name, element.name, -mp.mpf(element.ohm))
            case Inductor():
                voltage_row(element)
                add(element.name, element.name, -s * mp.mpf(element.henry))
            case Capacitor():
                value = mp.mpf(element.farad) * (s + abs(s) * mp.mpf(element.loss_tangent))
                current(element.a, element.b, element.a, value)
                current(element.a, element.b, element.b, -value)
            case CurrentSource():
                for node, sign in ((element.a, -1), (element.b, 1)):
                    if node != GROUND:
                        side[place[node]] += sign * mp.mpmathify(drive.get(element.name, 0))
            case VoltageSource():
                voltage_row(element)
                side[place[element.name]] = mp.mpmathify(drive.get(element.name, 0))
            case VoltageControlledCurrent():
                current(element.a, element.b, element.plus, element.siemens)
                current(element.a, element.b, element.minus, -mp.mpf(element.siemens))
            case VoltageControlledVoltage():
                voltage_row(element)
                add(element.name, element.plus, -mp.mpf(element.gain))
                add(element.name, element.minus, element.gain)
            case CurrentControlledCurrent():
                current(element.a, element.b, element.through, element.gain)
            case CurrentControlledVoltage():
                voltage_row(element)
                add(element.name, element.through, -mp.mpf(element.ohm))
            case _:
                raise AssertionError(element)
    solution = mp.lu_solve(matrix, side)
    return {name: solution[k] for name, k in place.items()} | {GROUND: mp.mpc(0)}


def random_network(
    rng: np.random.Generator, nodes: int, *, extra: int = 6, controlled: int = 0, ladder: bool = False
) -> Network:
    """A connected network of passive elements over wide ranges, a driven source, and controlled sources if asked for.

    Every node reaches ground through resistors, so that it has a direct-current solution too.
    """
    names = [f"n{k}" for k in range(nodes)]
    elements: list[Element] = [VoltageSource("drive", names[0], GROUND)]

    def ohm() -> float:
        return float(10 ** rng.uniform(0, 9)) if rng.random() < 0.85 else 0.0

    for k in range(1, nodes):
        before = names[k - 1] if ladder else str(rng.choice(names[:k]))
        elements.append(Resistor(f"series{k}", before, names[k], ohm()))
        if rng.random() < 0.5:
            elements.append(Resistor(f"shunt{k}", names[k], GROUND, float(10 ** rng.uniform(2, 11))))
        farad, loss = float(10 ** rng.uniform(-12, -6)), float(rng.choice([0, 0.02]))
        elements.append(Capacitor(f"store{k}", names[k], GROUND, farad, loss))
    for k in range(extra):
        a, b = (str(name) for name in rng.choice([*names, GROUND], 2, replace=False))
        kind = rng.integers(3)
        if kind == 0:
            elements.append(Resistor(f"mesh{k}", a, b, float(10 ** rng.uniform(2, 9))))
        elif kind == 1:
            elements.append(Capacitor(f"mesh{k}", a, b, float(10 ** rng.uniform(-12, -6))))
        else:
            elements.append(Resistor(f"damp{k}", a, f"coil{k}", float(10 ** rng.uniform(0, 3))))
            elements.append(Inductor(f"mesh{k}", f"coil{k}", b, float(10 ** rng.uniform(-5, 0))))
    for k in range(controlled):
        a, b, plus, minus = (str(name) for name in rng.choice(names[1:], 4, replace=nodes < 5))
        value = float(rng.choice([-1, 1]) * 10 ** rng.uniform(-6, -2))
        kind = rng.integers(4)
        if kind == 0:
            elements.append(VoltageControlledCurrent(f"steered{k}", a, GROUND, plus, minus, value))
        elif kind == 1:
            elements.append(CurrentControlledCurrent(f"steered{k}", a, GROUND, "drive", value))
        else:  # a controlled voltage gets a node of its own behind a resistor, lest sources form a loop
            elements.append(Resistor(f"behind{k}", a, f"steered node {k}", float(10 ** rng.uniform(2, 6))))
            voltage = VoltageControlledVoltage if kind == 2 else CurrentControlledVoltage
            control = (plus, minus) if kind == 2 else ("drive",)
            gain = float(rng.uniform(-3, 3)) if kind == 2 else float(rng.uniform(-1e3, 1e3))
            elements.append(voltage(f"steered{k}", f"steered node {k}", GROUND, *control, gain))
    rng.shuffle(elements)
    return Network(elements)
