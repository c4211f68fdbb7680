"""The n-channel junction field-effect transistor: square law, two gate junctions, leakage, temperature.

Channel: H. Shichman and D. A. Hodges, "Modeling and simulation of insulated-gate field-effect transistor switching
circuits", IEEE J. Solid-State Circuits SC-3 (1968) 285-289, with the factor (1 + lambda*V_DS) in saturation and in the
triode region alike, so that current and slopes are continuous. Below zero V_DS drain and source exchange roles.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

BOLTZMANN = 1.380649e-23  # J/K, exact in the SI
ELEMENTARY_CHARGE = 1.602176634e-19  # C, exact in the SI
ZERO_CELSIUS = 273.15  # K
REFERENCE_C = 25.0  # degC at which data-sheet values are stated

JUNCTION_SATURATION_A = 10e-15  # typical of a small gate junction; from memory
_EXPONENT_CEILING = 200.0  # far above any current that a network of this size can deliver

Value = float | np.ndarray


@dataclass(frozen=True)
class JfetModel:
    """One transistor, or a batch of them, at its working temperature. All fields broadcast together.

    beta: A/V^2; v_off: V_GS(off), V, negative; lambda_: 1/V; leakage: reverse gate current I_GSS, A;
    cgs, cgd: F; corner_hz: frequency below which channel noise rises as 1/f, Hz; temp_c: degC.
    """

    beta: Value
    v_off: Value
    lambda_: Value = 0.0
    leakage: Value = 0.0
    cgs: Value = 0.0
    cgd: Value = 0.0
    corner_hz: Value = 0.0
    temp_c: Value = REFERENCE_C
    saturation_current: Value = JUNCTION_SATURATION_A

    @cached_property
    def thermal_voltage(self) -> Value:
        """kT/q in volt."""
        return BOLTZMANN * (np.asarray(self.temp_c) + ZERO_CELSIUS) / ELEMENTARY_CHARGE

    def take(self, index: np.ndarray, shape: tuple[int, ...]) -> JfetModel:
        """The members `index` of the flattened batch of the given shape."""
        fields = {}
        for name in self.__dataclass_fields__:
            value = np.asarray(getattr(self, name), dtype=float)
            if value.ndim:
                value = value if value.shape == shape else np.broadcast_to(value, shape)
                value = value.reshape(-1)[index]
            fields[name] = value
        return replace(self, **fields)

    def broken_through(self, v_gs: np.ndarray, v_gd: np.ndarray) -> tuple[np.ndarray, ...] | None:
        """What breaks through the gate backwards; None: nothing ever does (see `breakdown.BreakingJfet`)."""
        return None


def jfet_from_sheet(
    *,
    idss: Value,
    vgsoff: Value,
    lambda_: Value = 0.0,
    vds_test: Value = 0.0,
    ciss: Value = 0.0,
    crss: Value = 0.0,
    igss: Value = 0.0,
    corner_hz: Value = 0.0,
    temp_c: Value = REFERENCE_C,
) -> JfetModel:
    """A model from what a data sheet or a bench gives at 25 degC, moved to `temp_c`.

    idss: drain current in A at V_GS = 0 and V_DS = vds_test; vgsoff: square-law intercept in V, either sign;
    lambda_: 1/V; ciss, crss: F; igss: A. The model's own I_DSS is idss/(1 + lambda*vds_test).
    Temperature moves I_GSS (doubles each 10 K), beta (-0.6 %/K) and |V_GS(off)| (+2 mV/K); typical of
    small parts, common practice, no source; meant for -20 to 60 degC. Raises ValueError on a value without meaning.
    """
    idss, vgsoff = np.asarray(idss, float), -np.abs(np.asarray(vgsoff, float))
    if np.any(~(idss > 0)) or np.any(~(vgsoff < 0)):
        raise ValueError("a transistor needs I_DSS above 0 A and V_GS(off) other than 0 V")
    if np.any(np.asarray(ciss) < np.asarray(crss)):
        raise ValueError("C_iss must be at least C_rss, since C_iss = C_gs + C_gd")
    warmer = np.asarray(temp_c, float) - REFERENCE_C
    beta = idss / (1 + lambda_ * np.asarray(vds_test, float)) / vgsoff**2
    return JfetModel(
        beta=beta * (1 - 0.006 * warmer),
        v_off=vgsoff - 0.002 * warmer,
        lambda_=lambda_,
        leakage=np.asarray(igss, float) * 2.0 ** (warmer / 10),
        cgs=np.asarray(ciss, float) - np.asarray(crss, float),
        cgd=crss,
        corner_hz=corner_hz,
        temp_c=temp_c,
    )


def channel(model: JfetModel, v_gs: Value, v_ds: Value) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Channel current and its slopes: (i, di/dv_gs, di/dv_ds) in A, S, S; current counted drain to source.

    v_gs, v_ds in V, broadcasting with the model. Valid for either sign of v_ds.
    """
    v_gs, v_ds = np.asarray(v_gs, float), np.asarray(v_ds, float)
    reversed_ = v_ds < 0
    drive = v_gs - np.minimum(v_ds, 0.0) - model.v_off  # over the more negative end of the channel
    drive = np.maximum(drive, 0.0)
    across = np.abs(v_ds)
    within = np.minimum(across, drive)  # triode: V_DS; saturation: the overdrive
    stretch = 1 + model.lambda_ * across
    shape = within * (2 * drive - within)
    i = model.beta * shape * stretch
    slope_gate = model.beta * 2 * within * stretch
    slope_drain = model.beta * (2 * (drive - within) * stretch + model.lambda_ * shape)
    if not reversed_.any():
        return i, slope_gate, slope_drain
    sign = 1.0 - 2.0 * reversed_
    # with the ends exchanged: i = -f(v_gs - v_ds, -v_ds)
    return sign * i, sign * slope_gate, slope_drain + reversed_ * slope_gate


def gate_currents(
    model: JfetModel, v_gs: Value, v_ds: Value
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Gate junctions: (i_gs, g_gs, i_gd, g_gd), currents in A out of the gate to source and to drain, slopes in S.

    The reverse leakage flows through the drain junction, which carries the larger reverse voltage in every amplifier;
    near zero voltage it falls off as tanh(v/(2 V_T)), so that nothing flows without a voltage.
    """
    v_t = model.thermal_voltage
    v_gs = np.asarray(v_gs, float)
    v_gd = v_gs - np.asarray(v_ds, float)
    i_gs, g_gs = _junction(model.saturation_current, v_gs, v_t)
    i_gd, g_gd = _junction(model.saturation_current, v_gd, v_t)
    pinch = np.tanh(v_gd / (2 * v_t))
    i_gd = i_gd + model.leakage * pinch
    g_gd = g_gd + model.leakage * (1 - pinch**2) / (2 * v_t)
    more = model.broken_through(v_gs, v_gd)
    if more is not None:
        i_gs, g_gs, i_gd, g_gd = (one + other for one, other in zip((i_gs, g_gs, i_gd, g_gd), more, strict=True))
    return i_gs, g_gs, i_gd, g_gd


def _junction(i_s: Value, v: np.ndarray, v_t: Value) -> tuple[np.ndarray, np.ndarray]:
    x = v / v_t
    if not (x > _EXPONENT_CEILING).any():
        return i_s * np.expm1(x), i_s * np.exp(x) / v_t
    capped = np.minimum(x, _EXPONENT_CEILING)
    growth = np.exp(capped)
    # straight beyond the ceiling: keeps far-off Newton iterates finite and the slope right
    return i_s * (np.expm1(capped) + growth * (x - capped)), i_s * growth / v_t
