"""Does it matter? What small imperfections of a build change on this very chain, computed and not guessed.

A joint's resistance in any lead, leakage and stray capacitance between neighbouring rows at the gate, a gate
stopper, the output capacitor's series resistance, the cable's quality, a drained battery, and the power that
each resistor has to bear.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.assembly import GROUND, PICKUP, SUPPLY, Assembly, assemble
from piezolab.chain.parts import Part
from piezolab.chain.values import Values
from piezolab.studies.linear import LinearChain, at_rest
from piezolab.studies.response import low_note_hz

JOINT_OHM = np.geomspace(1e-3, 10e3, 8)  # from a good solder joint to a bad overlap of tape
LEAK_OHM = np.geomspace(100e3, 10e9, 6)  # flux, damp, a cheap plug-in board
STRAY_F = np.array([1e-12, 2e-12, 5e-12, 10e-12, 20e-12])  # neighbouring rows of a plug-in board: 2 to 5 pF
STOPPER_OHM = np.array([100.0, 1e3, 10e3, 100e3])
SERIES_OHM = np.array([0.1, 1.0, 10.0, 100.0])  # of an output capacitor, good to dried out
CABLE_F_PER_M = np.array([50e-12, 100e-12, 200e-12, 400e-12])


@dataclass(frozen=True)
class Effect:
    """What one imperfection changes, over a range of its size.

    key: which imperfection; part, lead: where, if at a part; size, unit: how large, shape (S,); level_db,
    low_note_db: change at 1 kHz and at the lowest string, dB, shape (S,); rest_v: change of the stage's output
    voltage at rest, V, shape (S,).
    """

    key: str
    size: np.ndarray
    unit: str
    level_db: np.ndarray
    low_note_db: np.ndarray
    rest_v: np.ndarray
    part: str = ""
    lead: int = 0

    @property
    def worst_db(self) -> float:
        """The largest change of either level over the range, dB."""
        return float(np.max(np.abs([self.level_db, self.low_note_db])))

    def first_audible(self, threshold_db: float = 1.0) -> float:
        """The size at which either level has changed by the threshold; nan where none of the range does."""
        changed = np.maximum(np.abs(self.level_db), np.abs(self.low_note_db)) >= threshold_db
        return float(self.size[changed][np.argmin(np.abs(self.level_db[changed]))]) if changed.any() else float("nan")


def joint(parts: Iterable[Part], name: str, lead: int, ohm: np.ndarray | float) -> tuple[Part, ...]:
    """The parts with a resistance in one lead of one of them. Raises KeyError on an unknown part."""
    found, made = False, []
    for part in parts:
        if part.name == name:
            found = True
            nodes = list(part.nodes)
            made.append(Part("R_joint", "joint", "resistor", ("joint", nodes[lead]), ohm, where=part.where))
            nodes[lead] = "joint"
            part = replace(part, nodes=tuple(nodes))
        made.append(part)
    if not found:
        raise KeyError(f"no part named {name!r}")
    return tuple(made)


def _levels(linear: LinearChain, note: float) -> tuple[np.ndarray, np.ndarray]:
    gain = np.abs(linear.gain(np.array([1000.0, note])))
    level = 20 * np.log10(np.maximum(gain, 1e-300))
    return level[..., 0], level[..., 1]


def _rest(linear: LinearChain) -> np.ndarray:
    coupling = linear.assembly.coupling
    return linear.point.voltage(coupling[0].nodes[0]) if coupling else np.asarray(0.0)


def effects(chain: SignalChain) -> tuple[Effect, ...]:
    """Every imperfection of this chain, the ones that change most first."""
    values, note = chain.values, low_note_hz(chain)
    before = LinearChain.of(values)
    plain = before.assembly
    level, low, rest = *_levels(before, note), _rest(before)

    def effect(key: str, size: np.ndarray, unit: str, assembly: Assembly, part: str = "", lead: int = 0) -> Effect:
        after = LinearChain(assembly)
        now, now_low = _levels(after, note)
        shape = size.shape
        changes = (now - level, now_low - low, _rest(after) - rest)
        return Effect(key, size, unit, *(np.broadcast_to(c, shape) for c in changes), part, lead)

    def with_parts(change: Callable[[tuple[Part, ...]], tuple[Part, ...]]) -> Assembly:
        return replace(plain, parts=change(plain.parts))

    def beside(kind: str, nodes: tuple[str, str], size: np.ndarray) -> Assembly:
        return with_parts(lambda parts: (*parts, Part("stray", "stray", kind, nodes, size)))

    def with_values(**changes: np.ndarray) -> Assembly:
        return assemble(values.but(**changes))

    found = []
    for part in plain.where("pickup", "board", "supply"):
        for lead in _solderable(part):
            made = with_parts(lambda parts, part=part, lead=lead: joint(parts, part.name, lead, JOINT_OHM))
            found.append(effect("joint", JOINT_OHM, "ohm", made, part.name, lead))
    found.append(effect("leak to ground", LEAK_OHM, "ohm", beside("resistor", (PICKUP, GROUND), LEAK_OHM)))
    found.append(effect("stray to ground", STRAY_F, "F", beside("capacitor", (PICKUP, GROUND), STRAY_F)))
    if chain.topology.powered:
        drain = part_nodes(plain, plain.transistors[0])[0]
        found.append(effect("leak to supply", LEAK_OHM, "ohm", beside("resistor", (PICKUP, SUPPLY), LEAK_OHM)))
        found.append(effect("stray to drain", STRAY_F, "F", beside("capacitor", (PICKUP, drain), STRAY_F)))
        if chain.topology.has("gate_stop"):
            found.append(effect("gate stopper", STOPPER_OHM, "ohm", with_values(gate_stop=STOPPER_OHM)))
        if plain.coupling:
            series = with_parts(lambda parts: joint(parts, plain.coupling[0].name, 0, SERIES_OHM))
            found.append(effect("capacitor resistance", SERIES_OHM, "ohm", series))
        if values.supply != "adapter":
            battery = catalogue.batteries()[values.supply]
            volts = np.linspace(battery.fresh_v, battery.end_v, 5)
            found.append(effect("drained battery", volts, "V", with_values(supply_v=volts)))
    found.append(effect("cable quality", CABLE_F_PER_M, "F/m", with_values(cable_c=CABLE_F_PER_M)))
    return tuple(sorted(found, key=lambda effect: -effect.worst_db))


def _solderable(part: Part) -> tuple[int, ...]:
    """Leads at which a joint can be bad; of a disc the hot one only, and nothing inside its equivalent circuit."""
    if part.where != "pickup":
        return tuple(range(len(part.nodes)))
    return tuple(n for n, node in enumerate(part.nodes) if part.name.startswith("C_p") and node == PICKUP)


def part_nodes(assembly: Assembly, name: str) -> tuple[str, ...]:
    """Nodes of a part. Raises KeyError."""
    for part in assembly.parts:
        if part.name == name:
            return part.nodes
    raise KeyError(f"no part named {name!r}")


def resistor_power(values: Values) -> dict[str, float]:
    """Power in each resistor at rest, W, by name."""
    assembly = assemble(values)
    point = at_rest(assembly.network)
    power = {}
    for part in assembly.parts:
        if part.kind != "resistor":
            continue
        if part.name in point.branch_currents:
            power[part.name] = float(point.branch_currents[part.name] ** 2 * part.value)
        else:
            power[part.name] = float(point.voltage(*part.nodes) ** 2 / part.value)
    return power
