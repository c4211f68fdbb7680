"""What a stage declares, and the register of stages."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import ClassVar

from piezolab.chain.parameter import Parameter
from piezolab.chain.parts import Part, Point
from piezolab.chain.values import Values

INPUT = "pickup"  # the node that the pickup's lead brings to the stage
OUTPUT = "jack"  # the node at which the cable starts
SUPPLY = "supply"  # the stage's own supply lane


class Stage:
    """One stage topology: its controls, its parts with their nodes, and where they stand in the schematic.

    key: word in the link; title: for people; controls: parameters in the link's order, with this stage's defaults;
    powered: whether it needs a supply; inverts: whether the output moves against the input; output: the node where the
    cable starts; wires: connections of the schematic as lists of grid points; rest_key, gain_key: the controls of the
    resistors that set the current at rest and, where it inverts, the gain: what "solve it backwards" looks for. A stage
    that is powered takes its supply from the node `supply` and its signal from the node `pickup`. Its first transistor
    is the one whose operating point stands for the stage.
    """

    key: ClassVar[str]
    title: ClassVar[str]
    controls: ClassVar[tuple[Parameter, ...]] = ()
    powered: ClassVar[bool] = True
    inverts: ClassVar[bool] = False
    output: ClassVar[str] = OUTPUT
    rest_key: ClassVar[str] = "source_r"
    gain_key: ClassVar[str] = "drain_r"

    def has(self, key: str) -> bool:
        """Whether the stage has a control of that key."""
        return any(control.key == key for control in self.controls)

    def parts(self, values: Values) -> tuple[Part, ...]:
        """The stage's parts for these values; parts of value "none" (a capacitor of 0 F) are left out."""
        raise NotImplementedError

    def wires(self, values: Values) -> tuple[tuple[Point, ...], ...]:
        """Wires of the schematic between the places of the parts.

        The grid: a two-lead part is 2 units long, upright or level; a transistor's drain stands 2 above its source, its
        gate 1.5 aside and 0.5 above the source. y = 0 is ground: whatever ends there is joined. The signal comes in at
        the leftmost point of the node `pickup` and leaves at the rightmost one of `output`; supply comes from above.
        Parts without places are hung between level lanes, and then no wires are needed.
        """
        return ()


_STAGES: dict[str, Stage] = {}
_RESERVED: set[str] = set()


def register(stage: type[Stage]) -> type[Stage]:
    """Make a stage known everywhere.

    Raises ValueError on a key that is taken, on a default that its control does not take, and where a shared control
    differs in more than its default.
    """
    if stage.key in _STAGES:
        raise ValueError(f"{stage.key}: there is a stage of that key already")
    _check_free(stage, _RESERVED)
    for control in stage.controls:
        control.check(control.default)
        for other in _STAGES.values():
            for theirs in other.controls:
                if theirs.key == control.key and theirs.with_default(None) != control.with_default(None):
                    raise ValueError(f"{stage.key}: control {control.key!r} differs from that of stage {other.key!r}")
    _STAGES[stage.key] = stage()
    return stage


def reserve(keys: Iterable[str]) -> None:
    """Keep keys for settings that every chain has. Raises ValueError where a stage has one as its own."""
    keys = set(keys)
    for stage in _STAGES.values():
        _check_free(type(stage), keys)
    _RESERVED.update(keys)


def _check_free(stage: type[Stage], taken: set[str]) -> None:
    for control in stage.controls:
        if control.key in taken:
            raise ValueError(f"{stage.key}: control {control.key!r} has the key of a setting that every chain has")


def unregister(key: str) -> None:
    """Forget a stage (for tests)."""
    _STAGES.pop(key, None)


def all_stages() -> Mapping[str, Stage]:
    """Stages by key, in order of registration."""
    return MappingProxyType(_STAGES)


def stage_named(key: str) -> Stage:
    """The stage of that key. Raises KeyError."""
    return _STAGES[key]


def controls() -> tuple[Parameter, ...]:
    """Controls of all stages, each once, in the order in which stages declare them, with the first stage's default."""
    found: dict[str, Parameter] = {}
    for stage in _STAGES.values():
        for control in stage.controls:
            found.setdefault(control.key, control)
    return tuple(found.values())
