"""Clamps: diodes between a gate and what it must not leave far behind, as one element with a bent line.

Each side follows a junction's exponential law into a straight line, its bulk resistance; below lies the leakage, which
vanishes with the voltage. The capacitance is that without voltage, and constant.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from piezolab.circuit.jfet import ELEMENTARY_CHARGE, JfetModel, Value

NEVER_V = 1e6  # a bend that no voltage reaches
_NO_JUNCTION_A = 1e-300  # of the transistor that stands behind the equations, which must not conduct


@dataclass(frozen=True)
class ClampModel(JfetModel):
    """A clamp at its working temperature. All fields broadcast together.

    up_v, down_v: where the line bends on either side, V, magnitudes; knee_v: volts in which the current grows e-fold;
    slope_s: conductance far beyond, S; leak_a: what leaks below, A; junctions: in series, of which each has its share
    of the voltage. The capacitance is `cgs`, F.
    """

    beta: Value = 0.0
    v_off: Value = -1e-9
    saturation_current: Value = _NO_JUNCTION_A
    up_v: Value = NEVER_V
    down_v: Value = NEVER_V
    knee_v: Value = 0.05
    slope_s: Value = 0.1
    leak_a: Value = 0.0
    junctions: Value = 1.0

    def over_time(self) -> ClampModel:
        """The same with one axis more behind, for arrays over time."""
        return ClampModel(**{f.name: np.asarray(getattr(self, f.name), float)[..., None] for f in fields(self)})

    def broken_through(self, v_gs: np.ndarray, v_gd: np.ndarray) -> tuple[np.ndarray, ...]:
        """The clamp's whole current, as that of the junction between its two nodes."""
        i, g = clamp_current(self, v_gs)
        return i, g, np.zeros_like(i), np.zeros_like(g)


def clamp_current(model: ClampModel, v: Value) -> tuple[np.ndarray, np.ndarray]:
    """Current from the first node to the second, A, and its slope, S, at v across them, V."""
    v = np.asarray(v, float)
    spread = 2 * model.junctions * model.thermal_voltage
    pinch = np.tanh(np.clip(v / spread, -400.0, 400.0))
    i, g = model.leak_a * pinch, model.leak_a * (1 - pinch**2) / spread
    for sign, bend in ((1.0, model.up_v), (-1.0, model.down_v)):
        soft = np.logaddexp(0.0, (sign * v - bend) / model.knee_v)
        i = i + sign * model.slope_s * model.knee_v * (soft - np.logaddexp(0.0, -bend / model.knee_v))
        g = g - model.slope_s * np.expm1(-soft)
    return i, g


def holding_v(model: ClampModel, ampere: float) -> tuple[np.ndarray, np.ndarray]:
    """Voltages at which the bent line carries a current (A), the first node up and down, V, magnitudes."""
    more = model.knee_v * np.log(np.expm1(ampere / (model.slope_s * model.knee_v)))
    return model.up_v + more, model.down_v + more


def clamp_noise(model: ClampModel, v: Value) -> np.ndarray:
    """Noise of the clamp's current, A^2/Hz, at v across it: 2q I coth(q v/(2 m kT))/m, m junctions in series.

    Shot noise 2q|I| where a current flows one way, shared by m junctions, and the Johnson noise of the slope without
    voltage: what a junction whose two streams stand in the ratio exp(qv/kT) must have (A. van der Ziel, "Noise in
    Solid State Devices and Circuits", 1986, chapter on shot noise, from memory).
    """
    i, g = clamp_current(model, v)
    spread = 2 * model.junctions * model.thermal_voltage
    x = np.asarray(v, float) / spread
    small = np.abs(x) < 1e-6
    through = np.where(small, g * spread, i / np.tanh(np.where(small, 1.0, x)))
    return 2 * ELEMENTARY_CHARGE * through / model.junctions


def bend_v(at_v: Value, at_a: float, knee_v: Value, slope_s: Value) -> np.ndarray:
    """Where the line must bend for the current at_a (A) to flow at at_v (V)."""
    return at_v - knee_v * np.log(np.expm1(at_a / (slope_s * knee_v)))
