"""Stages that the package has never heard of, for tests: what a contributor could declare in a file of their own."""

from collections.abc import Iterator
from contextlib import contextmanager

from piezolab.chain.parameter import Quantity
from piezolab.chain.parameters import all_parameters
from piezolab.chain.parts import GROUND, Part
from piezolab.chain.stages import Stage, register
from piezolab.chain.stages import common_parts as t
from piezolab.chain.stages import shared_controls as c
from piezolab.chain.stages.stage import INPUT, OUTPUT, SUPPLY
from piezolab.chain.values import Values
from piezolab.studies.kept import forget

HOLD = 10e6  # ohm


@contextmanager
def known(*stages: type[Stage], at: int | None = None) -> Iterator[None]:
    """The package with these stages in its list, last or at a place of it; afterwards it is as it was before."""
    before = register.STAGES
    forget()  # what is kept of a chain is found by its values, and two stages of the tests may bear one word
    at = len(before) if at is None else at
    register.STAGES = (*before[:at], *(stage() for stage in stages), *before[at:])
    try:
        all_parameters()  # a stage that does not fit is refused here
        yield
    finally:
        register.STAGES = before
        forget()


class SunkFollower(Stage):
    """A source follower over a second transistor that draws a steady current."""

    key = "sunk"
    title = "follower over a current sink"
    rest_key = "sink_r"
    controls = (
        c.GATE_R,
        c.RETURN,
        c.RETURN_PART,
        c.DIVIDER_R,
        c.DIVIDER_C,
        Quantity("sink_r", "sink resistor", "stage", 220.0, "Sets the steady current.", unit="ohm", low=1.0, high=1e5),
        c.OUT_C,
        c.BLEED_R,
    )
    defaults = {"gate_r": 10e6, "return": "divider", "divider_r": 1e6, "out_c": 1e-6, "bleed_r": 220e3}

    def parts(self, values: Values) -> tuple[Part, ...]:
        jfet = t.model(values)
        return (
            *t.gate_return(values),
            Part("Q1", "transistor", "jfet", (SUPPLY, INPUT, "source"), jfet, "jfet"),
            Part("Q2", "sink transistor", "jfet", ("source", GROUND, "foot"), jfet, "jfet"),
            Part("R_sink", "sink resistor", "resistor", ("foot", GROUND), values.sink_r, "sink_r"),
            # a node held by transistors alone has no path to ground that may be relied on
            Part("R_hold", "holding resistor", "resistor", ("source", GROUND), HOLD),
            *t.output_coupling(values, "source"),
        )


class Tandem(Stage):
    """A gain stage whose drain drives a follower's gate; the output capacitor hangs on the follower."""

    key = "tandem"
    title = "gain stage and follower"
    inverts = True
    controls = (
        c.GATE_R,
        c.SOURCE_R,
        c.DRAIN_R,
        c.BYPASS_C,
        c.BYPASS_PART,
        Quantity(
            "second_r", "second source resistor", "stage", 10e3, "Of the follower.", unit="ohm", low=10.0, high=1e6
        ),
        c.OUT_C,
        c.BLEED_R,
    )
    defaults = {"source_r": 1.5e3, "drain_r": 3.3e3, "bypass_c": 22e-6}

    def parts(self, values: Values) -> tuple[Part, ...]:
        jfet = t.model(values)
        return (
            Part("R_G", "gate resistor", "resistor", (INPUT, GROUND), values.gate_r, "gate_r"),
            Part("Q1", "transistor", "jfet", ("drain", INPUT, "source"), jfet, "jfet"),
            Part("R_D", "drain resistor", "resistor", (SUPPLY, "drain"), values.drain_r, "drain_r"),
            Part("R_S", "source resistor", "resistor", ("source", GROUND), values.source_r, "source_r"),
            Part("C_S", "source bypass", "capacitor", ("source", GROUND), values.bypass_c, "bypass_c"),
            Part("Q2", "second transistor", "jfet", (SUPPLY, "drain", "second"), jfet, "jfet"),
            Part("R_2S", "second source resistor", "resistor", ("second", GROUND), values.second_r, "second_r"),
            *t.output_coupling(values, "second"),
        )


class OtherNames(Stage):
    """A follower with names and keys of its own, and a resistor after its output capacitor."""

    key = "renamed"
    title = "follower with other names"
    controls = (
        Quantity("leak_r", "leak resistor", "stage", 4.7e6, "From gate to ground.", unit="ohm", low=1e3, high=1e9),
        Quantity("tail_r", "tail resistor", "stage", 3.9e3, "Under the source.", unit="ohm", low=10.0, high=1e6),
        Quantity("feed_c", "feed capacitor", "stage", 4.7e-6, "Towards the jack.", unit="F", low=1e-9, high=1e-3),
        Quantity("stop_r", "build-out resistor", "stage", 220.0, "Before the jack.", unit="ohm", low=1.0, high=1e5),
        Quantity("pull_r", "pull-down resistor", "stage", 220e3, "Holds it at 0 V.", unit="ohm", low=1e3, high=1e8),
    )

    def parts(self, values: Values) -> tuple[Part, ...]:
        return (
            Part("R_leak", "leak resistor", "resistor", (INPUT, GROUND), values.leak_r, "leak_r"),
            Part("T1", "transistor", "jfet", (SUPPLY, INPUT, "tail"), t.model(values), "jfet"),
            Part("R_tail", "tail resistor", "resistor", ("tail", GROUND), values.tail_r, "tail_r"),
            Part("C_feed", "feed capacitor", "capacitor", ("tail", "after"), values.feed_c, "feed_c"),
            Part("R_pull", "pull-down resistor", "resistor", ("after", GROUND), values.pull_r, "pull_r"),
            Part("R_stop", "build-out resistor", "resistor", ("after", OUTPUT), values.stop_r, "stop_r"),
        )


class NoCapacitor(Stage):
    """A follower straight into the jack: what is plugged in has to block its direct voltage."""

    key = "straight"
    title = "follower without output capacitor"
    controls = (
        c.GATE_R,
        Quantity("foot_r", "foot resistor", "stage", 3.9e3, "Under the source.", unit="ohm", low=10.0, high=1e6),
    )

    def parts(self, values: Values) -> tuple[Part, ...]:
        return (
            Part("R_G", "gate resistor", "resistor", (INPUT, GROUND), values.gate_r, "gate_r"),
            Part("Q1", "transistor", "jfet", (SUPPLY, INPUT, OUTPUT), t.model(values), "jfet"),
            Part("R_foot", "foot resistor", "resistor", (OUTPUT, GROUND), values.foot_r, "foot_r"),
        )


class Halves(Stage):
    """The same resistor in drain and source: as much signal at either, one upside down."""

    key = "halves"
    title = "equal halves"
    inverts = True
    controls = (
        c.GATE_R,
        Quantity("half_r", "both resistors", "stage", 2.7e3, "In drain and source.", unit="ohm", low=1.0, high=1e6),
        c.OUT_C,
        c.BLEED_R,
    )
    defaults = {"out_c": 1e-6}

    def parts(self, values: Values) -> tuple[Part, ...]:
        return (
            Part("R_G", "gate resistor", "resistor", (INPUT, GROUND), values.gate_r, "gate_r"),
            Part("Q1", "transistor", "jfet", ("drain", INPUT, "source"), t.model(values), "jfet"),
            Part("R_D", "drain resistor", "resistor", (SUPPLY, "drain"), values.half_r, "half_r"),
            Part("R_S", "source resistor", "resistor", ("source", GROUND), values.half_r, "half_r"),
            *t.output_coupling(values, "drain"),
        )


class Attenuator(Stage):
    """Two resistors and no supply."""

    key = "attenuator"
    title = "two resistors"
    powered = False
    controls = (
        Quantity("upper_r", "upper resistor", "stage", 1e6, "In the signal's way.", unit="ohm", low=1.0, high=1e8),
        Quantity("lower_r", "lower resistor", "stage", 1e6, "Across the output.", unit="ohm", low=1.0, high=1e8),
    )

    def parts(self, values: Values) -> tuple[Part, ...]:
        return (
            Part("R_upper", "upper resistor", "resistor", (INPUT, OUTPUT), values.upper_r, "upper_r"),
            Part("R_lower", "lower resistor", "resistor", (OUTPUT, GROUND), values.lower_r, "lower_r"),
        )


ALL = (SunkFollower, Tandem, OtherNames, NoCapacitor, Halves, Attenuator)
