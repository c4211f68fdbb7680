"""What recordings of an instrument say about its chain: levels, hum and noise of a take, and two kinds of takes against
what the chain predicts. Levels are against the recorder's full scale: nothing here knows volts.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Estimate:
    """A figure with the ends of its 95 % interval, in the figure's own unit."""

    value: float
    low: float
    high: float

    @property
    def half(self) -> float:
        """Half the interval's width."""
        return (self.high - self.low) / 2
