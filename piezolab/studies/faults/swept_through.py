"""What a sweep through a capacitor in the disc's place would say of builds: low corner, level, distortion.

The disc is unplugged: its dead element, cracks and wiring behind the lead are not in the way, and do not show.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Protocol

import numpy as np

from piezolab.studies.faults.fault_network import FaultNetwork
from piezolab.studies.faults.network_names import COLD, HOT, SLEEVE, SWEEP, Settings
from piezolab.studies.faults.transistors import Transistors

BASS_HZ = 21.0  # where a recorded sweep still tells the level; how far it fell there tells the corner
MIDDLE_HZ = 1000.0
_SENT = "sweep"
_STEP_V = 1e-3
_LEAST = 1e-12


class SolvedAt(Protocol):
    """Builds at one frequency: gain, |v(load)| per volt sent, (P,); volts and currents of the ports, complex, (P, 2K);
    out: at the load, of currents through the ports, (P, 1, 2K)."""

    gain: np.ndarray
    port_v: np.ndarray
    port_i: np.ndarray
    out: np.ndarray


def swept_network(network: FaultNetwork, settings: Settings, farad: float) -> tuple[FaultNetwork, Settings]:
    """The bench with the disc unplugged; one volt behind a capacitor (F) at its lead, screen to screen."""
    own = {
        f"{part.name}.{kind}"
        for part in network.fixed
        for kind in ("ohm", "farad", "henry", "volt")
        if part.where == "pickup"
    }
    wires = [wire for wire in network.wires if wire[1] not in own]
    wires += [
        ("volt", f"{_SENT}.volt", f"{_SENT} end", SLEEVE), ("farad", f"{_SENT}.farad", f"{_SENT} end", HOT),
        ("ohm", f"{_SENT}.screen", COLD, SLEEVE),
    ]  # fmt: skip
    found = {f"{_SENT}.volt": 0.0, f"{_SENT}.farad": farad, f"{_SENT}.screen": 0.02, f"{_SENT}.drive": 1.0}
    found["disc.output"] = 1.0
    return replace(network, wires=tuple(wires), sources=(_SENT,)), {**settings, **found}


def corner_of_drop(bass: np.ndarray, middle: np.ndarray) -> np.ndarray:
    """The corner of a first-order high-pass, Hz, that lets `bass` through at `BASS_HZ` and `middle` at `MIDDLE_HZ`
    (gains, any shape); 0 for no drop, and some ten times `MIDDLE_HZ` at most, where it is steeper than that."""
    ratio = (np.maximum(middle, _LEAST) / np.maximum(bass, _LEAST)) ** 2
    # |H|^2 = f^2/(f^2 + fc^2) at both frequencies
    return BASS_HZ * np.sqrt(np.maximum(ratio - 1, 0) / np.maximum(1 - ratio * (BASS_HZ / MIDDLE_HZ) ** 2, 1e-3))


def clipped_second(share: np.ndarray) -> np.ndarray:
    """Second harmonic over fundamental of a sine of peak 1 whose one half is cut off at `share`, any shape; 0 from 1.

    Fourier's integrals over the piece cut off: e(t) = cos t - c for |t| < acos c.
    """
    cut = np.clip(share, 0.0, 1.0)
    half = np.arccos(cut)
    first = (half / 2 + np.sin(2 * half) / 4 - cut * np.sin(half)) * 2 / np.pi
    second = (np.sin(half) / 2 + np.sin(3 * half) / 6 - cut * np.sin(2 * half) / 2) * 2 / np.pi
    return second / (1 - first)


def by_sweep(
    bass: SolvedAt, middle: SolvedAt, transistors: Transistors, rest: np.ndarray, peak_v: float
) -> dict[str, dict[str, np.ndarray]]:
    """Corner (Hz), level (dB) and distortion of builds at a sweep of so many volts peak, each (P,).

    Distortion is the second harmonic over the fundamental at `MIDDLE_HZ`: of the bent characteristic (the second-order
    current that a signal at the ports makes, sent through the same small-signal network: Wiener and Volterra's series,
    from memory) and of what clips, whichever is more.
    """
    gain = np.maximum(middle.gain, _LEAST)
    bend = np.zeros_like(gain)
    if middle.port_v.shape[1]:
        gate = middle.port_v[:, :1]
        along = (middle.port_v * np.conj(gate) / np.maximum(np.abs(gate), _LEAST)).real
        step = _STEP_V / np.maximum(np.abs(along).max(axis=1, keepdims=True), _LEAST)
        up, here, down = (transistors.currents(rest + n * step * along)[0] for n in (1, 0, -1))
        # of a sine's square half is at twice the frequency, and of a Taylor series' second term half counts
        current = (up - 2 * here + down) / step**2 * peak_v / 4
        bend = np.abs((middle.out @ current[:, :, None])[:, 0, 0]) / gain
        swing = transistors.swing(rest, middle.port_v * peak_v, middle.port_i * peak_v)
        bend = np.minimum(np.maximum(bend, clipped_second(1 / np.maximum(swing, 1e-3))), 1.0)
    corner = corner_of_drop(bass.gain, middle.gain)
    level = 20 * np.log10(gain)
    return {"corner": {SWEEP: corner}, "level": {SWEEP: level}, "bend": {SWEEP: bend}}
