"""N-channel JFET types: what their sheets state, and the square-law parameters that follow.

All voltages are magnitudes; the sign of V_GS(off) is the circuit floor's business.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Any, ClassVar

from piezolab.catalogue.schema import Row, choice, number, text, words

PIN_NOTE = "pin order varies by maker: check the sheet that came with yours"


def square_law_intercept(v_sheet: Any, i_small: Any, i_dss: Any) -> Any:
    """Return the square-law intercept |V_GS(off)| in V of a sheet value stated at a small drain current.

    The square law I_D = I_DSS·(1 − V_GS/V_GS(off))² (Shockley 1952; Boylestad and Nashelsky) still carries
    ``i_small`` at ``v_sheet``, so the current would vanish only at v_sheet / (1 − √(i_small/i_dss)). Valid in
    saturation and well above the sub-threshold tail. Floats or broadcasting arrays.

    Args:
        v_sheet: |V_GS| in V at which the sheet states ``i_small``.
        i_small: drain current in A of that statement.
        i_dss: drain current in A of the same part at V_GS = 0.

    Raises:
        ValueError: ``i_small`` is not below ``i_dss`` or is negative: the statement is no cut-off.
    """
    good = (i_small < i_dss) & (i_small >= 0)
    if not (good if isinstance(good, bool) else good.all()):
        raise ValueError(
            f"small drain current: {i_small} A is not allowed; allowed: from 0 to less than I_DSS, {i_dss} A"
        )
    return v_sheet / (1 - (i_small / i_dss) ** 0.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class TransistorType(Row):
    """One JFET type. Units: A, V (magnitudes), F, S, 1/V, Hz, W; at 25 °C."""

    NAME_PATTERN: ClassVar[str] = r"[0-9A-Z]+(-[0-9A-Z]+)*"
    NAME_RULE: ClassVar[str] = "capital letters, digits and single hyphens"

    idss_min: float = number(1e-6, 0.2, "A")
    idss_typ: float | None = number(1e-6, 0.2, "A", optional=True)
    idss_max: float = number(1e-6, 0.2, "A")
    idss_vds: float = number(1, 40, "V")
    vgsoff_min: float = number(0.05, 15, "V")
    vgsoff_typ: float | None = number(0.05, 15, "V", optional=True)
    vgsoff_max: float = number(0.05, 15, "V")
    vgsoff_id: float = number(1e-12, 1e-3, "A")
    vgsoff_vds: float = number(1, 40, "V")
    ciss: float = number(0.1e-12, 200e-12, "F")
    crss: float = number(0, 100e-12, "F")
    igss: float = number(0, 1e-6, "A")
    gos: float | None = number(0, 1e-3, "S", optional=True)
    lambda_estimate: float | None = number(0, 0.2, "1/V", optional=True, key="lambda")
    noise_corner: float = number(0, 100e3, "Hz")
    vgs_max: float = number(5, 100, "V")
    vds_max: float = number(5, 100, "V")
    ig_max: float = number(1e-3, 0.1, "A")
    power_max: float = number(0.05, 2, "W")
    package: str = text()
    mounting: str = choice("leaded", "surface-mount")
    availability: str = choice("common", "scarce", "hard to find")
    pins_seen: tuple[str, ...] = words()

    def problems(self) -> list[tuple[str, Any, str]]:
        """Add the checks between fields: order of limits, one of gos and lambda."""
        found = Row.problems(self)
        for quantity, unit in (("idss", "A"), ("vgsoff", "V")):
            low, typ, high = (getattr(self, f"{quantity}_{end}") for end in ("min", "typ", "max"))
            if low > high:
                found.append((f"{quantity}_min", low, f"at most {quantity}_max, {high:g} {unit}"))
            if typ is not None and not low <= typ <= high:
                found.append(
                    (
                        f"{quantity}_typ",
                        typ,
                        f"from {quantity}_min to {quantity}_max, {low:g} to {high:g} {unit}",
                    )
                )
        if self.vgsoff_id >= self.idss_min:
            found.append(("vgsoff_id", self.vgsoff_id, f"less than idss_min, {self.idss_min:g} A"))
        if self.crss >= self.ciss:
            found.append(("crss", self.crss, f"less than ciss, {self.ciss:g} F"))
        if (self.gos is None) == (self.lambda_estimate is None):
            found.append(("lambda", self.lambda_estimate, "exactly one of gos and lambda"))
        if self.lambda_estimate is not None and "lambda" not in self.estimates:
            found.append(
                ("estimates", self.estimates, "a list with lambda in it, where lambda stands for gos")
            )
        return found

    @property
    def type_number(self) -> str:
        """What is printed on the part and asked for in a shop: the name, or that of the row that this one corrects."""
        return self.corrects or self.name

    @property
    def pin_note(self) -> str:
        """The warning that goes with ``pins_seen``."""
        return PIN_NOTE

    @property
    def idss_typical(self) -> float:
        """Typical I_DSS in A: the sheet's, else the geometric mean of its limits."""
        return sqrt(self.idss_min * self.idss_max) if self.idss_typ is None else self.idss_typ

    @property
    def vgsoff_typical(self) -> float:
        """Typical |V_GS| in V at ``vgsoff_id``: the sheet's, else the geometric mean of its limits."""
        return sqrt(self.vgsoff_min * self.vgsoff_max) if self.vgsoff_typ is None else self.vgsoff_typ

    # Each corner is converted with the I_DSS that belongs to it: within a type, a part that cuts off early
    # also carries little current. Low goes with low, high with high, typical with typical.

    @property
    def vgsoff_intercept_min(self) -> float:
        """Square-law intercept in V of the lowest sheet value, with the lowest I_DSS."""
        return square_law_intercept(self.vgsoff_min, self.vgsoff_id, self.idss_min)

    @property
    def vgsoff_intercept_typical(self) -> float:
        """Square-law intercept in V of the typical value, with the typical I_DSS."""
        return square_law_intercept(self.vgsoff_typical, self.vgsoff_id, self.idss_typical)

    @property
    def vgsoff_intercept_max(self) -> float:
        """Square-law intercept in V of the highest sheet value, with the highest I_DSS."""
        return square_law_intercept(self.vgsoff_max, self.vgsoff_id, self.idss_max)

    @property
    def lambda_(self) -> float:
        """Channel-length modulation λ in 1/V: g_os/I_DSS typical, both at V_GS = 0; else the estimate."""
        return self.lambda_estimate if self.gos is None else self.gos / self.idss_typical

    @property
    def lambda_is_estimate(self) -> bool:
        """Whether ``lambda_`` is a judgement because no sheet gives g_os at V_GS = 0."""
        return self.gos is None

    @property
    def cgs(self) -> float:
        """Gate-source capacitance in F, C_iss − C_rss."""
        return self.ciss - self.crss

    @property
    def cgd(self) -> float:
        """Gate-drain capacitance in F, C_rss."""
        return self.crss
