"""Why no transistor gives two readings: one sentence with field, value and what is allowed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from piezolab.chain import Problem
from piezolab.chain.parameters import all_parameters
from piezolab.quantity import show
from piezolab.studies.in_hand.source_voltages import Accuracy, Readings, square_law

_LABELS = {
    "r1": ("first source resistor", "ohm"),
    "v1": ("first reading", "V"),
    "r2": ("second source resistor", "ohm"),
    "v2": ("second reading", "V"),
    "supply_v": ("supply of the jig", "V"),
    "drain_r": ("drain resistor of the jig", "ohm"),
    "meter_r": ("meter's resistance", "ohm"),
    "temp_c": ("temperature of the bench", "degC"),
}
_LIMITS = {
    "r1": (1.0, 10e6),
    "r2": (1.0, 10e6),
    "v1": (1e-3, 30.0),
    "v2": (1e-3, 30.0),
    "supply_v": (1.0, 30.0),
    "drain_r": (0.0, 100e3),
    "meter_r": (100e3, 100e9),
    "temp_c": (-20.0, 60.0),
}


def _problem(key: str, value: float, why: str, allowed: str) -> Problem:
    label, unit = _LABELS[key]
    return Problem(key, f"{label}: {show(value, unit)!r} {why}; allowed is {allowed}.")


def out_of_range(readings: Readings) -> list[Problem]:
    """Fields that no bench would have."""
    found = []
    for key, (low, high) in _LIMITS.items():
        value, unit = getattr(readings, key), _LABELS[key][1]
        alone = key == "r2" and value == np.inf
        if not alone and not (np.isfinite(value) and low <= value <= high):
            allowed = f"{show(low, unit, 1)} to {show(high, unit, 2)}"
            allowed += ", or none: the meter alone" if key == "r2" else ""
            found.append(_problem(key, value, "is out of range", allowed))
    return found


def impossible(readings: Readings, accuracy: Accuracy, lambda_: float) -> list[Problem]:
    """Why no transistor gives these readings: the first reason, the plainest first."""
    v1, v2 = float(readings.v1), float(readings.v2)
    i1, i2 = (float(i) for i in readings.currents)
    supply = float(readings.supply_v)
    if readings.r1 == readings.r2:
        return [_problem("r2", readings.r2, "is as large as the first", "a resistor of another value")]
    for key, v, i in (("v1", v1, i1), ("v2", v2, i2)):
        drain = supply - i * float(readings.drain_r)
        if v >= supply:
            return [_problem(key, v, "is not below the supply", f"less than {show(supply, 'V')}")]
        if v >= drain:
            why = "asks for so much current that the drain resistor would need more than the supply"
            most = supply / (1 + float(readings.drain_r) * i / v)
            return [_problem(key, v, why, f"less than {show(most, 'V')}")]
    between = f"{show(v1, 'V', 4)} to {show(_highest_second(readings, lambda_), 'V', 4)}"
    if v1 - accuracy.digit_v <= v2 <= v1:
        why = "is the first reading again to within the meter's last digit, so that the two cannot tell"
        return [_problem("v2", v2, why, f"{between}: use resistors that differ more, the first one smaller")]
    if v2 <= v1:
        why = "is not above the first, but the larger resistor always shows the higher voltage"
        return [_problem("v2", v2, why, between)]
    if i2 >= i1:
        return [_problem("v2", v2, "would be more current than with the smaller resistor", between)]
    if np.isnan(square_law(readings, lambda_)[1]):
        why = "with the first makes the transistor a plain resistance, so that the two cannot tell"
        return [_problem("v2", v2, why, f"{between}, or a higher supply for both")]
    return []


def _highest_second(readings: Readings, lambda_: float) -> float:
    """The voltage that the second reading must stay below, V: found by halving, since only lower ones are possible."""
    low, high = float(readings.v1), float(readings.supply_v)
    for _ in range(50):
        middle = 0.5 * (low + high)
        possible = np.isfinite(square_law(replace(readings, v2=middle), lambda_)[1])
        low, high = (middle, high) if possible else (low, middle)
    return low


def not_small(idss: float, vgsoff: float, readings: Readings) -> list[Problem]:
    """Results that no small transistor has: then a reading, a resistor or the wiring is wrong."""
    problems = []
    shown = f"{show(readings.v1, 'V')} and {show(readings.v2, 'V')}"
    for key, value in (("jfet_idss", idss), ("jfet_vgsoff", vgsoff)):
        parameter = all_parameters()[key]
        if not parameter.low <= abs(value) <= parameter.high:
            why = f"the readings {shown} would mean {parameter.show(value)!r}"
            advice = "check resistors, wiring and decimal points"
            problems.append(Problem(key, f"{parameter.label}: {why}; allowed is {parameter.allowed}: {advice}."))
    return problems
