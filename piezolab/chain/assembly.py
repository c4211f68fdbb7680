"""From values to parts and network: pickup, lead, stage, supply, cable, pad, input, in signal order.

Nodes: `pickup` (hot side of pickup and lead), `supply`, `jack` (where the cable starts), `input` (terminals of the
load); with no pad the load sits at the jack, and with no stage the jack is the pickup's own node.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from types import MappingProxyType

import numpy as np

from piezolab import catalogue
from piezolab.catalogue.transistor import TransistorType
from piezolab.chain.clamping import clamp_parts
from piezolab.chain.parts import GROUND, Part, Value, network
from piezolab.chain.stages import Stage, stage_named
from piezolab.chain.stages.common_parts import absent
from piezolab.chain.stages.stage import INPUT, OUTPUT, SUPPLY
from piezolab.chain.values import Values
from piezolab.circuit.network import Network

PICKUP = INPUT
LOAD = "input"

__all__ = ["GROUND", "LOAD", "OUTPUT", "PICKUP", "SUPPLY", "Assembly", "assemble"]


@dataclass(frozen=True)
class Assembly:
    """All parts of a chain and its places of interest.

    drive: amplitude of each pickup source per volt of open-circuit voltage of one disc; jack: node where the cable
    starts; load: node of the input's terminals.
    """

    values: Values
    stage: Stage
    parts: tuple[Part, ...]
    drive: Mapping[str, Value]
    jack: str
    load: str

    @cached_property
    def network(self) -> Network:
        """The network of all parts."""
        return network(self.parts)

    def where(self, *places: str) -> tuple[Part, ...]:
        """The parts that are at the given places (pickup, lead, board, supply, cable, input)."""
        return tuple(part for part in self.parts if part.where in places)

    @cached_property
    def transistors(self) -> tuple[str, ...]:
        """Names of the stage's transistors; the first is the one whose figures stand for the stage."""
        return tuple(part.name for part in self.parts if part.kind == "jfet")

    @cached_property
    def coupling(self) -> tuple[Part, ...]:
        """The output capacitors: what keeps the stage's direct voltage off the jack, the jack's side second.

        Found by what they do: all that hangs together with the jack through anything but capacitors, ground left out,
        is the jack's side; where a transistor or the battery belongs to it, nothing blocks and there is none.
        """
        board = self.where("board", "supply")
        side = {self.jack}
        grows = True
        while grows:
            met = [part for part in board if part.kind != "capacitor" and side & set(part.nodes)]
            grown = side.union(*(part.nodes for part in met)) - {GROUND}
            grows, side = grown != side, grown
        if any(part.kind in ("jfet", "battery", "source") for part in met) or PICKUP in side:
            return ()
        found = []
        for part in board:
            if part.kind == "capacitor" and GROUND not in part.nodes and len(side & set(part.nodes)) == 1:
                found.append(part if part.nodes[1] in side else replace(part, nodes=part.nodes[::-1]))
        return tuple(found)

    def type_of(self, part: Part) -> TransistorType:
        """The catalogue's row of one of the transistors."""
        return catalogue.transistors()[self.values[part.key or "jfet"]]

    @cached_property
    def types(self) -> tuple[TransistorType, ...]:
        """The catalogue's rows of all its transistors."""
        return tuple(self.type_of(part) for part in self.parts if part.kind == "jfet")

    def names(self, *places: str) -> tuple[str, ...]:
        """Names of those parts."""
        return tuple(part.name for part in self.where(*places))


def assemble(values: Values) -> Assembly:
    """The assembly of resolved values; any number may be an array of builds."""
    stage = stage_named(values.stage)
    jack = stage.output
    pad = values.pad is not None
    load = LOAD if pad else jack
    discs, drive = _pickup(values)
    parts = [*discs, *_shunt("C_lead", "pickup lead", PICKUP, values.lead_m * values.lead_c, "lead_m", "lead")]
    parts += stage.parts(values)
    parts += clamp_parts(values, parts)
    if stage.powered:
        parts += _supply(values)
    parts += _shunt("C_cable", "output cable", jack, values.cable_m * values.cable_c, "cable_m", "cable")
    if pad:
        series, shunt = values.pad
        parts.append(Part("R_pad1", "pad series resistor", "resistor", (jack, load), series, "pad", "input"))
        parts.append(Part("R_pad2", "pad shunt resistor", "resistor", (load, GROUND), shunt, "pad", "input"))
    parts.append(Part("R_in", "input resistance", "resistor", (load, GROUND), values.input_r, "input_r", "input"))
    parts += _shunt("C_in", "input capacitance", load, values.input_c, "input_c", "input")
    return Assembly(values, stage, tuple(parts), MappingProxyType(drive), jack, load)


def _shunt(name: str, label: str, node: str, farad: Value, key: str, where: str) -> list[Part]:
    return [] if absent(farad) else [Part(name, label, "capacitor", (node, GROUND), farad, key, where)]


def _supply(values: Values) -> list[Part]:
    plus = SUPPLY if absent(values.supply_r) else "battery"
    label = "mains adapter" if values.supply == "adapter" else "battery"
    parts = [Part("B1", label, "battery", (plus, GROUND), values.supply_v, "supply_v", "supply")]
    if plus != SUPPLY:
        parts.append(
            Part("R_sup", "series supply resistor", "resistor", (plus, SUPPLY), values.supply_r, "supply_r", "supply")
        )
    if not absent(values.supply_c):
        parts.append(
            Part("C_sup", "supply decoupling", "capacitor", (SUPPLY, GROUND), values.supply_c, "supply_c", "supply")
        )
    return parts


def pickup_capacitance(values: Values) -> Value:
    """Capacitance of one disc at the chain's temperature, F (+0.4 %/K from 25 degC)."""
    return values.pickup_c * (1 + 0.004 * (np.asarray(values.temp_c) - 25.0))[()]


def _pickup(values: Values) -> tuple[list[Part], dict[str, Value]]:
    """Discs as sources behind their capacitance; two discs are moved alike, an opposed one is wired upside down."""
    kind = values.discs
    sign = -1.0 if kind.endswith("x") else 1.0
    if kind == "1":
        places = [("", PICKUP, GROUND, 1.0)]
    elif kind.startswith("2p"):
        places = [("1", PICKUP, GROUND, 1.0), ("2", PICKUP, GROUND, sign)]
    else:
        places = [("1", PICKUP, "between discs", 1.0), ("2", "between discs", GROUND, sign)]
    parts: list[Part] = []
    drive: dict[str, Value] = {}
    for mark, hot, cold, amplitude in places:
        disc, factor = _disc(values, mark, hot, cold)
        parts += disc
        drive[f"E_p{mark}"] = amplitude * factor
    return parts, drive


def _disc(values: Values, mark: str, hot: str, cold: str) -> tuple[list[Part], Value]:
    """One disc between two nodes, and its source amplitude per volt of open-circuit voltage.

    With a resonance: C_0 beside the arm R-L-C_m that holds the source (equivalent circuit of IEEE Std 176-1987).
    """
    c_p, loss = pickup_capacitance(values), values.pickup_loss
    charge = f"charge{mark}"

    def made(name: str, label: str, kind: str, nodes: tuple[str, str], value: Value, key: str, **more: Value) -> Part:
        return Part(f"{name}{mark}", label, kind, nodes, value, key, "pickup", **more)

    leak = made("R_p", "pickup leakage resistance", "resistor", (hot, cold), values.pickup_r, "pickup_r")
    source = made("E_p", "pickup voltage", "source", (charge, cold), 0.0, "")
    if values.resonance is None:
        body = made("C_p", "pickup capacitance", "capacitor", (charge, hot), c_p, "pickup_c", loss_tangent=loss)
        return [source, body, leak], 1.0
    f, q, k = values.resonance
    c_0 = c_p / (1 + k)
    c_m = c_p - c_0
    omega = 2 * np.pi * f
    inductance = 1 / (omega**2 * c_m)
    parts = [
        source,
        made("C_m", "motional capacitance", "capacitor", (charge, f"mass{mark}"), c_m, "pickup_c", loss_tangent=loss),
        made("L_m", "motional inductance", "inductor", (f"mass{mark}", f"damping{mark}"), inductance, "resonance"),
        made("R_m", "motional resistance", "resistor", (f"damping{mark}", hot), omega * inductance / q, "resonance"),
        made("C_p", "clamped capacitance", "capacitor", (hot, cold), c_0, "pickup_c", loss_tangent=loss),
        leak,
    ]
    return parts, c_p / c_m
