"""Capacitance of a piezo element from its geometry: the parallel-plate capacitor, fringing neglected.

Source: any physics text (e.g. Purcell, Electricity and Magnetism, ch. 3). Valid for elements thin against
their width: the field around the rim runs in air and adds well under 1 %, far less than real ceramics spread.
"""

from __future__ import annotations

from math import pi
from typing import Any

import numpy as np

VACUUM_PERMITTIVITY = 8.8541878188e-12  # F/m, CODATA 2022


def plate_capacitance(area_m2: Any, thickness_m: Any, permittivity: Any) -> Any:
    """Return ε0·εr·A/t in F: electrode area in m², thickness in m, relative permittivity; arrays broadcast.

    Raises:
        ValueError: a value is not above zero and finite.
    """
    for field, value, unit in (
        ("electrode size", area_m2, "m²"),
        ("thickness", thickness_m, "m"),
        ("permittivity", permittivity, ""),
    ):
        if not np.all((np.asarray(value) > 0) & np.isfinite(value)):
            raise ValueError(
                f"{field}: {value} {unit}".rstrip() + " is not allowed; allowed: above 0, finite"
            )
    return VACUUM_PERMITTIVITY * permittivity * area_m2 / thickness_m


def disc_capacitance(diameter_m: Any, thickness_m: Any, permittivity: Any) -> Any:
    """Return ε0·εr·(π·d²/4)/t in F for a disc with an electrode ``diameter_m`` wide; arrays broadcast.

    The diameter is the silver electrode's, not the brass plate's; the thickness is the ceramic's alone.

    Raises:
        ValueError: a value is not above zero and finite.
    """
    if not np.all((np.asarray(diameter_m) > 0) & np.isfinite(diameter_m)):
        raise ValueError(f"electrode diameter: {diameter_m} m is not allowed; allowed: above 0, finite")
    return plate_capacitance(pi * diameter_m**2 / 4, thickness_m, permittivity)


def strip_capacitance(length_m: Any, width_m: Any, thickness_m: Any, permittivity: Any) -> Any:
    """Return the capacitance in F of a strip ``length_m`` by ``width_m``: ε0·εr·l·w/t; arrays broadcast.

    Raises:
        ValueError: a value is not above zero and finite.
    """
    for field, value in (("electrode length", length_m), ("electrode width", width_m)):
        if not np.all((np.asarray(value) > 0) & np.isfinite(value)):
            raise ValueError(f"{field}: {value} m is not allowed; allowed: above 0, finite")
    return plate_capacitance(length_m * width_m, thickness_m, permittivity)
