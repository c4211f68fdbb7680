"""Defaults that depend on other choices: on the stage, the battery, a measured transistor."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from piezolab import catalogue
from piezolab.chain.parameters import COMMON, all_parameters
from piezolab.chain.stages import stage_named

MEASURED_VDS = 9.0  # V at which an I_DSS is taken to be measured when nothing else is said


def default_supply_v(supply: str) -> float:
    """Nominal voltage of a battery, V; 9 V for an adapter."""
    return 9.0 if supply == "adapter" else catalogue.batteries()[supply].nominal_v


def default(key: str, entered: Mapping[str, Any]) -> Any:
    """The default of a key, which may depend on the stage chosen. Raises KeyError on an unknown key."""
    parameter = all_parameters()[key]
    if key == "jfet":
        return catalogue.default_transistor()
    if key == "second":
        return entered.get("jfet", default("jfet", entered))
    if key == "second_vds" and "second_idss" in entered:
        return MEASURED_VDS
    if key == "clamp_part":
        return catalogue.default_clamp()
    if key == "supply":
        return catalogue.default_battery()
    if key == "supply_v":
        return default_supply_v(entered.get("supply", default("supply", entered)))
    if key == "jfet_vds" and "jfet_idss" in entered:
        return MEASURED_VDS
    if key not in COMMON:
        stage = stage_named(entered.get("stage", all_parameters()["stage"].default))
        return stage.defaults.get(key, parameter.default)
    return parameter.default
