"""The common-source stage: voltage gain, and the output upside down."""

from __future__ import annotations

from piezolab.chain.parts import Part
from piezolab.chain.stages import common_parts as t
from piezolab.chain.stages.follower import Follower
from piezolab.chain.stages.places import Wires, placed, plan
from piezolab.chain.stages.stage import SUPPLY, Stage, register
from piezolab.chain.values import Values

_DEFAULTS = {"source_r": 1.5e3, "drain_r": 6.8e3, "bypass_c": 22e-6}


@register
class Gain(Stage):
    """Signal into the gate, out of the drain; source bypass over all, a part or none of the source resistor."""

    key = "gain"
    title = "gain stage (common source)"
    controls = tuple(
        control.with_default(_DEFAULTS.get(control.key, control.default)) for control in Follower.controls
    )
    inverts = True

    def parts(self, values: Values) -> tuple[Part, ...]:
        out = SUPPLY if t.absent(values.drain_r) else "drain"
        parts = (
            *t.gate_return(values),
            *t.transistor(values),
            *t.source_ladder(values),
            *t.output_coupling(values, out),
        )
        return placed(parts, "drain")

    def wires(self, values: Values) -> Wires:
        return plan(self.parts(values), "drain")[1]
