"""Plucked strings and thumb-piano tines by adding their partials, each with its own decay.

What is made is the open-circuit voltage of a contact pickup under the bridge: it follows the force on the bridge, so a
partial counts by the force it puts there. Body and room are left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from piezolab.audio import RATE, AudioError

TOP_HZ = 20_000.0  # nothing above it is heard
ATTACK_S = 1.5e-3  # how long a finger takes to let go
LONGEST_S = 20.0
_FAINT = 1e-5  # partials this far below the strongest are left out
_SIXTY_DB = np.log(1000.0)

#: k L of a bar clamped at one end: roots of cos(x) cosh(x) = -1; from the sixth on (n - 1/2) pi to 1e-7.
_CLAMPED = (1.8751040687, 4.6940911330, 7.8547574382, 10.9955407349, 14.1371683910)


@dataclass(frozen=True)
class Partials:
    """What rings, each of shape (P,). frequency: Hz; amplitude: signed, at the release; t60: s to fall by 60 dB."""

    frequency: np.ndarray
    amplitude: np.ndarray
    t60: np.ndarray


class Voice(Protocol):
    """Anything that rings when plucked."""

    def partials(self, pitch_hz: float) -> Partials:
        """The partials when the lowest one sounds at pitch_hz."""


def _kept(frequency: np.ndarray, amplitude: np.ndarray, t60: np.ndarray) -> Partials:
    heard = (frequency <= TOP_HZ) & (np.abs(amplitude) >= _FAINT * np.abs(amplitude).max())
    return Partials(frequency[heard], amplitude[heard], t60[heard])


def _check_pitch(pitch_hz: float) -> None:
    if not 16.0 <= pitch_hz <= TOP_HZ / 2:
        raise AudioError(f"pitch: {pitch_hz:g} Hz cannot be played; 16 Hz to {TOP_HZ / 2:g} Hz are allowed.")


@dataclass(frozen=True)
class PluckedString:
    """A stiff string, released from rest.

    pluck: where, as a fraction of the string from the bridge, 0 to 1; finger: spread of the finger's pressure (standard
    deviation) as a fraction of the string; stiffness: B in f_n = n f_0 sqrt(1 + B n^2) (Fletcher 1964, J. Acoust. Soc.
    Am. 36); t60: s, of a very low partial; bright_hz: where partials ring half as long.

    Force on the bridge of the n-th partial, of a plucking force of 1: 2 sin(n pi pluck)/(n pi), the Fourier series of
    the static deflection. Decay rate = b_1 + b_3 f^2, as for strings in air with inner friction (Chaigne & Askenfelt
    1994, J. Acoust. Soc. Am. 95). Both papers cited from memory.
    """

    pluck: float = 0.15
    finger: float = 0.004
    stiffness: float = 1e-4
    t60: float = 4.0
    bright_hz: float = 1500.0

    def partials(self, pitch_hz: float) -> Partials:
        """The partials when the first one sounds at pitch_hz, 16 Hz to 10 kHz. Raises AudioError."""
        _check_pitch(pitch_hz)
        n = np.arange(1, int(TOP_HZ / pitch_hz) + 1)
        frequency = n * pitch_hz * np.sqrt((1 + self.stiffness * n**2) / (1 + self.stiffness))
        force = 2 * np.sin(n * np.pi * self.pluck) / (n * np.pi) * np.exp(-((n * np.pi * self.finger) ** 2) / 2)
        return _kept(frequency, force, self.t60 / (1 + (frequency / self.bright_hz) ** 2))


@dataclass(frozen=True)
class PluckedTine:
    """A bar clamped at one end and plucked near its tip; its partials are far from harmonic: 1 : 6.27 : 17.5 : 34.4.

    finger: spread of the pressure as a fraction of the bar; t60: s, of the lowest partial; the higher ones ring
    shorter in proportion to their frequency (a constant loss factor).

    Euler-Bernoulli bar (Fletcher & Rossing, The Physics of Musical Instruments, section 2.12, from memory). Force at
    the clamp of the n-th partial, of a force of 1 at the tip: 4 s_n (-1)^(n+1)/k_n with s_n = (cosh k_n + cos
    k_n)/(sinh k_n + sin k_n).
    """

    finger: float = 0.03
    t60: float = 2.5

    def partials(self, pitch_hz: float) -> Partials:
        """The partials when the first one sounds at pitch_hz, 16 Hz to 10 kHz. Raises AudioError."""
        _check_pitch(pitch_hz)
        k = clamped_roots(12)
        frequency = pitch_hz * (k / k[0]) ** 2
        slope = (np.cosh(k) + np.cos(k)) / (np.sinh(k) + np.sin(k))
        force = 4 * slope * (-1.0) ** np.arange(len(k)) / k * np.exp(-((k * self.finger) ** 2) / 2)
        return _kept(frequency, force, self.t60 * pitch_hz / frequency)


def clamped_roots(count: int) -> np.ndarray:
    """The first roots of cos(x) cosh(x) = -1, shape (count,)."""
    n = np.arange(1, count + 1)
    roots = (n - 0.5) * np.pi
    known = min(count, len(_CLAMPED))
    roots[:known] = _CLAMPED[:known]
    return roots


def pluck(voice: Voice, pitch_hz: float, seconds: float = 3.5) -> np.ndarray:
    """One pluck, shape (N,), at `RATE`, its largest sample 1. Always the same for the same arguments.

    Raises AudioError for a pitch or a length (up to 20 s) that cannot be played.
    """
    if not 0.05 <= seconds <= LONGEST_S:
        raise AudioError(f"length: {seconds:g} s cannot be played; 0.05 s to {LONGEST_S:g} s are allowed.")
    signal = ring(voice.partials(pitch_hz), round(seconds * RATE))
    attack = round(ATTACK_S * RATE)
    signal[:attack] *= np.sin(0.5 * np.pi * np.arange(attack) / attack) ** 2
    return signal / np.abs(signal).max()


def ring(partials: Partials, count: int) -> np.ndarray:
    """Sum of decaying cosines, `count` samples from the moment of release.

    A sample's number is block * width + place, so exp(s t) splits into two factors and the sum over all partials is one
    small product of matrices instead of a long array for each partial.
    """
    width = int(np.ceil(np.sqrt(count)))
    s = (-_SIXTY_DB / partials.t60 + 2j * np.pi * partials.frequency) / RATE
    blocks = partials.amplitude * np.exp(np.outer(np.arange(-(-count // width)) * width, s))
    places = np.exp(np.outer(s, np.arange(width)))
    return (blocks.real @ places.real - blocks.imag @ places.imag).ravel()[:count]
