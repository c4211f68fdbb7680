"""A chain made linear at its operating point: what every small-signal study starts from."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from piezolab.chain.assembly import Assembly, assemble
from piezolab.chain.values import Values
from piezolab.circuit.network import Network
from piezolab.circuit.operating_point import JfetPoint, OperatingPoint, operating_point
from piezolab.circuit.small_signal import linearised, transfer


@dataclass(frozen=True)
class LinearChain:
    """An assembly with its operating point and its linear network; computed when asked for, once."""

    assembly: Assembly

    @classmethod
    def of(cls, values: Values) -> LinearChain:
        """From resolved values, numbers or arrays of builds."""
        return cls(assemble(values))

    @cached_property
    def point(self) -> OperatingPoint:
        """Operating point of the whole network."""
        return operating_point(self.assembly.network)

    @cached_property
    def network(self) -> Network:
        """Small-signal equivalent."""
        return linearised(self.assembly.network, self.point)

    @property
    def transistor(self) -> JfetPoint | None:
        """The stage's transistor at rest, the first one where it has several; None with no stage."""
        names = self.assembly.transistors
        return self.point.jfets[names[0]] if names else None

    @property
    def saturated(self) -> np.ndarray:
        """Whether every transistor is in saturation at rest."""
        return np.all([q.region == "saturation" for q in self.point.jfets.values()], axis=0)

    @property
    def gate_conducts(self) -> np.ndarray:
        """Whether any transistor's gate conducts at rest."""
        return np.any([q.gate_conducts for q in self.point.jfets.values()], axis=0)

    def gain(self, frequency: np.ndarray | float) -> np.ndarray:
        """v(load)/v(open circuit of one disc), complex, shape batch + frequency (Hz).

        Discs wired opposed cancel what both feel alike: their gain is 0 but for their inequality.
        """
        network, drive, load = self.network, self.assembly.drive, self.assembly.load
        if all(np.all(np.asarray(amplitude) >= 0) for amplitude in drive.values()):
            return transfer(network, frequency, drive, load)
        shares = [transfer(network, frequency, {name: amplitude}, load) for name, amplitude in drive.items()]
        total = sum(shares)
        # what rounding leaves of their difference is no signal: up to 1e-7 of them around a resonance
        return np.where(np.abs(total) <= 1e-6 * sum(map(np.abs, shares)) + 1e-18, 0.0, total)
