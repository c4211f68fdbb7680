"""What was measured on the bench, related to a chain: pickup capacitance, playing level, resistance of an input.

The closed forms are in `meter_own`; here the chain says what hung across the pickup while it was measured.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.assembly import pickup_capacitance
from piezolab.studies.in_hand.own_measurements import (
    Measured,
    MeasureError,
    capacitance_by_levels,
    capacitance_by_meter,
    playing_level,
)
from piezolab.studies.levels import levels
from piezolab.studies.linear import LinearChain
from piezolab.studies.loading import bare_pickup, loading

#: What can be measured here, by link key.
KEYS = ("pickup_c", "play_v", "input_r")
_DIGITS = 4  # of what goes into the chain


@dataclass(frozen=True)
class Ends:
    """A figure in dB at the low end, the value and the high end of what was measured."""

    low: float
    value: float
    high: float

    @property
    def apart(self) -> float:
        """How far the ends are apart, dB."""
        return abs(self.high - self.low)


def pickup_by_meter(
    chain: SignalChain, reading: float, accuracy: float, digit: float, through_lead: bool = True
) -> Measured:
    """Capacitance of one disc in F from a meter's capacitance range across the chain's discs.

    reading, digit: F; accuracy: part of the reading; through_lead: whether the chain's lead was measured along, so that
    its capacitance is taken off. Raises MeasureError.
    """
    values = chain.values
    lead = float(values.lead_m * values.lead_c) if through_lead else 0.0
    return _of_one_disc(chain, capacitance_by_meter(reading, accuracy, digit, lead))


def pickup_by_recordings(
    chain: SignalChain,
    one: tuple[float, float],
    other: tuple[float, float],
    frequency: float,
    level_error_db: float = 0.5,
    ohm_tolerance: float = 0.01,
) -> Measured:
    """Capacitance of one disc in F from two recordings with two resistors across the bare pickup.

    one, other: resistor in ohm and level in dB of the tone at `frequency` Hz, either first; the pickup goes through the
    chain's lead and cable straight into its input, whatever the stage. The dielectric loss is left out: at a tangent of
    0.02 it moves the difference of the levels by less than 0.2 dB. Raises MeasureError.
    """
    bare = bare_pickup(chain.values)
    (low_ohm, low_db), (high_ohm, high_db) = sorted((one, other))
    beside = 1 / float(bare.r_total)
    found = capacitance_by_levels(
        1 / (1 / low_ohm + beside),
        low_db,
        1 / (1 / high_ohm + beside),
        high_db,
        frequency,
        float(bare.c_load),
        level_error_db,
        ohm_tolerance,
    )
    if not found.value > 0:
        raise MeasureError(
            f"levels: they give {found.value + float(bare.c_load):.3g} F with the lead and cable, which alone have "
            f"{float(bare.c_load):.3g} F; allowed is more than that."
        )
    return _of_one_disc(chain, found)


def playing_by_take(
    chain: SignalChain, peak_dbfs: float, full_scale_v: float, frequency: float, staged: bool,
    full_scale_error_db: float = 1.0,
) -> Measured:  # fmt: skip
    """Open-circuit peak of one disc in V from a take's peak (dBFS) and the interface's peak volts at full scale.

    staged: the take was made through the chain as it is, else with the bare pickup through lead and cable into the
    chain's input; frequency: of the note played, Hz. Raises MeasureError.
    """
    values = chain.values
    gain = LinearChain.of(values).gain(frequency) if staged else bare_pickup(values).gain(frequency)
    size = float(np.abs(np.asarray(gain)))
    if not size > 1e-6:
        raise MeasureError("take: this chain passes next to nothing of that note; allowed is a chain that passes it.")
    return playing_level(peak_dbfs, full_scale_v, size, full_scale_error_db)


def put_in(chain: SignalChain, key: str, found: Measured) -> SignalChain:
    """The chain with what was measured, to four figures. Raises ChainError where it cannot hold it, KeyError on
    anything but `KEYS`."""
    if key not in KEYS:
        raise KeyError(f"{key!r} is not measured here")
    return chain.but({key: float(f"{found.value:.{_DIGITS}g}")})


def consequence(chain: SignalChain, key: str, found: Measured) -> Ends:
    """What the uncertainty means to the ear, dB: for the playing level the room before clipping, else the lowest
    string of the bare pickup against its full level. An end that is infinite counts as the value."""

    def figure(value: float) -> float:
        if not math.isfinite(value) or value <= 0:
            value = found.value
        there = put_in(chain, key, Measured(value, value, value))
        if key == "play_v":
            return float(levels(there).input_headroom_db)
        return float(loading(there).low_note_re_plateau_db)

    return Ends(figure(found.low), figure(found.value), figure(found.high))


def _of_one_disc(chain: SignalChain, found: Measured) -> Measured:
    """One disc at 25 degC from what the chain's discs have together at its temperature."""
    values = chain.values
    share = {"2p": 0.5, "2s": 2.0}.get(chain.discs[:2], 1.0)
    share *= float(values.pickup_c) / float(pickup_capacitance(values))
    return Measured(found.value * share, found.low * share, found.high * share)


__all__ = [
    "KEYS", "Ends", "MeasureError", "Measured", "consequence", "pickup_by_meter", "pickup_by_recordings",
    "playing_by_take", "put_in",
]  # fmt: skip
