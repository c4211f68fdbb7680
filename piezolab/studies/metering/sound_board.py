"""What a sound board reads at every place, by kind of reading: for whoever compares with it what was read.

The figures are those of `expected` and `clip_contacts`, which the build sheet prints; nothing is worked out anew, so
sheet and search cannot expect two things of one board.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from piezolab.chain import SignalChain
from piezolab.chain.assembly import GROUND
from piezolab.studies.build_options import NO_LED
from piezolab.studies.kept import kept
from piezolab.studies.led import led_if_lit
from piezolab.studies.metering.board_under_meter import CLIP, under_meter
from piezolab.studies.metering.clip_contacts import clip_ohms
from piezolab.studies.metering.expected import Expected, meter_ohms, meter_volts
from piezolab.studies.metering.instrument import Meter

_CLIP_BUILDS = 60  # the diode's spread is wider than the parts'


@kept(4)
def clip_readings(chain: SignalChain, schottky: bool, meter: Meter) -> tuple[Expected, Expected]:
    """Ohms at the clip's contacts, red on + and red on −, as `clip_ohms`. Raises ValueError with no stage."""
    return clip_ohms(under_meter(chain, schottky, _CLIP_BUILDS), meter)


@kept(4)
def sound_readings(
    chain: SignalChain, schottky: bool, meter: Meter, light: str = NO_LED
) -> Mapping[tuple[str, str], Expected]:
    """(kind, place) -> reading in V or ohm: "dc" and "ohm" at every lane to ground and at the clip, ohms at
    the far plug.

    Empty with no stage. schottky: whether a diode guards against reversal; light: colour of the LED, or none.
    """
    if not chain.topology.powered:
        return MappingProxyType({})
    board = under_meter(chain, schottky, led=led_if_lit(chain, light, schottky))
    found = {("dc", row.lane): row.expected for row in meter_volts(board, meter)}
    lanes = [(lane, GROUND) for lane in board.lanes if lane != GROUND]
    found |= {("ohm", row.red): row.expected for row in meter_ohms(board, meter, lanes)}
    far_plug = found["ohm", board.assembly.jack]  # the same place, through a cable of some hundredths of an ohm
    return MappingProxyType(
        {**found, ("ohm", "plug"): far_plug, ("ohm", CLIP): clip_readings(chain, schottky, meter)[0]}
    )
