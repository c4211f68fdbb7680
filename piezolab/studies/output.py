"""Impedances at both ends of the chain, what is plugged into it, and the chain with nothing plugged in."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.assembly import GROUND, assemble
from piezolab.chain.parts import network
from piezolab.chain.values import Values
from piezolab.circuit.elements import CurrentSource
from piezolab.circuit.small_signal import impedance, transfers_of_each
from piezolab.studies.kept import kept
from piezolab.studies.linear import LinearChain, gain_of


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


@kept(4)
def impedances(chain: SignalChain, frequency: np.ndarray | float = 1000.0) -> Impedances:
    """Output and input impedance of the chain at frequencies in Hz."""
    frequency = np.array(frequency, float)
    linear = LinearChain.of(chain.values)
    unplugged = linear.network.without(*linear.assembly.names("pickup"))
    return Impedances(frequency, output_impedance(chain, frequency), impedance(unplugged, frequency, "pickup"))


@kept(4)
def output_impedance(chain: SignalChain, frequency: np.ndarray | float) -> np.ndarray:
    """Output impedance alone, complex ohms at frequencies in Hz; as in `Impedances`."""
    linear = LinearChain.of(chain.values)
    unloaded = linear.network.without(*linear.assembly.names("cable", "input"))
    return impedance(unloaded, frequency, linear.assembly.jack)


def free(values: Values) -> LinearChain:
    """The chain with nothing plugged in: no cable, no pad, no input; its gain is that to the jack."""
    whole = assemble(values)
    plugged = whole.names("cable", "input")
    parts = tuple(part for part in whole.parts if part.name not in plugged)
    return LinearChain(replace(whole, parts=parts, load=whole.jack))


@kept(4)
def at_the_jack(chain: SignalChain, frequency: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Gain with nothing plugged in, and output impedance in complex ohms, at frequencies in Hz, shape (F,).

    Both from one elimination, but for a stage that rests otherwise once something is plugged in.
    """
    alone, linear = free(chain.values), LinearChain.of(chain.values)
    unloaded, jack = linear.network.without(*linear.assembly.names("cable", "input")), linear.assembly.jack
    if alone.network != unloaded:
        return alone.gain(frequency), impedance(unloaded, frequency, jack)
    drive = alone.assembly.drive
    probed = unloaded.plus(CurrentSource("probe", GROUND, jack))
    *each, (ohm,) = transfers_of_each(probed, frequency, [*drive, "probe"], [(jack, GROUND)])
    return gain_of(drive, {name: gain for name, (gain,) in zip(drive, each, strict=True)}), ohm


@kept(4)
def load_impedance(chain: SignalChain, frequency: np.ndarray | float) -> np.ndarray:
    """What is plugged into the jack, cable, pad and input together: complex ohms at frequencies in Hz."""
    whole = LinearChain.of(chain.values).assembly
    return impedance(network(whole.where("cable", "input")), np.asarray(frequency, float), whole.jack)


@dataclass(frozen=True)
class OutputCorner:
    """The high-pass of the output capacitor with what it works into.

    capacitor: F; stage_ohm, load_ohm: resistance on its two sides (bleed resistor and input are the load side);
    corner_hz: 1/(2 pi C (stage_ohm + load_ohm)).
    """

    capacitor: float
    stage_ohm: float
    load_ohm: float

    @property
    def corner_hz(self) -> float:
        """Where it has taken 3 dB."""
        return 1 / (2 * np.pi * self.capacitor * (self.stage_ohm + self.load_ohm))


def output_corner(chain: SignalChain) -> OutputCorner | None:
    """Corner of the output capacitor with the real load; None where no output capacitor is.

    Both sides are taken as resistances, at the corner itself: capacitances beside them matter far above it only.
    """
    linear = LinearChain.of(chain.values)
    if not linear.assembly.coupling:
        return None
    part = linear.assembly.coupling[0]
    apart, (inner, outer) = linear.network.without(part.name), part.nodes
    found, frequency = OutputCorner(float(part.value), 0.0, 0.0), 10.0
    for _ in range(4):  # a bypass capacitor makes the stage's side depend on frequency a little
        sides = [float(np.real(impedance(apart, frequency, node))) if node in apart.nodes else 0.0
                 for node in (inner, outer)]  # fmt: skip
        found = OutputCorner(float(part.value), *sides)
        frequency = found.corner_hz
    return found
