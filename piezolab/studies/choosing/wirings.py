"""The stages that can be wired from a drawer, and what may go in each of their places.

A place takes one part of the drawer, a divider and a tapped source resistor two. Where the drawer has nothing for just
one place of a stage, two of its parts in series or in parallel may stand there. A stage of two transistors is a wiring
for each type that its second one may be.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from piezolab.chain.stages import stage_named
from piezolab.chain.stages.second_transistor import TYPE as SECOND
from piezolab.chain.stages.steady_follower import HOLD_OHM
from piezolab.studies.choosing.drawer import Drawer, casts

SERIES, PARALLEL = "series", "parallel"
#: Setting -> least and most that is of use in that place, ohm or F; common practice, no source.
RANGES = {
    "gate_r": (220e3, 1e9), "bleed_r": (22e3, 10e6), "out_c": (10e-9, 1e-3), "source_r": (47.0, 220e3),
    "drain_r": (220.0, 220e3), "divider_r": (100e3, 10e6), "bypass_c": (1e-6, 10e-3), "divider_c": (1e-6, 10e-3),
    "steady_r": (100.0, 22e3), "follow_r": (1e3, 47e3), "hold_r": (HOLD_OHM, HOLD_OHM),
}  # fmt: skip
CAPACITORS = ("out_c", "bypass_c", "divider_c")
#: What sets the operating point; in the other places it does not matter.
AT_REST = ("source_r", "drain_r", "divider_r", "steady_r", "follow_r")
NO_SETTING = ("hold_r",)  # parts of one value: taken from the drawer, with nothing to set
_TAPS = (0.05, 0.95)  # of the source resistor


@dataclass(frozen=True)
class Slot:
    """What may go in one place, n options. key: its setting; settings: link key -> values (n,); takes: the pieces of
    the drawer that each option uses up; joined: how, where two pieces stand for one (`series`, `parallel`, else
    empty)."""

    key: str
    settings: Mapping[str, np.ndarray]
    takes: tuple[tuple[float, ...], ...]
    joined: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.takes)

    def only(self, index: np.ndarray | Sequence[int]) -> Slot:
        """Some of the options."""
        at = [int(k) for k in index]
        settings = {key: values[at] for key, values in self.settings.items()}
        return Slot(self.key, settings, tuple(self.takes[k] for k in at), tuple(self.joined[k] for k in at))


@dataclass(frozen=True)
class Wiring:
    """A way to wire the stage. fixed: link keys and words; slots: in signal order."""

    name: str
    fixed: Mapping[str, Any]
    slots: tuple[Slot, ...] = ()

    @property
    def powered(self) -> bool:
        """Whether there is a stage."""
        return self.fixed["stage"] != "direct"

    @property
    def transistors(self) -> int:
        """How many there are."""
        return int(self.powered) + stage_named(self.fixed["stage"]).has(SECOND)

    @property
    def lacks(self) -> tuple[str, ...]:
        """Settings for which the drawer has nothing."""
        return tuple(slot.key for slot in self.slots if not len(slot))

    def slot(self, key: str) -> Slot:
        """The slot of a setting. Raises StopIteration where there is none."""
        return next(slot for slot in self.slots if slot.key == key)

    def put(self, slot: Slot) -> Wiring:
        """With other options in one place."""
        return replace(self, slots=tuple(slot if own.key == slot.key else own for own in self.slots))


def wirings(drawer: Drawer) -> list[Wiring]:
    """All ways to wire a stage, the plainest first; those for which a drawer lacks something have empty slots."""
    usual = {key: single(key, drawer) for key in RANGES}
    ground = {"return": "ground", "gate_stop": 0.0}
    divider = {"return": "divider", "gate_stop": 0.0}
    follower = {"stage": "follower", "drain_r": 0.0, "bypass_c": 0.0}
    gain = {"stage": "gain", "bypass_part": 1.0}
    common = ("gate_r", "bleed_r", "out_c", "source_r")
    kinds: list[tuple[str, dict[str, Any], tuple[str, ...]]] = [
        ("follower", {**follower, **ground}, common),
        ("follower at a tap", {**follower, "return": "tap", "gate_stop": 0.0}, common),
        ("follower at a divider", {**follower, **divider}, (*common, "divider_r", "divider_c")),
        ("gain", {**gain, **ground, "bypass_c": 0.0}, (*common, "drain_r")),
        ("gain, bypassed", {**gain, **ground}, (*common, "drain_r", "bypass_c")),
    ]
    for second in dict.fromkeys(drawer.transistors[both[1]].jfet for both in casts(drawer, 2)):
        kinds += [
            ("steady", {"stage": "steady", SECOND: second},
             (*common[:3], "steady_r", "divider_r", "divider_c", "hold_r")),
            ("driven", {"stage": "driven", SECOND: second, "gate_stop": 0.0, "bypass_part": 1.0},
             (*common, "drain_r", "bypass_c", "follow_r")),
        ]  # fmt: skip
    found = [Wiring("direct", {"stage": "direct"})]
    for name, fixed, keys in kinds:
        tap = fixed.get("return") == "tap"
        slots = [tapped(drawer) if tap and key == "source_r" else usual[key] for key in keys]
        wiring = Wiring(name, fixed, tuple(slots))
        if len(wiring.lacks) == 1 and wiring.lacks[0] not in ("divider_r", *NO_SETTING) and not tap:
            wiring = wiring.put(pairs(wiring.lacks[0], drawer))
        found.append(wiring)
    return found


def offered_values(key: str, drawer: Drawer) -> list[float]:
    """Values of the drawer that are of use in a place."""
    there = drawer.capacitors if key in CAPACITORS else drawer.resistors
    low, high = RANGES[key]
    return [value for value in sorted(set(there)) if low <= value <= high and drawer.counts.get(value, 1) > 0]


def single(key: str, drawer: Drawer) -> Slot:
    """One part, or for a divider two alike."""
    return of_values(key, offered_values(key, drawer))


def of_values(key: str, values: Sequence[float]) -> Slot:
    """A slot with these parts to choose from."""
    table = np.array(values, float)
    none = ("",) * len(table)
    if key == "divider_r":
        settings = {key: 2 * table, "return_part": np.full(len(table), 0.5)}
        return Slot(key, settings, tuple((value, value) for value in table.tolist()), none)
    if key in NO_SETTING:
        return Slot(key, {}, tuple((value,) for value in table.tolist()), none)
    return Slot(key, {key: table}, tuple((value,) for value in table.tolist()), none)


def tapped(drawer: Drawer) -> Slot:
    """A source resistor of two parts, the gate resistor's end between them."""
    values = offered_values("source_r", drawer)
    both = [(upper, lower) for upper in values for lower in values
            if _TAPS[0] <= lower / (upper + lower) <= _TAPS[1]]  # fmt: skip
    table = np.array(both, float).reshape(-1, 2)
    whole = table.sum(axis=1)
    settings = {"source_r": whole, "return_part": table[:, 1] / whole}
    return Slot("source_r", settings, tuple(both), ("",) * len(both))


def pairs(key: str, drawer: Drawer) -> Slot:
    """Two parts of the drawer in series or in parallel that together are of use in a place."""
    there = drawer.capacitors if key in CAPACITORS else drawer.resistors
    values = [value for value in sorted(set(there)) if drawer.counts.get(value, 1) > 0]
    low, high = RANGES[key]
    found: dict[float, tuple[tuple[float, ...], str]] = {}
    for a, b in itertools.combinations_with_replacement(values, 2):
        if a == b and drawer.counts.get(a, 2) < 2:
            continue
        more, less = (PARALLEL, SERIES) if key in CAPACITORS else (SERIES, PARALLEL)
        for value, how in ((a + b, more), (a * b / (a + b), less)):
            if low <= value <= high:
                found.setdefault(float(f"{value:.9g}"), ((a, b), how))
    ordered = sorted(found)
    return Slot(
        key, {key: np.array(ordered, float)}, tuple(found[value][0] for value in ordered),
        tuple(found[value][1] for value in ordered),
    )  # fmt: skip
