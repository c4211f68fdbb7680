"""The physical parts of a chain: one list from which network, schematic, build sheet and fault list are all made.

A part joins named nodes and has a value.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from piezolab.circuit.elements import GROUND, Capacitor, Clamp, Element, Inductor, Jfet, Resistor, VoltageSource
from piezolab.circuit.jfet import JfetModel
from piezolab.circuit.network import Network

Value = float | np.ndarray


@dataclass(frozen=True)
class Part:
    """One thing with leads.

    name: reference on the schematic and in the network ("R_S"); label: in words; kind: resistor, capacitor, inductor,
    jfet, clamp, battery, source or led; nodes: the node of each lead (for a jfet: drain, gate, source; for a polarised
    capacitor and an led the positive lead first); value: SI base unit, or a JfetModel or ClampModel; key: the parameter
    that sets it, if one does; where: pickup, lead, board, supply, cable or input.
    """

    name: str
    label: str
    kind: str
    nodes: tuple[str, ...]
    value: Any
    key: str = ""
    where: str = "board"
    loss_tangent: Value = 0.0

    @property
    def unit(self) -> str:
        """SI base unit of the value."""
        volts = dict.fromkeys(("battery", "source", "led"), "V")
        return {"resistor": "ohm", "capacitor": "F", "inductor": "H", **volts}.get(self.kind, "")

    def on(self, **nodes: str) -> Part:
        """The part with some nodes renamed."""
        return replace(self, nodes=tuple(nodes.get(node, node) for node in self.nodes))

    def element(self) -> Element:
        """The circuit element that stands for the part. Raises ValueError on a kind without a rule."""
        match self.kind:
            case "resistor":
                return Resistor(self.name, *self.nodes, self.value)
            case "capacitor":
                return Capacitor(self.name, *self.nodes, self.value, self.loss_tangent)
            case "inductor":
                return Inductor(self.name, *self.nodes, self.value)
            case "battery" | "source" | "led":  # a light as long as it shines
                return VoltageSource(self.name, *self.nodes, self.value)
            case "clamp":
                return Clamp.between(self.name, *self.nodes, self.value)
            case "jfet":
                return Jfet(self.name, *self.nodes, self.value)
        raise ValueError(f"{self.name}: no circuit element stands for a part of kind {self.kind!r}")


def network(parts: Iterable[Part]) -> Network:
    """The network that the parts form."""
    return Network(part.element() for part in parts)


def part(parts: Iterable[Part], name: str) -> Part:
    """The part of that name. Raises KeyError."""
    for candidate in parts:
        if candidate.name == name:
            return candidate
    raise KeyError(f"no part named {name!r}")


__all__ = ["GROUND", "JfetModel", "Part", "network", "part"]
