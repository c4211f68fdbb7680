"""One string's swing in time: what the disc makes of it, and what is left at the input."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.studies.response import response

SWINGS = 1.5
_POINTS = 241


@dataclass(frozen=True)
class OneSwing:
    """A pure tone, begun long since. time_s: s, (T,); disc, arrives: over the peak of the pickup's open voltage, (T,);
    share: the peak of what arrives over that of the disc; early_s: how much sooner it swings, s, within half a period;
    negative where it comes later."""

    frequency_hz: float
    time_s: np.ndarray
    disc: np.ndarray
    arrives: np.ndarray
    share: float
    early_s: float


def one_swing(chain: SignalChain, frequency_hz: float) -> OneSwing:
    """One and a half swings of a tone through the chain as it is, at rest long since.

    From the chain's response at that frequency, so that it equals the mark on a Bode plot: |H| sin(2 pi f t + arg H).
    Raises CircuitError where the chain has no operating point.
    """
    h = complex(response(chain, np.array([frequency_hz])).gain[0])
    time = np.linspace(0.0, SWINGS / frequency_hz, _POINTS)
    angle = 2 * np.pi * frequency_hz * time
    arrives = abs(h) * np.sin(angle + np.angle(h))
    return OneSwing(
        frequency_hz, time, np.sin(angle), arrives, abs(h), float(np.angle(h) / (2 * np.pi * frequency_hz))
    )
