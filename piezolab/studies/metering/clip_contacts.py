"""What an ohmmeter shows at the contacts of the battery's clip, the battery off: the diode, and what lies behind it."""

from __future__ import annotations

import numpy as np

from piezolab.chain.assembly import GROUND
from piezolab.circuit.elements import Element, Jfet, Resistor
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
from piezolab.studies.metering.expected import Expected, ohms_at, ohms_expected
from piezolab.studies.metering.instrument import Meter

# least, usual and most of the law's current, in terms of the usual one; common practice, no source
FORWARD = (0.5, 1.0, 2.0)
# likewise of what leaks backwards, which is more than the law says: the leaks of `first_power`
BACKWARD = (1.0, 10.0, 100.0)


def clip_ohms(built: BoardUnderMeter, meter: Meter) -> tuple[Expected, Expected]:
    """Ohms at the clip's contacts with the switch on, over the diode's spread: red on +, and red on -."""
    found, alone = [], len(built.network.jfets) < 2  # the diode hangs on its meter, not on a gate's resistor
    for pair, factors in (((CLIP, GROUND), FORWARD), ((GROUND, CLIP), BACKWARD)):
        more = (_way_in(built, factors), Resistor("insulation of clip", CLIP, GROUND, INSULATION_OHM))
        (ohms,) = ohms_at(with_design(built).plus(*more), [pair], meter, alone or None)
        ohms = np.broadcast_to(ohms, (len(factors), ohms.shape[-1]))
        found.append(ohms_expected(ohms[:, :-1], float(ohms[1, -1]), meter))
    return found[0], found[1]


def _way_in(built: BoardUnderMeter, factors: tuple[float, ...]) -> Element:
    """From the clip to the board: the diode as a gate junction without a channel, or the bare wire."""
    if not built.schottky:
        return Resistor(DIODE, CLIP, built.plus, CONTACT_OHM)
    saturation = SCHOTTKY_SATURATION_A / 2 * np.array(factors)[:, None]
    return Jfet(
        DIODE, built.plus, CLIP, built.plus, JfetModel(beta=1e-15, v_off=-1.0, saturation_current=saturation)
    )
