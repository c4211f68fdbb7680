"""What the bare takes say about the pickup: its capacitance, where what it was plugged into is known."""

from __future__ import annotations

import math
from dataclasses import dataclass

from piezolab.chain import SignalChain
from piezolab.chain.parameters import all_parameters
from piezolab.studies.loading import bare_pickup
from piezolab.studies.recordings import Estimate
from piezolab.studies.recordings.against_prediction import Compared


@dataclass(frozen=True)
class PickupFit:
    """product_s: resistance times all capacitance at the bare pickup, s, which alone the takes tell; r_ohm: what the
    chain says of the resistance; pickup_c: of one disc, F, that follows with it; None where it is beyond what a chain
    takes."""

    product_s: Estimate
    r_ohm: float
    pickup_c: Estimate | None


def pickup_fit(now: Compared, chain: SignalChain) -> PickupFit | None:
    """From the corner f_c = 1/(2 pi R (C_p + C)) of the bare takes; None where no corner was seen, or none is."""
    bare = bare_pickup(chain.values)
    corner = now.fit.corner
    if not now.corner_seen or not corner.low > 0 or not float(bare.c_p) > 0:
        return None
    product = Estimate(*(1 / (2 * math.pi * hz) for hz in (corner.value, corner.high, corner.low)))
    r, c_p, c_load = float(bare.r_total), float(bare.c_p), float(bare.c_load)
    one = float(chain.values.pickup_c)
    value, low, high = (one * (seconds / r - c_load) / c_p for seconds in (product.value, product.low, product.high))
    parameter = all_parameters()["pickup_c"]
    fits = parameter.low <= value <= parameter.high
    return PickupFit(product, r, Estimate(value, max(low, 0.0), high) if fits else None)
