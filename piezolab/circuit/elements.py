"""Circuit elements. Values are floats or arrays that broadcast against each other; nodes are names.

Sign rules: a current source drives its current from node `a` through itself to node `b`; a voltage source holds
v(a) - v(b); a transistor's currents are counted into its terminals.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from piezolab.circuit.errors import CircuitError
from piezolab.circuit.jfet import JfetModel

GROUND = "ground"
Value = float | np.ndarray


@dataclass(frozen=True)
class Resistor:
    """Resistance in ohm between nodes a and b; 0 is a plain connection."""

    name: str
    a: str
    b: str
    ohm: Value


@dataclass(frozen=True)
class Capacitor:
    """Capacitance in farad between a and b; `loss_tangent` adds the conductance omega*C*tan(delta)."""

    name: str
    a: str
    b: str
    farad: Value
    loss_tangent: Value = 0.0


@dataclass(frozen=True)
class Inductor:
    """Inductance in henry between a and b."""

    name: str
    a: str
    b: str
    henry: Value


@dataclass(frozen=True)
class CurrentSource:
    """Direct current in ampere from a through the source to b."""

    name: str
    a: str
    b: str
    ampere: Value = 0.0


@dataclass(frozen=True)
class VoltageSource:
    """Direct voltage v(a) - v(b) in volt."""

    name: str
    a: str
    b: str
    volt: Value = 0.0


@dataclass(frozen=True)
class VoltageControlledCurrent:
    """Current siemens * (v(plus) - v(minus)) from a through the source to b."""

    name: str
    a: str
    b: str
    plus: str
    minus: str
    siemens: Value


@dataclass(frozen=True)
class VoltageControlledVoltage:
    """v(a) - v(b) = gain * (v(plus) - v(minus))."""

    name: str
    a: str
    b: str
    plus: str
    minus: str
    gain: Value


@dataclass(frozen=True)
class CurrentControlledCurrent:
    """Current gain * i from a through the source to b, where i flows a to b in the named voltage source."""

    name: str
    a: str
    b: str
    through: str
    gain: Value


@dataclass(frozen=True)
class CurrentControlledVoltage:
    """v(a) - v(b) = ohm * i, where i flows a to b in the named voltage source."""

    name: str
    a: str
    b: str
    through: str
    ohm: Value


@dataclass(frozen=True)
class NoiseVoltage:
    """A connection of a to b that adds a noise voltage of flat density v_per_rthz (V/sqrt(Hz), one-sided)."""

    name: str
    a: str
    b: str
    v_per_rthz: Value


@dataclass(frozen=True)
class Jfet:
    """n-channel junction field-effect transistor; `model` holds its values at the working temperature."""

    name: str
    drain: str
    gate: str
    source: str
    model: JfetModel


@dataclass(frozen=True)
class Clamp(Jfet):
    """What keeps the voltage between two nodes within bounds: a pair of diodes, say (`model` is a `ClampModel`).

    To the equations it is a transistor without a channel whose drain and source are one node: the current flows from
    the gate, node a, to the source, node b.
    """

    @classmethod
    def between(cls, name: str, a: str, b: str, model: JfetModel) -> Clamp:
        """The clamp from node a to node b."""
        return cls(name, b, a, b, model)


Element = (
    Resistor
    | Capacitor
    | Inductor
    | CurrentSource
    | VoltageSource
    | VoltageControlledCurrent
    | VoltageControlledVoltage
    | CurrentControlledCurrent
    | CurrentControlledVoltage
    | NoiseVoltage
    | Jfet
)


def terminals(element: Element) -> tuple[str, ...]:
    """Every node that an element touches or listens to."""
    match element:
        case Jfet():
            return element.drain, element.gate, element.source
        case VoltageControlledCurrent() | VoltageControlledVoltage():
            return element.a, element.b, element.plus, element.minus
        case _:
            return element.a, element.b


def values_of(element: Element) -> Iterator[object]:
    """Every number of an element, its transistor model's too."""
    if isinstance(element, Jfet):
        for name in element.model.__dataclass_fields__:
            yield getattr(element.model, name)
    else:
        for name in element.__dataclass_fields__:
            value = getattr(element, name)
            if not isinstance(value, str):
                yield value


def taken(element: Element, index: np.ndarray, shape: tuple[int, ...]) -> Element:
    """The members `index` of the flattened batch of that shape."""
    if isinstance(element, Jfet):
        return replace(element, model=element.model.take(index, shape))
    changes = {}
    for name in element.__dataclass_fields__:
        value = getattr(element, name)
        if not isinstance(value, str) and np.ndim(value):
            changes[name] = np.broadcast_to(value, shape).reshape(-1)[index]
    return replace(element, **changes) if changes else element


def joined(one: Element, two: Element, shape: tuple[int, ...], other: tuple[int, ...]) -> Element:
    """The members of one element's flattened batch of a shape, then those of another of the same kind and nodes.

    Raises CircuitError where a name or node differs.
    """
    if isinstance(one, Jfet) and isinstance(two, Jfet):
        return replace(one, model=joined(one.model, two.model, shape, other))  # type: ignore[type-var]
    changes = {}
    for name in one.__dataclass_fields__:
        values = getattr(one, name), getattr(two, name)
        if isinstance(values[0], str):
            if values[0] != values[1]:
                raise CircuitError(f"{one.name}: {name} is {values[0]!r} in one network and {values[1]!r} in the other")
        elif np.ndim(values[0]) or np.ndim(values[1]) or values[0] != values[1]:
            changes[name] = np.concatenate(
                [np.broadcast_to(value, size).ravel() for value, size in zip(values, (shape, other), strict=True)]
            )
    return replace(one, **changes)
