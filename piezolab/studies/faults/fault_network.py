"""A chain as it lies on the bench: every place where it can be wrong is an element whose value can be set.

All faults are then values of one network, so that thousands of faulty builds are one batch. A lead that is open is
100 gigohm and one that is sound 0.02 ohm: no node ever floats. The bench is made from the chain's list of parts
alone; a new stage gets its faults without a line here.

Settings (arrays of builds, or numbers) are called "name.what": `R_S.ohm`, `C_out.joint`, `Q1.gate`, `B1.emf`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np

from piezolab.chain.assembly import GROUND, PICKUP, SUPPLY, Assembly
from piezolab.chain.parts import Part
from piezolab.circuit.clamp import clamp_current
from piezolab.circuit.jfet import JfetModel
from piezolab.studies.faults.elsewhere import elsewhere_wires, long_lanes_of
from piezolab.studies.faults.network_names import (
    ABSENT_OHM,
    ANODE,
    COLD,
    FAR,
    HOT,
    LEADS,
    LIGHT,
    LIGHT_R,
    MODEL_FIELDS,
    SLEEVE,
    SOCKET,
    SOUND_OHM,
    Branch,
    Settings,
    far_wire,
    hole,
)
from piezolab.studies.led import Led
from piezolab.studies.metering.board_under_meter import DIODE, SCHOTTKY_SATURATION_A

LEAK_A = 1e-5  # of the polarity diode backwards, in the middle of what such diodes do: common practice, no source


@dataclass(frozen=True)
class Place:
    """Where the probes go: the red one on `a`, the black one on `b`."""

    key: str
    a: str
    b: str = GROUND


@dataclass(frozen=True)
class FaultNetwork:
    """Parts and places of one chain, and its wires.

    slots: two-lead parts that were soldered in; lanes: nodes that a probe can reach on the board, in the order of the
    board; wires: of the board with pickup and battery leads; plugged: what the output cable adds; sources: names of the
    pickup's sources; load: terminals of the input; jack: lane of the output; diode: name of the one in the battery's
    plus lead, None where none is built in; bridges: pairs of lanes that a drop of solder or two touching legs may join,
    those aside that lie across one part or across the plug; long_lanes: lanes on which enough leads end that a crack
    leaves two on either side, with these ends in their order (parts, or names of wires); each has a node beyond the
    crack; light: an LED beside the board, from the node that the battery feeds to ground.
    """

    slots: tuple[Part, ...]
    transistors: tuple[Part, ...]
    batteries: tuple[Part, ...]
    fixed: tuple[Part, ...]
    lanes: tuple[str, ...]
    wires: tuple[Branch, ...]
    plugged: tuple[Branch, ...]
    sources: tuple[str, ...]
    load: Place
    jack: str
    supply: str | None
    diode: str | None
    bridges: tuple[tuple[str, str], ...]
    long_lanes: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    light: Led | None = None

    @property
    def powered(self) -> bool:
        """Whether there is a battery."""
        return bool(self.batteries)

    @property
    def places(self) -> tuple[Place, ...]:
        """Where volts are measured: the clip's contacts first, then the lanes."""
        clip = tuple(Place("clip", *_clip(part)) for part in self.batteries[:1])
        return (*clip, *(Place(lane, lane) for lane in self.lanes))

    @property
    def off_places(self) -> tuple[Place, ...]:
        """Where ohms are measured: also the far plug of the output cable."""
        return (*self.places, Place("plug", SOCKET, SLEEVE))

    @property
    def holes(self) -> tuple[str, ...]:
        """Nodes of the transistors' holes, three for each."""
        return tuple(hole(part, lead) for part in self.transistors for lead in LEADS)

    def board_slots(self) -> tuple[Part, ...]:
        """The slots on the board itself (not a pad at the far end)."""
        return tuple(part for part in self.slots if part.where != "input")


def _clip(part: Part) -> tuple[str, str]:
    return f"{part.name} plus", f"{part.name} minus"


def soldered(part: Part) -> bool:
    """Whether the part is a two-lead part that the maker puts in: on the board, at the supply, or a pad."""
    return part.kind in ("resistor", "capacitor", "clamp") and (part.where in ("board", "supply") or part.key == "pad")


def fault_network(assembly: Assembly, diode: bool = True, light: Led | None = None) -> FaultNetwork:
    """The bench of an assembly (its numbers are not read here, only its wiring).

    diode: whether one guards against a reversed battery, where there is a battery or an adapter; light: the LED.
    """
    jack, load = assembly.jack, assembly.load
    slots, transistors, batteries, fixed = [], [], [], []
    wires: list[Branch] = []
    plugged: list[Branch] = []
    lanes: dict[str, None] = {PICKUP: None}
    for part in assembly.parts:
        if part.where in ("cable", "input"):
            part = part.on(**{jack: FAR, GROUND: SLEEVE})
            if soldered(part):
                slots.append(part)
                plugged += _slot(part)
            else:
                fixed.append(part)
                plugged.append(_plain(part))
        elif part.where in ("pickup", "lead"):
            part = part.on(**{PICKUP: HOT, GROUND: COLD})
            fixed.append(part)
            wires.append(_plain(part))
        else:
            lanes |= dict.fromkeys(node for node in part.nodes if node != GROUND)
            if part.kind == "jfet":
                transistors.append(part)
                wires += _transistor(part, SUPPLY)
            elif part.kind == "battery":
                batteries.append(part)
                wires += _battery(part, diode)
            elif soldered(part):
                slots.append(part)
                wires += _slot(part)
            else:
                fixed.append(part)
                wires.append(_plain(part))
    wires += [
        ("ohm", "disc.hot", HOT, PICKUP), ("ohm", "disc.cold", COLD, GROUND), ("ohm", "disc.short", HOT, COLD),
        ("ohm", "jack.contact", jack, SOCKET), ("ohm", "jack.short", SOCKET, SLEEVE),
        ("ohm", "jack.sleeve", SLEEVE, GROUND),
    ]  # fmt: skip
    plugged += [("ohm", "cable.core", SOCKET, FAR), ("ohm", "cable.short", FAR, SLEEVE)]
    if SUPPLY not in lanes:  # a leak to the supply needs one
        wires = [wire for wire in wires if SUPPLY not in wire[2:]]
    if jack != PICKUP:  # the way out comes last
        lanes.pop(jack, None)
        lanes[jack] = None
    bridges = _bridges(lanes, slots, jack)
    long_lanes = long_lanes_of(lanes, slots, transistors, batteries)
    wires += elsewhere_wires(lanes, slots, transistors, long_lanes)
    wires += [("ohm", LIGHT, light.parts[0].nodes[0], GROUND)] if light else []
    return FaultNetwork(
        tuple(slots), tuple(transistors), tuple(batteries), tuple(fixed), tuple(lanes), tuple(wires), tuple(plugged),
        tuple(assembly.drive), Place("load", FAR if load == jack else load, SLEEVE), jack,
        SUPPLY if SUPPLY in lanes else None, DIODE if diode and batteries else None,
        bridges, long_lanes, light,
    )  # fmt: skip


def _bridges(lanes: Iterable[str], slots: Sequence[Part], jack: str) -> tuple[tuple[str, str], ...]:
    """Every pair of lanes: whichever way the board is laid out, all that lie side by side are among them."""
    known = {frozenset(part.nodes) for part in slots} | {frozenset((jack, GROUND)), frozenset((PICKUP, GROUND))}
    pairs = combinations(sorted({*lanes, GROUND}), 2)
    return tuple(pair for pair in pairs if frozenset(pair) not in known)


def _plain(part: Part) -> Branch:
    kind = {"resistor": "ohm", "capacitor": "farad", "inductor": "henry", "source": "volt"}[part.kind]
    return (kind, f"{part.name}.{kind}", *part.nodes)


def wire_value(wire: Branch, settings: Settings) -> float | np.ndarray:
    """The value of a wire, ohm, F, H or V."""
    kind, name, _, _ = wire
    return settings[f"{name}.ohm"] + settings[f"{name}.joint"] if kind == "slot" else settings[name]


def _slot(part: Part) -> list[Branch]:
    """Resistance beside capacitance, so that any part can sit in any slot; the joint in series with the slot's own."""
    a, b = part.nodes
    if part.kind != "capacitor":
        return [("slot", part.name, a, b), ("farad", f"{part.name}.farad", a, b)]
    inner = f"{part.name} inside"
    return [
        ("ohm", f"{part.name}.ohm", a, inner),
        ("farad", f"{part.name}.farad", a, inner),
        ("ohm", f"{part.name}.joint", inner, b),
    ]


def _transistor(part: Part, supply: str) -> list[Branch]:
    q = part.name
    wires = [("ohm", f"{q}.{lead}", node, hole(part, lead)) for lead, node in zip(LEADS, part.nodes, strict=True)]
    for a, b in (("gate", "source"), ("gate", "drain"), ("drain", "source")):
        wires.append(("ohm", f"{q}.{a}-{b}", hole(part, a), hole(part, b)))
    gate = part.nodes[1]
    return [*wires, ("ohm", f"{q}.leak-ground", gate, GROUND), ("ohm", f"{q}.leak-supply", gate, supply)]


def _battery(part: Part, diode: bool) -> list[Branch]:
    b, (plus, minus) = part.name, _clip(part)
    lead = [("ohm", f"{b}.plus", plus, part.nodes[0])]
    if diode:
        lead = [("ohm", f"{b}.plus", plus, ANODE), ("ohm", f"{DIODE}.ohm", ANODE, part.nodes[0])]
    return [
        ("ohm", f"{b}.inside", plus, minus),
        ("ohm", f"{b}.short", plus, minus),
        *lead,
        ("ohm", f"{b}.minus", minus, part.nodes[1]),
        ("ohm", f"{b}.other", *part.nodes),
    ]


def settings_of(network: FaultNetwork, assembly: Assembly) -> Settings:
    """Everything as it should be, with the values of an assembly of this chain (numbers, or arrays of builds)."""
    parts = {part.name: part for part in assembly.parts}
    found: Settings = {
        name: SOUND_OHM for name in ("disc.hot", "disc.cold", "jack.contact", "jack.sleeve", "cable.core")
    }
    found |= dict.fromkeys(("disc.short", "jack.short", "cable.short"), ABSENT_OHM)
    found["disc.output"] = 1.0
    found |= {f"{name}.drive": assembly.drive[name] for name in network.sources}
    for part in network.fixed:
        kind = _plain(part)[0]
        found[f"{part.name}.{kind}"] = parts[part.name].value
        if kind == "farad":
            found[f"{part.name}.loss"] = parts[part.name].loss_tangent
    for part in network.slots:
        value = parts[part.name].value
        ohm, farad = {
            "resistor": lambda value: (value, 0.0),
            "capacitor": lambda value: (ABSENT_OHM, value),
            "clamp": lambda value: (np.minimum(1 / clamp_current(value, 0.0)[1], ABSENT_OHM), value.cgs),
        }[part.kind](value)
        found[f"{part.name}.ohm"], found[f"{part.name}.farad"] = ohm, farad
        found[f"{part.name}.joint"] = SOUND_OHM
    for part in network.transistors:
        q, model = part.name, parts[part.name].value
        found |= {f"{q}.{lead}": SOUND_OHM for lead in LEADS}
        found |= dict.fromkeys(
            (f"{q}.gate-source", f"{q}.gate-drain", f"{q}.drain-source", f"{q}.leak-ground", f"{q}.leak-supply"),
            ABSENT_OHM,
        )
        found |= {f"{q}.{field}": getattr(model, field) for field in MODEL_FIELDS}
        found[f"{q}.pins"] = 0
    for part in network.batteries:
        b = part.name
        found |= {f"{b}.emf": parts[b].value, f"{b}.inside": 1.0, f"{b}.short": ABSENT_OHM, f"{b}.other": ABSENT_OHM}
        found |= {f"{b}.plus": SOUND_OHM, f"{b}.minus": SOUND_OHM}
    for kind, name, _, _ in network.wires:
        if name.startswith("lanes "):
            found[name] = ABSENT_OHM if kind == "ohm" else 0.0
        elif name.endswith(".beyond"):
            found[name] = ABSENT_OHM
    found |= {far_wire(lane): SOUND_OHM for lane in network.long_lanes}
    found["disc.hum"] = 1.0
    if network.light:  # dark until there are volts enough
        found |= {LIGHT: ABSENT_OHM, f"{LIGHT_R}.ohm": network.light.ohm}
    if network.diode:
        d = network.diode  # its ohm is worked out with the current
        found |= {f"{d}.ohm": SOUND_OHM, f"{d}.saturation": SCHOTTKY_SATURATION_A, f"{d}.leak": LEAK_A}
        found |= {f"{d}.turned": 0.0, f"{d}.beside": ABSENT_OHM}
    return found


def model_of(part: Part, settings: Settings) -> JfetModel:
    """The transistor's model under these settings."""
    return JfetModel(**{field: settings[f"{part.name}.{field}"] for field in MODEL_FIELDS})
