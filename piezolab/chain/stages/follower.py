"""The source follower: no voltage gain, high input and low output impedance."""

from __future__ import annotations

from piezolab.chain.parts import GROUND, Part
from piezolab.chain.stages import common_parts as t
from piezolab.chain.stages import shared_controls as c
from piezolab.chain.stages.stage import Stage
from piezolab.chain.values import Values


class Follower(Stage):
    """Signal into the gate, out of the source; gate resistor to ground, to a tap (bootstrapped) or to a divider."""

    key = "follower"
    title = "source follower"
    controls = c.SHARED

    def parts(self, values: Values) -> tuple[Part, ...]:
        out = GROUND if t.absent(values.source_r) else "source"
        return (
            *t.gate_return(values),
            *t.transistor(values),
            *t.source_ladder(values),
            *t.output_coupling(values, out),
        )
