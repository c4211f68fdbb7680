"""A gain stage whose drain drives a source follower: the gain of the one, the low output impedance of the other."""

from __future__ import annotations

from piezolab.chain.parameter import Quantity
from piezolab.chain.parts import GROUND, Part
from piezolab.chain.stages import common_parts as t
from piezolab.chain.stages import second_transistor as second
from piezolab.chain.stages import shared_controls as c
from piezolab.chain.stages.stage import SUPPLY, Stage
from piezolab.chain.values import Values


class DrivenFollower(Stage):
    """Signal into the first gate, from its drain straight into the second gate, out of the second source."""

    key = "driven"
    title = "gain stage with a source follower"
    inverts = True
    plain = {"stage": "gain"}
    controls = (
        c.GATE_R,
        c.SOURCE_R,
        c.GATE_STOP,
        c.DRAIN_R,
        c.BYPASS_C,
        c.BYPASS_PART,
        *second.CONTROLS,
        Quantity(
            "follow_r", "follower's source resistor", "stage", 10e3, "Sets the second transistor's current at rest.",
            unit="ohm", low=10.0, high=1e6,
        ),
        c.OUT_C,
        c.BLEED_R,
    )  # fmt: skip
    defaults = {"source_r": 1.5e3, "drain_r": 6.8e3, "bypass_c": 22e-6}

    def parts(self, values: Values) -> tuple[Part, ...]:
        values = values.but(**{"return": "ground"})
        driven = SUPPLY if t.absent(values.drain_r) else "drain"
        return (
            *t.gate_return(values),
            *t.transistor(values),
            *t.source_ladder(values),
            Part("Q2", "follower's transistor", "jfet", (SUPPLY, driven, "follower"), second.second_model(values),
                 second.TYPE),
            Part("R_F", "follower's source resistor", "resistor", ("follower", GROUND), values.follow_r, "follow_r"),
            *t.output_coupling(values, "follower"),
        )  # fmt: skip
