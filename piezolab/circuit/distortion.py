"""Harmonics that a network adds to a sine, from its time domain."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from piezolab.circuit.elements import GROUND, Capacitor, CurrentSource, Inductor, VoltageSource
from piezolab.circuit.errors import CircuitError
from piezolab.circuit.network import Network, by_name
from piezolab.circuit.operating_point import OperatingPoint
from piezolab.circuit.small_signal import linearised, solve_driven
from piezolab.circuit.transient import stored_at, transient

Value = float | np.ndarray


@dataclass(frozen=True)
class Harmonics:
    """amplitude: V peak, the mean (0 Hz) first, then the fundamental and its multiples; shape batch + (count + 1,).

    time, waveform: the last period, s and V (batch + samples).
    """

    frequency: float
    amplitude: np.ndarray
    time: np.ndarray
    waveform: np.ndarray

    @property
    def thd(self) -> np.ndarray:
        """All harmonics above the fundamental together (root of the sum of squares), over the fundamental."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.sqrt(np.sum(self.amplitude[..., 2:] ** 2, axis=-1)) / self.amplitude[..., 1]


def harmonics(
    network: Network,
    point: OperatingPoint,
    drive: Mapping[str, Value] | str,
    amplitude: Value,
    output: str,
    reference: str = GROUND,
    *,
    frequency: float = 1000.0,
    periods: int = 20,
    samples: int = 256,
    count: int = 10,
) -> Harmonics:
    """Harmonics of v(output) - v(reference) in the last of `periods`, the drive a sine of `amplitude` (V or A peak).

    Starts as if the small-signal response had run for ever, so that only the bending itself has to settle; what takes
    longer than `periods` (a coupling capacitor's mean voltage shifting) is seen as it is then, not at its end.
    `amplitude` times each source's own amplitude in `drive` may have any batch shape. With 256 samples the second and
    third harmonic are good to 1 % of themselves or 2e-6 of the fundamental. Raises CircuitError on counts out of range,
    and what `transient` raises.
    """
    if not (periods >= 1 and samples >= 4 * count >= 8):
        raise CircuitError(f"harmonics need a period and four samples for each: {periods}, {samples} for {count}")
    time = np.arange(periods * samples + 1) / (samples * frequency)
    turn = 2 * np.pi * frequency * time
    waves, sizes = {}, {}
    for name, part in by_name(drive).items():
        source = network[name]
        sizes[name] = np.asarray(amplitude) * np.asarray(part)
        direct = source.volt if isinstance(source, VoltageSource) else getattr(source, "ampere", 0.0)
        waves[name] = np.asarray(direct)[..., None] + sizes[name][..., None] * np.sin(turn)
        if not isinstance(source, VoltageSource | CurrentSource):
            raise CircuitError(f"{name}: a {type(source).__name__} cannot drive a network; name a source")
    start = {name: np.asarray(value) for name, value in stored_at(network, point).items()}
    linear = linearised(network, point)
    found = solve_driven(linear, np.asarray(frequency), sizes)
    found[GROUND] = 0.0
    for element in linear:  # the sine passes upwards through 0 at time 0: what is stored then is the imaginary part
        if isinstance(element, Capacitor):
            start[element.name] = start[element.name] + np.imag(found[element.a] - found[element.b])
        elif isinstance(element, Inductor):
            start[element.name] = start[element.name] + np.imag(found[element.name])
    wave = transient(network, time, waves, start).voltage(output, reference)[..., -samples:]
    spectrum = np.abs(np.fft.rfft(wave, axis=-1))[..., : count + 1] / samples
    spectrum[..., 1:] *= 2
    return Harmonics(frequency, spectrum, time[-samples:], wave)
