"""What a stage declares; `register` lists the stages there are."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, ClassVar

from piezolab.chain.parameter import Parameter
from piezolab.chain.parts import Part
from piezolab.chain.values import Values

INPUT = "pickup"  # the node that the pickup's lead brings to the stage
OUTPUT = "jack"  # the node at which the cable starts
SUPPLY = "supply"  # the stage's own supply lane


class Stage:
    """One stage topology: its controls, and its parts with their nodes. Sheets decide how it is drawn.

    key: word in the link; title: for people; controls: its settings, each with the default that all stages
    know; defaults: by key, what this stage has instead; powered: whether it needs a supply; inverts: whether the output
    moves against the input; output: the node where the cable starts; rest_key, gain_key: the controls of the resistors
    that set the current at rest and, where it inverts, the gain: what "solve it backwards" looks for; plain: of a stage
    with a second transistor, the changes that leave it out, to weigh what it brings. A stage that is
    powered takes its supply from the node `supply` and its signal from the node `pickup`. Its first transistor is the
    one whose operating point stands for the stage.
    """

    key: ClassVar[str]
    title: ClassVar[str]
    controls: ClassVar[tuple[Parameter, ...]] = ()
    defaults: ClassVar[Mapping[str, Any]] = MappingProxyType({})
    powered: ClassVar[bool] = True
    inverts: ClassVar[bool] = False
    output: ClassVar[str] = OUTPUT
    rest_key: ClassVar[str] = "source_r"
    gain_key: ClassVar[str] = "drain_r"
    plain: ClassVar[Mapping[str, Any]] = MappingProxyType({})

    def has(self, key: str) -> bool:
        """Whether the stage has a control of that key."""
        return any(control.key == key for control in self.controls)

    def parts(self, values: Values) -> tuple[Part, ...]:
        """The stage's parts for these values; parts of value "none" (a capacitor of 0 F) are left out."""
        raise NotImplementedError
