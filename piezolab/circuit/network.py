"""A network: named elements between named nodes, and its nodal equations at direct or at alternating current."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from piezolab.circuit.elements import (
    GROUND,
    Capacitor,
    Clamp,
    CurrentControlledCurrent,
    CurrentControlledVoltage,
    CurrentSource,
    Element,
    Inductor,
    Jfet,
    NoiseVoltage,
    Resistor,
    VoltageControlledCurrent,
    VoltageControlledVoltage,
    VoltageSource,
    joined,
    taken,
    terminals,
    values_of,
)
from piezolab.circuit.equations import Equations
from piezolab.circuit.errors import CircuitError, FloatingNodeError

# Below this a resistor's current is an unknown of its own: a current formed from the difference of two node voltages
# would lose digits, and 0 ohm would be an infinite conductance.
SMALL_OHM = 100.0


# The numbers of each element, and the least that they may be.
_FIELDS: dict[type, tuple[tuple[str, float | None], ...]] = {
    Resistor: (("ohm", 0.0),),
    Capacitor: (("farad", 0.0), ("loss_tangent", 0.0)),
    Inductor: (("henry", 0.0),),
    CurrentSource: (("ampere", None),),
    VoltageSource: (("volt", None),),
    VoltageControlledCurrent: (("siemens", None),),
    VoltageControlledVoltage: (("gain", None),),
    CurrentControlledCurrent: (("gain", None),),
    CurrentControlledVoltage: (("ohm", None),),
    NoiseVoltage: (("v_per_rthz", 0.0),),
    Jfet: (),
    Clamp: (),
}


def _from(least: float | None, value: object) -> bool:
    least = -np.inf if least is None else least
    if isinstance(value, float):
        return least <= value < np.inf and value > -np.inf
    value = np.asarray(value, float)
    return bool(np.all((value >= least) & np.isfinite(value)))


@dataclass(frozen=True)
class Network:
    """Elements with distinct names.

    Raises CircuitError on a doubled name, on one that a node bears too, on a control that names no voltage source,
    and on a value that is no number or may not be negative; NaN and infinity are refused as well.
    """

    elements: tuple[Element, ...]

    def __init__(self, elements: Iterable[Element]) -> None:
        object.__setattr__(self, "elements", tuple(elements))
        names = [element.name for element in self.elements]
        if len(set(names)) != len(names):
            doubled = sorted({name for name in names if names.count(name) > 1})
            raise CircuitError(f"two elements bear the name {doubled[0]!r}")
        for name in names:
            if name == GROUND or name in self.nodes:
                raise CircuitError(f"{name!r} is the name of an element and of a node")
        for element in self.elements:
            for field, least in _FIELDS[type(element)]:
                if not _from(least, getattr(element, field)):
                    more = "" if least is None else f" from {least:g} up"
                    raise CircuitError(f"{element.name}: {field} must be a number{more}")
            if isinstance(element, CurrentControlledCurrent | CurrentControlledVoltage):
                through = next((other for other in self.elements if other.name == element.through), None)
                if not isinstance(through, VoltageSource):
                    raise CircuitError(f"{element.name}: {element.through!r} is no voltage source of this network")
            if isinstance(element, Jfet):
                for field in element.model.__dataclass_fields__:
                    if not _from(None, getattr(element.model, field)):
                        raise CircuitError(f"{element.name}: {field} must be a number")

    def __iter__(self) -> Iterator[Element]:
        return iter(self.elements)

    def __getitem__(self, name: str) -> Element:
        for element in self.elements:
            if element.name == name:
                return element
        raise KeyError(f"no element named {name!r}; there are {', '.join(e.name for e in self.elements)}")

    def without(self, *names: str) -> Network:
        """The network less some elements. Raises KeyError on a name that is not there."""
        for name in names:
            self[name]
        return Network(element for element in self.elements if element.name not in names)

    def plus(self, *elements: Element) -> Network:
        """The network with further elements."""
        return Network((*self.elements, *elements))

    def changed(self, name: str, **fields: object) -> Network:
        """The network with some fields of one element replaced."""
        changed = replace(self[name], **fields)
        return Network(changed if element.name == name else element for element in self.elements)

    @cached_property
    def nodes(self) -> tuple[str, ...]:
        """Node names in order of appearance, ground left out."""
        seen: dict[str, None] = {}
        for element in self.elements:
            for node in terminals(element):
                seen.setdefault(node)
        seen.pop(GROUND, None)
        return tuple(seen)

    @cached_property
    def jfets(self) -> tuple[Jfet, ...]:
        """The transistors and clamps, in order."""
        return tuple(element for element in self.elements if isinstance(element, Jfet))

    @property
    def channels(self) -> tuple[Jfet, ...]:
        """The transistors alone."""
        return tuple(element for element in self.jfets if not isinstance(element, Clamp))

    @cached_property
    def batch_shape(self) -> tuple[int, ...]:
        """The shape to which all values broadcast. Raises CircuitError naming two that do not fit."""
        shape: tuple[int, ...] = ()
        for element in self.elements:
            for value in values_of(element):
                if isinstance(value, float):
                    continue
                try:
                    shape = np.broadcast_shapes(shape, np.shape(value))
                except ValueError:
                    raise CircuitError(
                        f"{element.name}: values of shape {np.shape(value)} do not fit the batch {shape}"
                    ) from None
        return shape

    def joined(self, other: Network) -> Network:
        """The members of this network's batch and of another's of the same elements, as a batch of one axis."""
        return Network(joined(*pair, self.batch_shape, other.batch_shape) for pair in zip(self, other, strict=True))

    def take(self, index: np.ndarray) -> Network:
        """The members `index` of the flattened batch, as a batch of one axis."""
        return Network(taken(element, index, self.batch_shape) for element in self.elements)


def dc_equations(network: Network) -> Equations:
    """The linear part at direct current: capacitors open, inductors plain connections, transistors left out.

    Raises FloatingNodeError naming the first node without a direct-current path to ground.
    """
    check_grounded(network)
    equations = static_equations(network)
    for element in network:
        if isinstance(element, Inductor):
            equations.branch(element.name, element.a, element.b)
    return equations


def static_equations(network: Network) -> Equations:
    """The elements whose law knows no time: capacitors, inductors, current sources and transistors are left out."""
    equations = Equations(network.nodes)
    for element in network:
        if not isinstance(element, Capacitor | Inductor | CurrentSource | Jfet):
            _add_linear(equations, element, 0)
    return equations


def ac_equations(network: Network, omega: np.ndarray) -> Equations:
    """The linear elements at angular frequencies omega (rad/s, shape (F,)); values gain a trailing axis for it.

    Independent sources are dead (voltage sources short, current sources open). Transistors are left out:
    `small_signal` replaces them by their linear equivalents first.
    """
    equations = Equations(network.nodes)
    extra = np.ndim(omega)
    j_omega = 1j * omega
    for element in network:
        match element:
            case CurrentSource():
                pass
            case Jfet():
                raise CircuitError(f"{element.name}: linearise the transistor before asking for a response")
            case Capacitor():
                lossy = wide(element.farad, extra) * (1 - 1j * wide(element.loss_tangent, extra))
                equations.admittance(element.a, element.b, j_omega * lossy)
            case Inductor():
                equations.branch(element.name, element.a, element.b, j_omega * wide(element.henry, extra))
            case _:
                _add_linear(equations, element, extra)
    return equations


def _add_linear(equations: Equations, element: Element, extra: int) -> None:
    match element:
        case Resistor():
            ohm = wide(element.ohm, extra)
            if element.a == element.b:
                pass
            elif (ohm if isinstance(ohm, float) else ohm.min()) >= SMALL_OHM:
                equations.admittance(element.a, element.b, 1.0 / ohm)
            elif isinstance(ohm, float) or ohm.max() < SMALL_OHM:
                equations.branch(element.name, element.a, element.b, ohm)
            else:  # some members one way, some the other
                small = ohm < SMALL_OHM
                equations.admittance(element.a, element.b, _siemens(ohm))
                equations.branch(element.name, element.a, element.b, ohm, np.where(small, 1.0, 0.0))
        case VoltageSource() | NoiseVoltage():
            equations.branch(element.name, element.a, element.b)
        case VoltageControlledCurrent():
            siemens = wide(element.siemens, extra)
            equations.transadmittance(element.a, element.b, element.plus, element.minus, siemens)
        case VoltageControlledVoltage():
            equations.branch(element.name, element.a, element.b)
            equations.control(element.name, element.plus, -wide(element.gain, extra))
            equations.control(element.name, element.minus, wide(element.gain, extra))
        case CurrentControlledCurrent():
            equations.control(element.a, element.through, wide(element.gain, extra))
            equations.control(element.b, element.through, -wide(element.gain, extra))
        case CurrentControlledVoltage():
            equations.branch(element.name, element.a, element.b)
            equations.control(element.name, element.through, -wide(element.ohm, extra))
        case _:
            raise CircuitError(f"{element.name}: no rule for {type(element).__name__}")


def _siemens(ohm: np.ndarray) -> np.ndarray:
    """Conductance of those resistances whose current is no unknown of its own; 0 for the others."""
    return np.where(ohm < SMALL_OHM, 0.0, 1.0 / np.maximum(ohm, SMALL_OHM))


def with_all_currents(network: Network, found: dict[str, object], extra: int = 0) -> dict[str, object]:
    """A full solution in which the current of every resistor of `found` is its own, large members included."""
    for element in network:
        if isinstance(element, Resistor) and element.name in found and np.ndim(element.ohm):
            siemens = _siemens(wide(element.ohm, extra))
            across = sum(sign * found[n] for n, sign in ((element.a, 1), (element.b, -1)) if n != GROUND)
            found[element.name] = found[element.name] + siemens * across
    return found


def wide(value: object, extra: int) -> object:
    """A batch value with `extra` trailing axes for frequency; a plain number stays one."""
    if isinstance(value, float | int):
        return float(value)
    value = np.asarray(value)
    return value[(...,) + (None,) * extra] if value.ndim else value.item()


def check_grounded(network: Network) -> None:
    """Raises FloatingNodeError naming the first node without a direct-current path to ground."""
    neighbours: dict[str, set[str]] = {node: set() for node in (*network.nodes, GROUND)}
    for element in network:
        match element:
            case Capacitor() | CurrentSource() | VoltageControlledCurrent() | CurrentControlledCurrent():
                continue
            case Jfet():  # its channel and junctions are no path that may be relied on
                continue
        neighbours[element.a].add(element.b)
        neighbours[element.b].add(element.a)
    reached, queue = {GROUND}, [GROUND]
    while queue:
        for node in neighbours[queue.pop()] - reached:
            reached.add(node)
            queue.append(node)
    for node in network.nodes:
        if node not in reached:
            raise FloatingNodeError(f"node {node!r} has no path to ground for direct current: add a resistor")


def by_name(values: Mapping[str, object] | str) -> Mapping[str, object]:
    """A drive given as one source name means that source at 1."""
    return {values: 1.0} if isinstance(values, str) else values
