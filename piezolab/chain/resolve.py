"""From what was entered to numbers: what type, battery and input kind supply, and what contradicts what."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from piezolab import catalogue
from piezolab.chain.defaults import default
from piezolab.chain.parameter import bound
from piezolab.chain.parameters import all_parameters
from piezolab.chain.problems import Problem
from piezolab.chain.values import Values

Look = Callable[[str], Any]
TRANSISTOR_KEYS = (
    "jfet_idss", "jfet_vds", "jfet_vgsoff", "jfet_lambda", "jfet_ciss", "jfet_crss", "jfet_ig", "jfet_corner",
)  # fmt: skip
_INPUT_KEYS = ("input_r", "input_c", "input_max", "input_noise")


def resolved(look: Look) -> Values:
    """All values of a chain, in SI units; words stay words. `look` gives what a key was entered as, or its default.

    Two inputs in parallel count as one load: resistances in parallel, capacitances added, the lower ceiling, and the
    noise of the first named, to which one listens.
    """
    values = {key: look(key) for key in all_parameters() if key != "v"}
    values |= _transistor(look) | _second(look)
    kinds = [catalogue.inputs()[kind] for kind in values["input"]]
    load = {
        "input_r": 1 / sum(1 / kind.r for kind in kinds),
        "input_c": sum(kind.c for kind in kinds),
        "input_max": min(kind.max_v_peak for kind in kinds),
        "input_noise": kinds[0].noise,
    }
    for key in _INPUT_KEYS:
        if values[key] is None:
            values[key] = load[key]
    return Values(values)


def _transistor(look: Look) -> dict[str, float]:
    kind = catalogue.transistors()[look("jfet")]
    lambda_ = kind.lambda_ if look("jfet_lambda") is None else look("jfet_lambda")
    vds = kind.idss_vds if look("jfet_vds") is None else look("jfet_vds")
    typical = {
        # what the typical part would show at the voltage of the reading
        "jfet_idss": kind.idss_typical * (1 + lambda_ * vds) / (1 + lambda_ * kind.idss_vds),
        "jfet_vds": vds,
        "jfet_vgsoff": -kind.vgsoff_intercept_typical,
        "jfet_lambda": lambda_,
        "jfet_ciss": kind.ciss,
        "jfet_crss": kind.crss,
        "jfet_ig": kind.igss,
        "jfet_corner": kind.noise_corner,
    }
    return {key: value if look(key) is None else look(key) for key, value in typical.items()}


def _second(look: Look) -> dict[str, float]:
    kind = catalogue.transistors()[look("second")]
    vds = kind.idss_vds if look("second_vds") is None else look("second_vds")
    typical = {
        "second_idss": kind.idss_typical * (1 + kind.lambda_ * vds) / (1 + kind.lambda_ * kind.idss_vds),
        "second_vds": vds,
        "second_vgsoff": -kind.vgsoff_intercept_typical,
    }
    return {key: value if look(key) is None else look(key) for key, value in typical.items()}


def with_types(values: Values, names: Sequence[str]) -> Values:
    """The values with the typical part of each type in the transistor's place, nothing measured: arrays (N,)."""
    typical = [_transistor({"jfet": name}.get) for name in names]
    return values.but(**{key: np.array([each[key] for each in typical]) for key in TRANSISTOR_KEYS})


def contradictions(entered: Mapping[str, Any]) -> list[Problem]:
    """Pairs of values, each allowed alone, that cannot stand together. The key named is the one to drop."""
    found = []
    table = all_parameters()

    def value(key: str) -> Any:
        return entered.get(key, default(key, entered))

    if len(value("input")) > 1:
        for key in _INPUT_KEYS:
            if key in entered:
                shown = table[key].show(entered[key])
                found.append(
                    Problem(
                        key,
                        f"{table[key].named}: {shown!r} was entered with two inputs; allowed is an entered value "
                        "with one input only.",
                    )
                )
    if value("clamp") == "rails" and catalogue.clamps()[value("clamp_part")].way != "forward":
        key = "clamp_part" if "clamp_part" in entered else "clamp"
        forward = ", ".join(name for name, row in catalogue.clamps().items() if row.way == "forward")
        allowed = "a pair to ground, or rails of " if key == "clamp" else "for rails "
        said = f"{table[key].show(value(key))!r} does not fit, since rails take diodes that conduct forwards"
        found.append(Problem(key, f"{table[key].named}: {said}; allowed is {allowed}{forward}."))
    if "jfet_ciss" in entered or "jfet_crss" in entered:
        kind = catalogue.transistors()[value("jfet")]
        ciss = entered.get("jfet_ciss", kind.ciss)
        crss = entered.get("jfet_crss", kind.crss)
        if ciss < crss:
            key = "jfet_crss" if "jfet_crss" in entered else "jfet_ciss"
            low, high = (0.0, ciss) if key == "jfet_crss" else (crss, table[key].high)
            found.append(
                Problem(
                    key,
                    f"{table[key].named}: {table[key].show(entered[key])!r} does not fit, since C_iss contains C_rss; "
                    f"allowed is {bound(low, 'F')} to {bound(high, 'F')}.",
                )
            )
    return found
