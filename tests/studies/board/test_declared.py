"""Whatever a stage declares finds its place: a pair of transistors and a clamp at the gate, of which the package knows
nothing."""

from __future__ import annotations

import pytest

from piezolab.chain import SignalChain
from piezolab.chain.parts import GROUND, Part
from piezolab.chain.stages import Stage
from piezolab.chain.stages import common_parts as t
from piezolab.chain.stages import shared_controls as c
from piezolab.chain.stages.stage import INPUT, SUPPLY
from piezolab.chain.values import Values
from piezolab.sheets.layout_svg import layout_svg
from piezolab.studies.board.layout import METHODS, Options, layout
from tests.chain.own_stages import SunkFollower, Tandem, known
from tests.studies.board.inspector import faults_of


class ClampedPair(Stage):
    """A gain stage into a follower; a third transistor, as a diode, keeps the gate from rising."""

    key = "clamped"
    title = "pair with a clamped gate"
    inverts = True
    controls = (c.GATE_R, c.SOURCE_R, c.DRAIN_R, c.OUT_C, c.BLEED_R)
    defaults = {"source_r": 1.5e3, "drain_r": 3.3e3}

    def parts(self, values: Values) -> tuple[Part, ...]:
        jfet = t.model(values)
        return (
            Part("R_G", "gate resistor", "resistor", (INPUT, GROUND), values.gate_r, "gate_r"),
            Part("Q1", "transistor", "jfet", ("drain", INPUT, "source"), jfet, "jfet"),
            Part("Q3", "clamp", "jfet", (GROUND, INPUT, GROUND), jfet, "jfet"),
            Part("R_D", "drain resistor", "resistor", (SUPPLY, "drain"), values.drain_r, "drain_r"),
            Part("R_S", "source resistor", "resistor", ("source", GROUND), values.source_r, "source_r"),
            Part("Q2", "second transistor", "jfet", (SUPPLY, "drain", "second"), jfet, "jfet"),
            Part("R_2", "second source resistor", "resistor", ("second", GROUND), 10e3),
            *t.output_coupling(values, "second"),
        )


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("stage", [ClampedPair, Tandem, SunkFollower])
def test_declared_parts_find_their_place(stage: type[Stage], method: str) -> None:
    with known(stage):
        chain = SignalChain(stage=stage.key)
        for pins in ("D G S", "D S G"):
            found = layout(chain, Options(method=method, pins=pins))
            assert faults_of(layout_svg(found), chain, method, pins) == []
            assert sum(part.shape == "half-round" for part in found.parts) == (3 if stage is ClampedPair else 2)
            assert len([crossing for crossing in found.crossings if crossing.node != found.guard]) <= 1
