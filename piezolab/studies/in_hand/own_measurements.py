"""Measure what you have: pickup capacitance, playing level, an input's resistance, each with its uncertainty.

Closed forms. A pickup with a resistor R across it gives |H| = w R C/sqrt(1 + (w R C)^2) of its full level, C with the
lead's capacitance included.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from math import inf, log10, pi, sqrt


class MeasureError(ValueError):
    """Readings that cannot be; the message is one sentence with field, value and allowed range."""


@dataclass(frozen=True)
class Measured:
    """A value with the range in which it lies, SI units."""

    value: float
    low: float
    high: float


def capacitance_by_meter(reading: float, accuracy: float, digit: float, lead: float = 0.0) -> Measured:
    """Pickup capacitance from a meter's capacitance range, F: reading less the lead's own.

    accuracy: part of the reading; digit: what the meter's stated count of last places comes to, F. Raises MeasureError.
    """
    if not reading > lead:
        raise MeasureError(f"capacitance: {reading:g} F is out of range; allowed is more than the lead's {lead:g} F.")
    out = accuracy * reading + digit
    return Measured(reading - lead, max(reading - lead - out, 0.0), reading - lead + out)


def capacitance_by_levels(
    low_ohm: float, low_level_db: float, high_ohm: float, high_level_db: float, frequency: float,
    lead: float = 0.0, level_error_db: float = 0.5, ohm_tolerance: float = 0.01,
) -> Measured:  # fmt: skip
    """Pickup capacitance in F from two recordings of the same stroke with two known resistors across the pickup.

    low_ohm, high_ohm: each in parallel with the input's own resistance, low_ohm the smaller; levels in dB of the tone
    at `frequency` Hz; level_error_db: how far the difference of the levels may be out. From the ratio k of the squared
    levels: (w C)^2 = (R1^2 - k R2^2)/(R1^2 R2^2 (k - 1)). Raises MeasureError where no capacitance gives such levels.
    """
    if not 0 < low_ohm < high_ohm:
        raise MeasureError(f"resistors: {low_ohm:g} and {high_ohm:g} ohm cannot be used; allowed is the smaller first.")
    difference = low_level_db - high_level_db
    floor = 20 * log10(low_ohm / high_ohm)
    if not floor < difference < 0:
        raise MeasureError(
            f"levels: a difference of {difference:.1f} dB is out of range; allowed is {floor:.1f} to 0 dB for these "
            "resistors."
        )

    def capacitance(db: float, r1: float, r2: float) -> float:
        k = 10 ** (db / 10)
        top, bottom = r1**2 - k * r2**2, r1**2 * r2**2 * (k - 1)
        if k >= 1:
            return inf
        return sqrt(max(top / bottom, 0.0)) / (2 * pi * frequency)

    near = [
        capacitance(
            difference + s * level_error_db, low_ohm * (1 + t * ohm_tolerance), high_ohm * (1 + u * ohm_tolerance)
        )
        for s, t, u in product((-1, 1), repeat=3)
    ]
    value = capacitance(difference, low_ohm, high_ohm) - lead
    return Measured(value, max(min(near) - lead, 0.0), max(near) - lead)


def playing_level(
    peak_dbfs: float, full_scale_v: float, gain: float, full_scale_error_db: float = 1.0
) -> Measured:
    """Open-circuit peak of the playing in V, from a take's peak in dBFS and the interface's volts (peak) at full scale.

    gain: level at the input over open circuit, as a ratio at the note played (`studies.loading`). Raises MeasureError.
    """
    if peak_dbfs > 0:
        raise MeasureError(f"peak: {peak_dbfs:g} dBFS is out of range; allowed is up to 0 dBFS.")
    if not (full_scale_v > 0 and gain > 0):
        raise MeasureError(f"full scale: {full_scale_v:g} V cannot be used; allowed is more than 0 V.")
    volt = full_scale_v * 10 ** (peak_dbfs / 20) / gain
    out = 10 ** (full_scale_error_db / 20)
    return Measured(volt, volt / out, inf if peak_dbfs == 0 else volt * out)


def input_resistance(
    series_ohm: float, drop_db: float = 20 * log10(2), tolerance: float = 0.01, drop_error_db: float = 0.5
) -> Measured:
    """An input's resistance in ohm from a resistor in series that lowers the level by `drop_db` (6.02 dB: halves it).

    R_in = R_s/(10^(drop/20) - 1), with a source of low impedance, and at a frequency low enough for the input's
    capacitance not to matter. Raises MeasureError.
    """
    if not drop_db - drop_error_db > 0:
        raise MeasureError(f"drop: {drop_db:g} dB is out of range; allowed is more than {drop_error_db:g} dB.")

    def ohm(db: float) -> float:
        return series_ohm / (10 ** (db / 20) - 1)

    low, high = ohm(drop_db + drop_error_db), ohm(drop_db - drop_error_db)
    return Measured(ohm(drop_db), low * (1 - tolerance), high * (1 + tolerance))
