"""A drawer of parts: what is at hand, how often, and how exact it is."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.chain.stages.common_parts import absent

RESISTOR_PERCENT, CAPACITOR_PERCENT = 5.0, 20.0  # where nothing else is said; common practice, no source
MOST_PERCENT = 50.0


@dataclass(frozen=True)
class DrawerTransistor:
    """A transistor at hand: its type, and I_DSS in A at `vds` V and V_GS(off) in V if they were measured; count: how
    many of them, None: not said."""

    jfet: str
    idss: float | None = None
    vgsoff: float | None = None
    vds: float = 9.0
    name: str = ""
    count: int | None = None

    @property
    def measured(self) -> bool:
        """Whether it is one part that is known, and not any of its type."""
        return self.idss is not None and self.vgsoff is not None

    def entered(self) -> dict[str, Any]:
        """The link keys that put it into a chain; None where the type's typical value stands."""
        measured = self.idss is not None
        return {
            "jfet": self.jfet, "jfet_idss": self.idss, "jfet_vds": self.vds if measured else None,
            "jfet_vgsoff": self.vgsoff, "jfet_lambda": None, "jfet_ciss": None, "jfet_crss": None, "jfet_ig": None,
            "jfet_corner": None,
        }  # fmt: skip

    def entered_second(self) -> dict[str, Any]:
        """The link keys that put it in the second place of a chain's stage."""
        measured = self.idss is not None
        return {
            "second": self.jfet, "second_idss": self.idss, "second_vds": self.vds if measured else None,
            "second_vgsoff": self.vgsoff,
        }  # fmt: skip


@dataclass(frozen=True)
class Drawer:
    """Parts at hand: resistors in ohm, capacitors in F, transistors. counts: how many there are of a value, of either
    kind (no resistor of a stage is as small as a capacitor's figure); a value that is not in it is there as often as
    needed. resistor_percent, capacitor_percent: their tolerances, %.

    Raises ValueError on a tolerance outside 0 to 50 % or a negative count.
    """

    resistors: tuple[float, ...] = ()
    capacitors: tuple[float, ...] = ()
    transistors: tuple[DrawerTransistor, ...] = ()
    counts: Mapping[float, int] = field(default_factory=dict)
    resistor_percent: float = RESISTOR_PERCENT
    capacitor_percent: float = CAPACITOR_PERCENT

    def __post_init__(self) -> None:
        for what, value in (("resistors", self.resistor_percent), ("capacitors", self.capacitor_percent)):
            if not 0 <= value <= MOST_PERCENT:
                raise ValueError(f"tolerance of the {what}: {value:g} % is out of range; allowed is 0 to 50 %.")
        if any(count < 0 for count in self.counts.values()):
            raise ValueError("count: a negative number is out of range; allowed is 0 and above.")

    def with_value(self, kind: str, value: float) -> Drawer:
        """The drawer with one more value of `resistor` or `capacitor`, as often as needed."""
        key = f"{kind}s"
        counts = {other: count for other, count in self.counts.items() if other != value}
        return replace(self, **{key: (*getattr(self, key), value)}, counts=counts)

    def with_transistor(self, part: DrawerTransistor) -> Drawer:
        """The drawer with one more transistor."""
        return replace(self, transistors=(*self.transistors, part))


def casts(drawer: Drawer, many: int) -> tuple[tuple[int, ...], ...]:
    """Which transistors of a drawer may stand in the `many` places of a stage, in order, by their places in the drawer.
    A measured part is there once, one of a type as often as it was counted."""

    def enough(chosen: tuple[int, ...]) -> bool:
        for k in set(chosen):
            part = drawer.transistors[k]
            count = 1 if part.measured else part.count
            if count is not None and chosen.count(k) > count:
                return False
        return True

    return tuple(each for each in itertools.product(range(len(drawer.transistors)), repeat=many) if enough(each))


def set_aside(chain: SignalChain, drawer: Drawer) -> dict[float, int]:
    """How many of each counted value are left for the stage, once the chain's supply has what it needs."""
    left = dict(drawer.counts)
    for value in (float(chain.values.supply_r), float(chain.values.supply_c)):
        for mine in left:
            if value > 0 and np.isclose(value, mine, rtol=1e-6, atol=0.0) and left[mine] > 0:
                left[mine] -= 1
    return left


def within_counts(takes: Iterable[float], left: Mapping[float, int]) -> bool:
    """Whether so many pieces of each value are there."""
    pieces = list(takes)
    return all(pieces.count(value) <= count for value, count in left.items())


def buildable(chain: SignalChain, drawer: Drawer) -> bool:
    """Whether a chain's stage can be built from a drawer; with no stage always."""
    if not chain.topology.powered:
        return True
    taken = []
    for part in assemble(chain.values).where("board"):
        there = drawer.resistors if part.kind == "resistor" else drawer.capacitors
        if part.kind in ("resistor", "capacitor") and part.key != "pad" and not absent(part.value):
            same = [value for value in there if np.isclose(part.value, value, rtol=1e-6, atol=0.0)]
            if not same:
                return False
            taken.append(same[0])
    own = [(chain.jfet, chain.jfet_idss, chain.jfet_vgsoff)]
    if chain.topology.has("second"):
        second = (chain.second_idss, chain.second_vgsoff) if chain.measured("second") else (None, None)
        own.append((chain.second, *second))
    there = [(part.jfet, part.idss, None if part.vgsoff is None else -abs(part.vgsoff)) for part in drawer.transistors]
    cast = any([there[k] for k in each] == own for each in casts(drawer, len(own)))
    return cast and within_counts(taken, set_aside(chain, drawer))
