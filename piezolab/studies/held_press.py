"""A disc that is pressed at once and held: how fast what it is plugged into drains it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.studies.kept import kept
from piezolab.studies.loading import bare_pickup

FROM_S, TO_S = 10e-6, 10.0
LEFT = float(np.exp(-1.0))  # of the start, after R C: 37 %
_POINTS = 241


@dataclass(frozen=True)
class HeldPress:
    """time_s: s, even in its logarithm, (T,); left: volts at the input over the disc's open-circuit volts, (T,);
    start: at once after the press, as a ratio; r_ohm: the disc's leakage beside what is plugged in; c_farad: the disc
    with lead, cable and input; tau_s: their product, after which 37 % of the start is left."""

    time_s: np.ndarray
    left: np.ndarray
    start: float
    r_ohm: float
    c_farad: float
    tau_s: float


@kept(4)
def held_press(chain: SignalChain) -> HeldPress | None:
    """The chain's bare pickup after an ideal sudden press that is held; None where its discs cancel.

    v(t) = C_p/(C_p + C) exp(-t/(R (C_p + C))), the answer of one pole to a step (any text on circuits). Without the
    disc's dielectric loss, which makes the decay a little slower at its end; a real press takes some milliseconds.
    """
    bare = bare_pickup(chain.values)
    if not float(bare.source) > 0:
        return None
    start = float(bare.full_level / bare.source)
    r, c = float(bare.r_total), float(bare.c_p + bare.c_load)
    time = np.geomspace(FROM_S, TO_S, _POINTS)
    return HeldPress(time, start * np.exp(-time / (r * c)), start, r, c, r * c)
