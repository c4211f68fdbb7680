"""The common-source stage: voltage gain, and the output upside down."""

from __future__ import annotations

from piezolab.chain.parts import Part
from piezolab.chain.stages import common_parts as t
from piezolab.chain.stages import shared_controls as c
from piezolab.chain.stages.stage import SUPPLY, Stage
from piezolab.chain.values import Values


class Gain(Stage):
    """Signal into the gate, out of the drain; source bypass over all, a part or none of the source resistor."""

    key = "gain"
    title = "gain stage (common source)"
    controls = c.SHARED
    defaults = {"source_r": 1.5e3, "drain_r": 6.8e3, "bypass_c": 22e-6}
    inverts = True

    def parts(self, values: Values) -> tuple[Part, ...]:
        out = SUPPLY if t.absent(values.drain_r) else "drain"
        return (
            *t.gate_return(values),
            *t.transistor(values),
            *t.source_ladder(values),
            *t.output_coupling(values, out),
        )
