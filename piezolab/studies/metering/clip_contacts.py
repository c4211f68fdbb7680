"""What an ohmmeter shows at the contacts of the battery's clip, the battery off: the diode, and what lies behind it."""

from __future__ import annotations

import numpy as np

from piezolab.chain.assembly import GROUND
from piezolab.circuit.elements import Jfet, Resistor
from piezolab.circuit.jfet import JfetModel
from piezolab.studies.metering.board_under_meter import (
    CLIP,
    CONTACT_OHM,
    DIODE,
    INSULATION_OHM,
    SCHOTTKY_SATURATION_A,
    BoardUnderMeter,
    with_design,
)
from piezolab.studies.metering.expected import Expected, ohms_between
from piezolab.studies.metering.instrument import Meter


def clip_ohms(built: BoardUnderMeter, meter: Meter) -> tuple[Expected, Expected]:
    """Ohms at the clip's contacts with the switch on: red on +, and red on -."""
    if built.schottky:
        # the diode as a gate junction without a channel, so that it conducts and blocks as one
        junction = JfetModel(beta=1e-15, v_off=-1.0, saturation_current=SCHOTTKY_SATURATION_A / 2)
        way: Jfet | Resistor = Jfet(DIODE, built.plus, CLIP, built.plus, junction)
    else:
        way = Resistor(DIODE, CLIP, built.plus, CONTACT_OHM)
    more = (way, Resistor("insulation of clip", CLIP, GROUND, INSULATION_OHM))
    found = []
    for red, black in ((CLIP, GROUND), (GROUND, CLIP)):
        ohms = ohms_between(with_design(built).plus(*more), red, black, meter)
        many = ohms[..., :-1]
        low, high = float(np.min(many)), float(np.max(many))
        typical = float(np.median(ohms[..., -1]))
        found.append(Expected(*(float("inf") if ohm > meter.ohm_max else ohm for ohm in (low, typical, high))))
    return found[0], found[1]
