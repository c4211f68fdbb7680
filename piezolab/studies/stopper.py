"""What a resistor in series with the gate does: from where it turns high frequencies away, and what it costs in hiss.

What a transistor rectifies is the voltage between its gate and its source: the stopper and the capacitance that the
gate shows keep radio from there. How much radio a stage picks up and how loud it is once rectified depends on leads and
place: that is not computed here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.values import Values
from piezolab.circuit.small_signal import transfers_of_each
from piezolab.studies.hiss import noise_of
from piezolab.studies.linear import LinearChain, gain_of

SIZES_OHM = np.array([1e3, 4.7e3, 10e3])
RADIO_HZ = 100e6  # broadcast in the ultra-short waves, and about where telephones begin
_GRID = np.geomspace(2e3, 2e9, 241)  # Hz


@dataclass(frozen=True)
class Stoppers:
    """By size, all (S,).

    ohm; corner_hz: where the voltage from gate to source is 3 dB less than with none, nan where it is not below 2 GHz;
    radio_db: change of it at RADIO_HZ, dB; hiss_db: change of A-weighted noise over the signal, dB, positive is louder.
    """

    ohm: np.ndarray
    corner_hz: np.ndarray
    radio_db: np.ndarray
    hiss_db: np.ndarray


def stoppers(chain: SignalChain) -> Stoppers | None:
    """For the chain's stage, each size instead of the stopper that it has; None where no signal arrives or the stage
    has no place for one."""
    if not (chain.topology.powered and chain.topology.has("gate_stop")):
        return None
    none, with_one = chain.values.but(gate_stop=0.0), chain.values.but(gate_stop=SIZES_OHM)
    grid = np.append(_GRID, RADIO_HZ)
    plain = _gate_to_source(none, grid)
    quiet = noise_of(none)
    if not np.all(plain > 0) or not quiet.signal_v_rms > 0:
        return None
    change = 20 * np.log10(_gate_to_source(with_one, grid) / plain)
    corner = [_falls_to(row, -10 * np.log10(2)) for row in change[:, :-1]]
    hiss = quiet.snr_db_a - noise_of(with_one).snr_db_a
    return Stoppers(SIZES_OHM, np.array(corner), change[:, -1], hiss)


def _gate_to_source(values: Values, frequency: np.ndarray) -> np.ndarray:
    """Magnitude of v(gate, source) of the first transistor over the pickup's voltage."""
    linear = LinearChain.of(values)
    assembly = linear.assembly
    _, gate, source = next(part for part in assembly.parts if part.name == assembly.transistors[0]).nodes
    drives = [{name: 1.0} for name in assembly.drive]
    shares = transfers_of_each(linear.network, frequency, drives, [(gate, source)])
    return np.abs(gain_of(assembly.drive, {name: share[0] for name, share in zip(assembly.drive, shares, strict=True)}))


def _falls_to(db: np.ndarray, wanted: float) -> float:
    """The first frequency of the grid at which a curve falls to a value, straight in between; nan if it does not."""
    below = np.flatnonzero(db <= wanted)
    if not below.size or below[0] == 0:
        return float("nan")
    at = below[0]
    part = (wanted - db[at - 1]) / (db[at] - db[at - 1])
    return float(_GRID[at - 1] * (_GRID[at] / _GRID[at - 1]) ** part)
