"""How many steps there are to tick, from the bag of parts to the closed box."""

from __future__ import annotations

from collections.abc import Iterable

from piezolab.sheets.build_steps import boxing_steps, build_steps
from piezolab.sheets.meter_steps import first_power_steps, power_off_steps, transistor_steps
from piezolab.sheets.sheet_data import SheetData

#: Checks of a board without a stage, by beeper and meter, that stand with its steps of building.
PLAIN_CHECKS = 2


def step_counts(data: SheetData) -> dict[str, int]:
    """Steps by the first part of their names, as a browser keeps them. Raises CircuitError where the chain cannot be
    worked out."""
    building, boxing = len(build_steps(data)), len(boxing_steps(data))
    if not data.powered:
        return {"build": building + PLAIN_CHECKS, "boxing": boxing}
    return {
        "transistor": len(transistor_steps(data)),
        "build": building,
        "off": len(power_off_steps(data)),
        "first": len(first_power_steps(data)),
        "on": len(data.volts) + sum(row.resolved for row in data.tone),
        "boxing": boxing,
    }


def steps_done(names: Iterable[str], counts: dict[str, int]) -> int:
    """How many of the ticked steps this build has."""
    pairs = ((word, number) for word, _, number in (name.rpartition("-") for name in names))
    return sum(number.isdigit() and 1 <= int(number) <= counts.get(word, 0) for word, number in set(pairs))
