"""A drawer of parts, the stages that can be wired from it, and which of its values go together."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.chain.stages.common_parts import absent
from piezolab.studies.judging.wish import Wish
from piezolab.studies.response import low_note_hz


@dataclass(frozen=True)
class DrawerTransistor:
    """A transistor at hand: its type, and I_DSS in A at `vds` V and V_GS(off) in V if they were measured."""

    jfet: str
    idss: float | None = None
    vgsoff: float | None = None
    vds: float = 9.0
    name: str = ""

    def entered(self) -> dict[str, Any]:
        """The link keys that put it into a chain; None where the type's typical value stands."""
        measured = self.idss is not None
        return {
            "jfet": self.jfet, "jfet_idss": self.idss, "jfet_vds": self.vds if measured else None,
            "jfet_vgsoff": self.vgsoff, "jfet_lambda": None, "jfet_ciss": None, "jfet_crss": None, "jfet_ig": None,
            "jfet_corner": None,
        }  # fmt: skip


@dataclass(frozen=True)
class Drawer:
    """Parts at hand: resistors in ohm, capacitors in F, transistors."""

    resistors: tuple[float, ...] = ()
    capacitors: tuple[float, ...] = ()
    transistors: tuple[DrawerTransistor, ...] = ()


def buildable(chain: SignalChain, drawer: Drawer) -> bool:
    """Whether a chain's stage can be built from a drawer; with no stage always."""
    if not chain.topology.powered:
        return True
    for part in assemble(chain.values).where("board"):
        there = drawer.resistors if part.kind == "resistor" else drawer.capacitors
        if part.kind in ("resistor", "capacitor") and part.key != "pad" and not absent(part.value):
            if not any(np.isclose(part.value, value, rtol=1e-6, atol=0.0) for value in there):
                return False
    own = (chain.jfet, chain.jfet_idss, chain.jfet_vgsoff)
    return own in [(part.jfet, part.idss, None if part.vgsoff is None else -abs(part.vgsoff))
                   for part in drawer.transistors]  # fmt: skip


@dataclass(frozen=True)
class Wiring:
    """A way to wire the stage: fixed words and, for each key, what the drawer offers for it."""

    name: str
    fixed: Mapping[str, Any]
    choices: Mapping[str, Sequence[float]]


def wirings(drawer: Drawer) -> list[Wiring]:
    """The stages that a drawer may hold, with all values that are of use in each place."""
    resistors, capacitors = sorted(set(drawer.resistors)), sorted(set(drawer.capacitors))
    common = {
        "gate_r": [r for r in resistors if 220e3 <= r <= 1e9],
        "bleed_r": [r for r in resistors if 22e3 <= r <= 10e6],
        "out_c": [c for c in capacitors if 10e-9 <= c <= 1e-3],
        "source_r": [r for r in resistors if 47.0 <= r <= 220e3],
    }
    dividers = [2 * r for r in resistors if 100e3 <= r <= 10e6]
    bypasses = [c for c in capacitors if 1e-6 <= c <= 10e-3]
    drains = [r for r in resistors if 220.0 <= r <= 220e3]
    ground = {"return": "ground", "gate_stop": 0.0}
    follower = {"stage": "follower", "drain_r": 0.0, "bypass_c": 0.0}
    return [
        Wiring("direct", {"stage": "direct"}, {}),
        Wiring("follower", {**follower, **ground}, common),
        Wiring(
            "follower at a divider",
            {**follower, "gate_stop": 0.0, "return": "divider", "return_part": 0.5},
            {**common, "divider_r": dividers, "divider_c": bypasses},
        ),
        Wiring("gain", {"stage": "gain", "bypass_c": 0.0, **ground}, {**common, "drain_r": drains}),
        Wiring(
            "gain, bypassed", {"stage": "gain", "bypass_part": 1.0, **ground},
            {**common, "drain_r": drains, "bypass_c": bypasses},
        ),
    ]  # fmt: skip


def signal_parts(chain: SignalChain, kind: Wiring, keys: Sequence[str], wish: Wish, many: bool) -> list[tuple]:
    """Which values go together in the places that do not set the operating point: all, or where these are too many the
    likeliest. Large gate resistors lose least bass; a bleed resistor is best near 100 kohm or 1 Mohm; an output
    capacitor is the best one that is just large enough with its bleed resistor and the input, or a little larger."""
    choices = {key: list(kind.choices[key]) for key in keys}
    if not many:
        return list(itertools.product(*choices.values()))
    choices["gate_r"] = choices["gate_r"][-3:]
    choices["bleed_r"] = sorted({min(choices["bleed_r"], key=lambda r: abs(np.log(r / ohm))) for ohm in (100e3, 1e6)})
    for key, count in (("bypass_c", 2), ("divider_c", 1)):
        if key in choices:
            choices[key] = choices[key][-count:]
    input_r = float(chain.values.input_r)
    loss_db, outs = wish.low_note_db or 1.0, choices["out_c"]
    found = []
    for row in itertools.product(*(choices[key] for key in keys if key != "out_c")):
        ohm = 1 / (1 / row[list(key for key in keys if key != "out_c").index("bleed_r")] + 1 / input_r)
        needs = 1 / (2 * np.pi * low_note_hz(chain) * ohm * np.sqrt(10 ** (loss_db / 10) - 1))
        enough = [next((c for c in outs if c >= times * needs), outs[-1]) for times in (1.0, 2.0, 6.0)]
        found += [(*row[: keys.index("out_c")], c, *row[keys.index("out_c") :]) for c in sorted(set(enough))]
    return found
