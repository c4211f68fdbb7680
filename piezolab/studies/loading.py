"""What the bare pickup loses into lead, cable and input when no stage stands between.

The dielectric loss is left out here, so that the closed form holds; it moves these levels by less than 0.1 dB,
and the response has it. Two discs count as one of their joint capacitance, a pad as the resistance that it and the
input show together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.assembly import pickup_capacitance
from piezolab.chain.values import Values
from piezolab.circuit.jfet import Value
from piezolab.pitch import parse_tuning
from piezolab.quantity import decibels
from piezolab.studies.kept import kept


@dataclass(frozen=True)
class BarePickup:
    """The bare pickup as one capacitance behind a voltage, loaded by one resistance and one capacitance.

    source: open-circuit voltage per volt of one disc; c_p: F; r_p: ohm; c_load: lead, cable and input, F;
    r_load: ohm. All may be arrays of builds.
    """

    source: Value
    c_p: Value
    r_p: Value
    c_load: Value
    r_load: Value

    @property
    def r_total(self) -> Value:
        """Leakage and load in parallel, ohm."""
        return 1 / (1 / np.asarray(self.r_p) + 1 / np.asarray(self.r_load))[()]

    @property
    def full_level(self) -> Value:
        """|H| far above the corner: source * C_p/(C_p + C_load), the capacitive divider."""
        return self.source * self.c_p / (self.c_p + self.c_load)

    @property
    def corner_hz(self) -> Value:
        """1/(2 pi R_T (C_p + C_load)): there the level is 3 dB under the full level."""
        return 1 / (2 * np.pi * self.r_total * (self.c_p + self.c_load))

    def gain(self, frequency: Value) -> Value:
        """H = j w R_T C_p/(1 + j w R_T (C_p + C_load)) times source, complex; frequency in Hz."""
        x = 2j * np.pi * np.asarray(frequency) * self.r_total
        return self.source * x * self.c_p / (1 + x * (self.c_p + self.c_load))

    def least_load_ohm(self, frequency: Value, loss_db: float) -> Value:
        """Least load resistance that keeps `frequency` within loss_db of the full level; nan where the pickup's own
        leakage already loses more."""
        ratio = 10 ** (-loss_db / 20)
        # |x|/sqrt(1 + x^2) = ratio with x = f/f_c
        least_total = ratio / np.sqrt(1 - ratio**2) / (2 * np.pi * np.asarray(frequency) * (self.c_p + self.c_load))
        with np.errstate(divide="ignore"):
            conductance = 1 / least_total - 1 / np.asarray(self.r_p)
            return np.where(conductance > 0, 1 / conductance, np.nan)[()]


@dataclass(frozen=True)
class Loading:
    """Levels as ratios, frequencies in Hz, resistances in ohm (nan where the pickup's leakage forbids it).

    full_level: far above the corner, over open circuit of one disc; low_note_gain: the lowest string, likewise.
    """

    bare: BarePickup
    corner_hz: float
    full_level: float
    low_note_hz: float
    low_note_gain: float
    min_input_ohm_1db: float
    min_input_ohm_3db: float

    @property
    def plateau_db(self) -> float:
        """Full level in dB re open circuit."""
        return decibels(self.full_level)

    @property
    def low_note_re_open_db(self) -> float:
        """The lowest string against open circuit, dB."""
        return decibels(self.low_note_gain)

    @property
    def low_note_re_plateau_db(self) -> float:
        """The lowest string against the full level, dB; 20 lg of |x|/sqrt(1 + x^2), x = f/f_corner."""
        x = self.low_note_hz / self.corner_hz
        return decibels(x / np.hypot(1.0, x))


def bare_pickup(values: Values) -> BarePickup:
    """The bare pickup of a chain's values into its lead, output cable, pad and input, whatever its stage.

    The input's capacitance behind a pad is divided down with the pad and left out here.
    """
    c_p, r_p, source = pickup_capacitance(values), values.pickup_r, 1.0
    if values.discs.startswith("2p"):
        c_p, r_p, source = 2 * c_p, r_p / 2, 0.0 if values.discs.endswith("x") else 1.0
    elif values.discs.startswith("2s"):
        c_p, r_p, source = c_p / 2, 2 * r_p, 0.0 if values.discs.endswith("x") else 2.0
    c_load = values.lead_m * values.lead_c + values.cable_m * values.cable_c
    r_load, pad = values.input_r, 1.0
    if values.pad is not None:
        series, shunt = values.pad
        foot = 1 / (1 / shunt + 1 / r_load)
        r_load, pad = series + foot, foot / (series + foot)
    else:
        c_load = c_load + values.input_c
    return BarePickup(source * pad, c_p, r_p, c_load, r_load)


@kept(4)
def loading(chain: SignalChain) -> Loading:
    """What the bare pickup loses in this chain, whatever its stage."""
    bare = bare_pickup(chain.values)
    note = min(note.frequency_hz for note in parse_tuning(chain.tuning))
    return Loading(
        bare,
        float(bare.corner_hz),
        float(bare.full_level),
        note,
        float(np.abs(bare.gain(note))),
        _behind_pad(chain.values, float(bare.least_load_ohm(note, 1.0))),
        _behind_pad(chain.values, float(bare.least_load_ohm(note, 3.0))),
    )


def _behind_pad(values: Values, r_load: float) -> float:
    """The input resistance in ohm with which pad and input load the pickup with r_load: 0 where the pad's series
    resistor is enough alone, nan where its shunt forbids it."""
    if values.pad is None:
        return r_load
    series, shunt = values.pad
    if r_load <= series:
        return 0.0
    conductance = 1 / (r_load - series) - 1 / shunt
    return 1 / conductance if conductance > 0 else math.nan
