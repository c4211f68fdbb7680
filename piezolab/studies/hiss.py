"""Hiss: noise at the input's terminals, who makes it, and what would lower it.

All contributors come from one adjoint solution per frequency (circuit.noise). The signal that it is compared
with is a sine of 1 kHz with open-circuit peak `play_v`, at which weighting A is 0 dB.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.resolve import with_types
from piezolab.chain.values import Values
from piezolab.circuit.noise import noise as circuit_noise
from piezolab.circuit.weighting import band_grid, band_power
from piezolab.studies.kept import kept
from piezolab.studies.linear import LinearChain, gain_of

SIGNAL_HZ = 1000.0
INPUT = "input"  # the contributor that is the input's own noise


@dataclass(frozen=True)
class Noise:
    """Noise at the load's terminals; arrays of builds have their axes first.

    frequency: Hz, (F,), evenly spaced in logarithm from 20 Hz to 20 kHz; density: V^2/Hz by contributor, (...,
    F), named as the parts, with `Q1 channel`, `Q1 gate` and `input`; gain: |H| on the grid; signal_v_rms: of
    the reference sine there.
    """

    frequency: np.ndarray
    density: Mapping[str, np.ndarray]
    gain: np.ndarray
    signal_v_rms: np.ndarray

    @property
    def total(self) -> np.ndarray:
        """All contributors together, V^2/Hz, shape (..., F)."""
        return sum(self.density.values(), np.zeros_like(self.gain))

    @property
    def at_pickup(self) -> np.ndarray:
        """Total referred to the pickup's open-circuit voltage, V^2/Hz; inf where nothing comes through."""
        with np.errstate(divide="ignore"):
            return self.total / self.gain**2

    @property
    def third_octave_v_rms(self) -> np.ndarray:
        """Rms in the third of an octave about each frequency, taking the density as level across it, V, (..., F)."""
        return np.sqrt(self.total * self.frequency * (2 ** (1 / 6) - 2 ** (-1 / 6)))

    @property
    def output_v_rms(self) -> np.ndarray:
        """20 Hz to 20 kHz, unweighted, V."""
        return np.sqrt(band_power(self.frequency, self.total))

    @property
    def output_v_rms_a(self) -> np.ndarray:
        """20 Hz to 20 kHz, weighted A, V."""
        return np.sqrt(band_power(self.frequency, self.total, a_weighted=True))

    @property
    def shares(self) -> dict[str, np.ndarray]:
        """Part of the A-weighted power that each contributor makes, largest first; they add up to 1."""
        powers = {name: band_power(self.frequency, density, a_weighted=True) for name, density in self.density.items()}
        whole = sum(powers.values())
        order = sorted(powers, key=lambda name: -float(np.mean(powers[name])))
        return {name: powers[name] / whole for name in order}

    @property
    def snr_db_a(self) -> np.ndarray:
        """Signal over A-weighted noise, dB; -inf with no signal."""
        with np.errstate(divide="ignore"):
            return 20 * np.log10(self.signal_v_rms / self.output_v_rms_a)


def noise_of(values: Values, frequency: np.ndarray | None = None) -> Noise:
    """Noise of resolved values, arrays of builds allowed; default grid for integrals 20 Hz to 20 kHz."""
    linear = LinearChain.of(values)
    assembly = linear.assembly
    grid = band_grid(_points(values)) if frequency is None else np.asarray(frequency, float)
    found = circuit_noise(
        assembly.network, linear.point, grid, assembly.load, temp_c=values.temp_c, sources=assembly.drive
    )
    density = dict(found.density)
    own = np.asarray(values.input_noise, float)[..., None] ** 2
    density[INPUT] = np.broadcast_to(own, np.broadcast_shapes(own.shape, found.total.shape))
    signal = np.abs(linear.gain(SIGNAL_HZ)) * values.play_v / np.sqrt(2)
    return Noise(grid, MappingProxyType(density), np.abs(gain_of(assembly.drive, found.transfer)), signal)


@kept(4)
def noise(chain: SignalChain, frequency: np.ndarray | None = None) -> Noise:
    """Noise of the chain with its typical or measured transistor."""
    return noise_of(chain.values, frequency)


def _points(values: Values) -> int:
    """A free disc's resonance of quality Q needs a finer grid (see band_power)."""
    return 401 if values.resonance is None else int(min(max(401, 60 * np.max(values.resonance[1])), 20001))


@dataclass(frozen=True)
class Bought:
    """What one change would buy: A-weighted noise against the signal, dB (negative is quieter)."""

    change: str
    noise_db: float


@kept(4)
def quieter_transistors(chain: SignalChain) -> tuple[Bought, ...]:
    """Change of noise over signal with each other type of the catalogue in its place, the quietest first.

    A measured transistor's values are set aside for the comparison: a type stands for its typical part.
    """
    if not chain.topology.powered:
        return ()
    names = tuple(catalogue.offered(catalogue.transistors()))
    with np.errstate(invalid="ignore"):  # with no signal there is nothing to compare with
        change = noise(chain).snr_db_a - noise_of(with_types(chain.values, names)).snr_db_a
    rows = [Bought(name, float(db)) for name, db in zip(names, change, strict=True)]
    return tuple(sorted(rows, key=lambda row: row.noise_db))


@dataclass(frozen=True)
class GateSweep:
    """gate_r: ohm, (N,); snr_db_a: with the chain's disc and with a lossless one, dB, (N,)."""

    gate_r: np.ndarray
    snr_db_a: np.ndarray
    lossless_snr_db_a: np.ndarray


def gate_resistor_sweep(chain: SignalChain, points: int = 25) -> GateSweep:
    """What a larger gate resistor does for the hiss, and how little once the disc's own loss rules."""
    gate_r = np.geomspace(100e3, 1e9, points)
    values = chain.values.but(gate_r=gate_r)
    return GateSweep(gate_r, noise_of(values).snr_db_a, noise_of(values.but(pickup_loss=0.0)).snr_db_a)
