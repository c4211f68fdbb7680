"""What of a network has a say at direct current: the part that its operating point depends on, and nothing else."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType

import numpy as np

from piezolab.circuit.elements import GROUND, Capacitor, Element, Inductor, Jfet, Resistor, VoltageSource
from piezolab.circuit.network import SMALL_OHM, Network, check_grounded
from piezolab.circuit.operating_point import JfetPoint, OperatingPoint

_STATIC = (Resistor, Inductor, VoltageSource, Jfet)


def live_part(network: Network) -> Network:
    """The network less all that leaves no trace at direct current.

    Capacitors go, coils lose their inductance, transistors their capacitances and the noise's corner, and so do
    islands that neither a transistor nor a voltage lives on, such as the jack behind its capacitor. Two networks of
    one live part have one operating point. A network with other kinds of elements is handed back whole. Raises
    FloatingNodeError.
    """
    check_grounded(network)
    static = [element for element in network if not isinstance(element, Capacitor)]
    if not all(isinstance(element, _STATIC) for element in static):
        return network
    island = _islands(static)
    live = {island[node] for element in static if _drives(element) for node in _ends(element) if node != GROUND}
    return Network(_bare(each) for each in static if any(island.get(node) in live for node in _ends(each)))


def widened(network: Network, point: OperatingPoint) -> OperatingPoint:
    """The operating point of a network from that of its live part: still islands at 0, all of the batch's shape.

    All arrays are read-only.
    """
    shape = network.batch_shape
    nothing = np.broadcast_to(0.0, shape)

    def wide(values: dict[str, np.ndarray]) -> MappingProxyType[str, np.ndarray]:
        return MappingProxyType({name: np.broadcast_to(value, shape) for name, value in values.items()})

    still = {e.name: nothing for e in network if isinstance(e, VoltageSource | Inductor) or _small(e)}
    jfets = {
        name: JfetPoint(*(np.broadcast_to(getattr(q, field), shape) for field in q.__dataclass_fields__))
        for name, q in point.jfets.items()
    }
    return OperatingPoint(
        wide(dict.fromkeys(network.nodes, nothing) | dict(point.voltages)),
        wide(still | dict(point.branch_currents)),
        MappingProxyType(jfets),
    )


def _ends(element: Element) -> tuple[str, ...]:
    return (element.drain, element.gate, element.source) if isinstance(element, Jfet) else (element.a, element.b)


def _drives(element: Element) -> bool:
    return isinstance(element, Jfet) or (isinstance(element, VoltageSource) and bool(np.any(element.volt)))


def _small(element: Element) -> bool:
    """Whether the current of a resistor is an unknown of its own."""
    return isinstance(element, Resistor) and element.a != element.b and bool(np.min(element.ohm) < SMALL_OHM)


def _bare(element: Element) -> Element:
    if isinstance(element, Inductor):
        return replace(element, henry=0.0)
    if isinstance(element, Jfet):
        return replace(element, model=replace(element.model, cgs=0.0, cgd=0.0, corner_hz=0.0))
    return element


def _islands(elements: list[Element]) -> dict[str, str]:
    """A name for each node's island: nodes that hang together otherwise than through ground."""
    island: dict[str, str] = {}
    for element in elements:
        ends = [node for node in _ends(element) if node != GROUND]
        for node in ends:
            island.setdefault(node, node)
        joined = {island[node] for node in ends}
        if len(joined) > 1:
            first = island[ends[0]]
            island = {node: first if name in joined else name for node, name in island.items()}
    return island
