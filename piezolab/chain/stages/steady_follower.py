"""A source follower that stands on a second transistor drawing a steady current."""

from __future__ import annotations

from piezolab.chain.parameter import Quantity
from piezolab.chain.parts import GROUND, Part
from piezolab.chain.stages import common_parts as t
from piezolab.chain.stages import second_transistor as second
from piezolab.chain.stages import shared_controls as c
from piezolab.chain.stages.stage import INPUT, SUPPLY, Stage
from piezolab.chain.values import Values

HOLD_OHM = 10e6  # draws half a microampere where the steady current is hundreds


class SteadyFollower(Stage):
    """Signal into the first gate, out of its source, from which the second transistor draws a steady current.

    The gate returns to a divider: with the gate at 0 V the source stands at some tenths of a volt, and the second
    transistor needs about one volt from drain to source.
    """

    key = "steady"
    title = "source follower on a steady current"
    rest_key = "steady_r"
    plain = {"stage": "follower", "return": "divider"}
    controls = (
        c.GATE_R,
        c.RETURN_PART,
        c.DIVIDER_R,
        c.DIVIDER_C,
        *second.CONTROLS,
        Quantity(
            "steady_r", "steady current's resistor", "stage", 1.8e3, "Sets the current that both transistors carry.",
            unit="ohm", low=10.0, high=100e3,
        ),
        c.OUT_C,
        c.BLEED_R,
    )  # fmt: skip

    def parts(self, values: Values) -> tuple[Part, ...]:
        return (
            *t.gate_return(values.but(**{"return": "divider"})),
            Part(t.TRANSISTOR, "transistor", "jfet", (SUPPLY, INPUT, "source"), t.model(values), "jfet"),
            Part("Q2", "steady current's transistor", "jfet", ("source", GROUND, "foot"), second.second_model(values),
                 second.TYPE),
            Part("R_I", "steady current's resistor", "resistor", ("foot", GROUND), values.steady_r, "steady_r"),
            # a node held by transistors alone has no path to ground that may be relied on
            Part("R_H", "holding resistor", "resistor", ("source", GROUND), HOLD_OHM),
            *t.output_coupling(values, "source"),
        )  # fmt: skip
