"""No stage: the pickup's lead ends at the jack."""

from __future__ import annotations

from piezolab.chain.parts import Part
from piezolab.chain.stages.stage import INPUT, Stage
from piezolab.chain.values import Values


class Direct(Stage):
    """The bare pickup into the cable."""

    key = "direct"
    title = "no stage"
    powered = False
    output = INPUT

    def parts(self, values: Values) -> tuple[Part, ...]:
        return ()
