"""The source follower: no voltage gain, high input and low output impedance."""

from __future__ import annotations

from piezolab.chain.parts import GROUND, Part
from piezolab.chain.stages import common_parts as t
from piezolab.chain.stages import shared_controls as c
from piezolab.chain.stages.places import Wires, placed, plan
from piezolab.chain.stages.stage import Stage, register
from piezolab.chain.values import Values


@register
class Follower(Stage):
    """Signal into the gate, out of the source; gate resistor to ground, to a tap (bootstrapped) or to a divider."""

    key = "follower"
    title = "source follower"
    controls = (
        c.GATE_R.with_default(4.7e6),
        c.RETURN.with_default("ground"),
        c.RETURN_PART.with_default(0.5),
        c.DIVIDER_R.with_default(2e6),
        c.DIVIDER_C.with_default(1e-6),
        c.SOURCE_R.with_default(3.9e3),
        c.GATE_STOP.with_default(0.0),
        c.DRAIN_R.with_default(0.0),
        c.BYPASS_C.with_default(0.0),
        c.BYPASS_PART.with_default(1.0),
        c.OUT_C.with_default(2.2e-6),
        c.BLEED_R.with_default(100e3),
    )

    def parts(self, values: Values) -> tuple[Part, ...]:
        out = GROUND if t.absent(values.source_r) else "source"
        parts = (
            *t.gate_return(values),
            *t.transistor(values),
            *t.source_ladder(values),
            *t.output_coupling(values, out),
        )
        return placed(parts, "source")

    def wires(self, values: Values) -> Wires:
        return plan(self.parts(values), "source")[1]
