"""Impedances at both ends of the chain."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.circuit.small_signal import impedance
from piezolab.studies.linear import LinearChain


@dataclass(frozen=True)
class Impedances:
    """At the frequency asked for (Hz), complex ohms.

    output: at the jack, pickup dead but connected, lead and bleed included, cable, pad and input removed;
    input: what the pickup sees, lead included, cable and input connected.
    """

    frequency: np.ndarray
    output: np.ndarray
    input: np.ndarray

    @property
    def input_resistance(self) -> np.ndarray:
        """1/Re Y in ohm: parallel resistance, which may be negative; inf where nothing conducts."""
        with np.errstate(divide="ignore"):
            return 1 / np.real(1 / self.input)

    @property
    def input_capacitance(self) -> np.ndarray:
        """Im Y/omega in farad: parallel capacitance."""
        return np.imag(1 / self.input) / (2 * np.pi * self.frequency)


def impedances(chain: SignalChain, frequency: np.ndarray | float = 1000.0) -> Impedances:
    """Output and input impedance of the chain at frequencies in Hz."""
    frequency = np.asarray(frequency, float)
    linear = LinearChain.of(chain.values)
    assembly = linear.assembly
    unloaded = linear.network.without(*assembly.names("cable", "input"))
    unplugged = linear.network.without(*assembly.names("pickup"))
    return Impedances(
        frequency,
        impedance(unloaded, frequency, assembly.jack),
        impedance(unplugged, frequency, "pickup"),
    )
