"""The exponential sweep that measures a chain: as a sound to play, and at any stretched clock.

A. Farina 2000, Simultaneous measurement of impulse response and distortion with a swept-sine technique (108th
Convention of the Audio Engineering Society, preprint 5093; from memory): frequency rises by equal ratios in equal
times, so the k-th harmonic runs ln(k) times `rate_s` ahead of the fundamental and falls apart from it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from piezolab.audio import RATE, AudioError

#: The file to play, seconds: silence, in which hum and noise are measured; the sweep; a gap; the sweep again; an end.
QUIET_S, GAP_S, END_S = 8.0, 2.5, 2.0
#: The tone of the second file, for the meter: cheap meters read alternating voltage right near the mains frequency.
TONE_HZ, TONE_S = 110.0, 30.0
PEAK = 0.5  # of full scale, of sweep and tone


@dataclass(frozen=True)
class ExponentialSweep:
    """from_hz to to_hz (Hz) in `seconds`. Raises AudioError unless 0 < from_hz < to_hz < RATE/2 and seconds > 0.1."""

    from_hz: float = 5.0
    to_hz: float = 22e3
    seconds: float = 12.0

    def __post_init__(self) -> None:
        if not 0 < self.from_hz < self.to_hz < RATE / 2:
            raise AudioError(
                f"sweep: from {self.from_hz:g} to {self.to_hz:g} Hz; rising within 0 and {RATE / 2:g} Hz is allowed."
            )
        if not self.seconds > 0.1:
            raise AudioError(f"sweep: {self.seconds:g} s; more than 0.1 s is allowed.")

    @property
    def rate_s(self) -> float:
        """Seconds in which the frequency rises by a factor e."""
        return self.seconds / math.log(self.to_hz / self.from_hz)

    @property
    def apart_s(self) -> float:
        """From the beginning of one sweep of the file to that of the next."""
        return self.seconds + GAP_S

    def ahead_s(self, order: int) -> float:
        """How far the harmonic of an order runs ahead of the fundamental."""
        return self.rate_s * math.log(order)

    def samples(self, stretch: float = 1.0, late_s: float = 0.0) -> np.ndarray:
        """One sweep of peak 1, faded in over a twelfth of an octave at its low end and out likewise, at `RATE`.

        stretch: length against what was played, by a clock that runs faster; late_s: by how much it begins after the
        first sample, s, within one sample.
        """
        time = (np.arange(round(self.seconds * RATE * stretch)) / RATE - late_s) / stretch
        phase = 2 * np.pi * self.from_hz * self.rate_s * np.expm1(time / self.rate_s)
        fade = self.rate_s * math.log(2) / 6
        ends = np.clip(np.minimum(time, self.seconds - time) / fade, 0, 1)
        return np.sin(phase) * np.sin(0.5 * np.pi * ends) ** 2

    def played(self) -> np.ndarray:
        """The whole file: see `QUIET_S`; peak `PEAK`."""
        one = PEAK * self.samples()
        before, between, after = (np.zeros(round(seconds * RATE)) for seconds in (QUIET_S, GAP_S, END_S))
        return np.concatenate([before, one, between, one, after])


def tone() -> np.ndarray:
    """The tone of the second file: a sine of the sweep's level."""
    return PEAK * np.sin(2 * np.pi * TONE_HZ * np.arange(round(TONE_S * RATE)) / RATE)
