"""What an ohmmeter shows at the contacts of the battery's clip, the battery off: the diode, and what lies behind it.

The diode's part of it hangs on the current, so it is the meter that sets it: a tenth of a volt more of test voltage
takes a third off, and one range higher, where many a hand leaves the meter, shows several times as much. Both count as
healthy.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from piezolab.chain.assembly import GROUND
from piezolab.circuit.elements import Element, Jfet, Resistor
from piezolab.circuit.jfet import JfetModel
from piezolab.studies.build_options import OPTIONS
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
# of the stated test voltages: meters of one type differ, and nobody measures them; common practice, no source
TEST_SPREAD = 0.2


def clip_ohms(built: BoardUnderMeter, meter: Meter) -> tuple[Expected, Expected]:
    """Ohms at the clip's contacts with the switch on: red on +, and red on -.

    Over the diode's spread and that of the meter's test voltages, on the lowest range that shows a number or the next
    above it; typical: on the lowest, with everything as stated.
    """
    found, alone = [], len(built.network.channels) < 2  # the diode hangs on its meter, not on a gate's resistor
    meters = [_testing(meter, 1 + part) for part in (0.0, -TEST_SPREAD, TEST_SPREAD)] if built.schottky else [meter]
    for pair, factors in (((CLIP, GROUND), FORWARD), ((GROUND, CLIP), BACKWARD)):
        more = (_way_in(built, factors), Resistor("insulation of clip", CLIP, GROUND, INSULATION_OHM))
        whole = with_design(built).plus(*more)
        every = []
        for each in meters:
            for above in (0, 1):
                (ohms,) = ohms_at(whole, [pair], each, alone or None, above)
                every.append(np.broadcast_to(ohms, (len(factors), ohms.shape[-1])))
        rows = np.concatenate(every)  # the stated meter's lowest range first
        found.append(ohms_expected(rows[:, :-1], float(rows[1, -1]), meter))
    return found[0], found[1]


def _testing(meter: Meter, factor: float) -> Meter:
    """The meter with other test voltages behind the resistors it has, no further than what a meter may be."""
    test_v, low_v, low_a = (
        min(max(getattr(meter, key) * factor, OPTIONS[key].low), OPTIONS[key].high)
        for key in ("test_v", "low_v", "low_a")
    )
    return replace(meter, test_v=test_v, low_v=low_v, low_a=low_a)


def _way_in(built: BoardUnderMeter, factors: tuple[float, ...]) -> Element:
    """From the clip to the board: the diode as a gate junction without a channel, or the bare wire."""
    if not built.schottky:
        return Resistor(DIODE, CLIP, built.plus, CONTACT_OHM)
    saturation = SCHOTTKY_SATURATION_A / 2 * np.array(factors)[:, None]
    return Jfet(
        DIODE, built.plus, CLIP, built.plus, JfetModel(beta=1e-15, v_off=-1.0, saturation_current=saturation)
    )
