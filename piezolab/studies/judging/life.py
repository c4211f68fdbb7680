"""How long the battery serves, never longer than it keeps, and how many batteries the supply voltage stands for."""

from __future__ import annotations

from dataclasses import dataclass

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.studies.bias import bias_of
from piezolab.studies.fading_battery import CLIPPING, END_VOLTAGE, SATURATION, SHELF, BatteryLife, battery

SHORT = 0.95  # of a battery's printed voltage; less than this for each is no whole number of them


@dataclass(frozen=True)
class Life:
    """batteries: how many in series give the supply voltage, None where no whole number does; each_v: printed voltage
    of one; supply_v: of the chain; hours: of service to the earliest end, 0 where a fresh battery is not enough;
    ends_by: that end (see `fading_battery`), `shelf life` included; end_v: voltage of the battery then; empty_h,
    empty_by: until the battery is empty or has aged, whatever the stage makes of it. own_ohm: resistance of the
    batteries themselves near their end; own_v: what it takes then at the stage's current, V. No other figure counts it,
    since the supply voltage is that at the clip."""

    batteries: int | None
    each_v: float
    supply_v: float
    hours: float
    ends_by: str
    end_v: float
    empty_h: float
    empty_by: str
    own_ohm: float
    own_v: float


def life(chain: SignalChain) -> Life | None:
    """None for an adapter and with no stage."""
    found = battery(chain)
    if found is None:
        return None
    kind = catalogue.batteries()[chain.supply]
    own_ohm = kind.r_spent * found.in_series
    spent = chain.values.but(supply_v=kind.end_v * found.in_series)
    return Life(
        _whole(chain.supply_v, kind.nominal_v, kind.fresh_v, found),
        kind.nominal_v,
        chain.supply_v,
        found.life_h,
        found.ends_by,
        found.end_v,
        min(found.hours[END_VOLTAGE], found.hours[SHELF]),
        END_VOLTAGE if found.hours[END_VOLTAGE] <= found.hours[SHELF] else SHELF,
        own_ohm,
        float(bias_of(spent).supply_current) * own_ohm,
    )


def _whole(supply_v: float, nominal_v: float, fresh_v: float, found: BatteryLife) -> int | None:
    if found.in_series == 1.0:
        return 1
    count = round(found.in_series)
    return count if SHORT * count * nominal_v <= supply_v <= count * fresh_v + 1e-9 else None


__all__ = ["CLIPPING", "END_VOLTAGE", "SATURATION", "SHELF", "Life", "life"]
