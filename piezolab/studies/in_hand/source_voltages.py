"""The transistor in hand from two source voltages: one reading with a small source resistor, one with a larger one.

The jig: gate to ground, drain to the supply (through `drain_r` if there is one), a source resistor to ground, the meter
across it. Each reading is one point of the square law of Shichman and Hodges (1968, see `circuit.jfet`), so two
readings give beta and V_GS(off) for a known lambda, in closed form, in saturation and in the triode region:

    saturation  I = beta (u - V)^2 (1 + lambda D)            u = |V_GS(off)|, V: reading = -V_GS, D = V_DS
    triode      I = beta D (2 (u - V) - D) (1 + lambda D)    where D < u - V

Good readings carry 10 uA or more: below that a real channel no longer follows the square law. The readings are
converted from the temperature of the bench to 25 degC, where a chain states its transistor.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.circuit.jfet import JUNCTION_SATURATION_A, JfetModel, Value

METER_OHM = 10e6  # input resistance of nearly every digital voltmeter; common practice, no source
LAMBDA_RANGE = (0.0, 0.05)  # 1/V: what small parts have; common practice, no source


@dataclass(frozen=True)
class Readings:
    """Two readings: v1 and v2 in V across r1 and r2 in ohm, r1 < r2 (r2 = inf: the meter alone). Arrays broadcast.

    supply_v: V with the jig running; drain_r: ohm; meter_r: the meter's own resistance, in parallel with the source
    resistor, ohm; temp_c: of the bench, degC.
    """

    r1: Value
    v1: Value
    r2: Value
    v2: Value
    supply_v: Value
    drain_r: Value = 0.0
    meter_r: Value = METER_OHM
    temp_c: Value = 25.0

    @property
    def currents(self) -> tuple[np.ndarray, np.ndarray]:
        """Channel currents in A: through resistor and meter, and the little that the reversed gate junction takes."""
        parallel = [1 / np.asarray(r, float) + 1 / np.asarray(self.meter_r, float) for r in (self.r1, self.r2)]
        v_t = JfetModel(1.0, -1.0, temp_c=self.temp_c).thermal_voltage
        return tuple(
            np.asarray(v, float) * g - JUNCTION_SATURATION_A * np.expm1(-np.maximum(v, 0.0) / v_t)
            for v, g in zip((self.v1, self.v2), parallel, strict=True)
        )


@dataclass(frozen=True)
class Accuracy:
    """How far readings may be off. digit_v: the last digit that the meter shows, V (off by up to half of it);
    supply_digit_v: of the supply's voltage, V, None: the same; meter_percent: of each reading, on top;
    resistor_percent: tolerance of all resistors; lambda_range: 1/V."""

    digit_v: float = 0.01
    meter_percent: float = 0.0
    resistor_percent: float = 1.0
    lambda_range: tuple[float, float] = LAMBDA_RANGE
    supply_digit_v: float | None = None


def square_law(readings: Readings, lambda_: Value) -> tuple[np.ndarray, np.ndarray]:
    """beta in A/V^2 and |V_GS(off)| in V at the bench's temperature, for lambda in 1/V; exact for exact readings.

    nan where no square-law channel gives such readings.
    """
    v1, v2 = np.asarray(readings.v1, float), np.asarray(readings.v2, float)
    i1, i2 = readings.currents
    p1, p2 = (readings.supply_v - i * readings.drain_r for i in (i1, i2))  # drain to ground
    d1, d2 = p1 - v1, p2 - v2
    with np.errstate(all="ignore"):
        q1, q2 = i1 / (1 + lambda_ * d1), i2 / (1 + lambda_ * d2)
        g1, g2 = q1 / d1, q2 / d2
        # both saturated: sqrt(q) = sqrt(beta) (u - V) is a straight line through the two points
        k1, k2 = np.sqrt(q1), np.sqrt(q2)
        u = (v2 * k1 - v1 * k2) / (k1 - k2)
        # both triode: g = beta (2 u - V - drain) is one too
        c1, c2 = v1 + p1, v2 + p2
        u_triode = 0.5 * (c2 * g1 - c1 * g2) / (g1 - g2)
        # the first triode, the second saturated: g1 (u - V2)^2 = q2 (2 u - c1)
        u_mixed = v2 + (q2 + np.sqrt(q2 * (q2 + g1 * (2 * v2 - c1)))) / g1
        u = np.where(u <= p1, u, np.where(u_triode > p2, u_triode, u_mixed))
        beta = q2 / np.where(u > p2, d2 * (2 * u - c2), (u - v2) ** 2)
        possible = (v1 > 0) & (v2 > v1) & (d1 > 0) & (d2 > 0) & (g1 > g2) & (u > v2)
    return np.where(possible, beta, np.nan), np.where(possible, u, np.nan)
