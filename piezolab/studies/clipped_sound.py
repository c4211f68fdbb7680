"""A sound as stage and input bend and clip it, followed in time: what a note sounds like when it is played too hard.

What the chain does to small signals is its linear response, dielectric loss included, as for what does not clip.
What the transistors do besides is walked in time (`circuit.long_run`) at `TIMES` the sound's rate, gate conduction and
capacitors that charge included; the input cuts at its ceiling, at `TIMES_CUT` the rate. Both are then brought back to
the sound's rate, so that the overtones above its half do not fold down into what is heard.
"""

from __future__ import annotations

import numpy as np

from piezolab.audio import RATE
from piezolab.audio.processing import answers, answers_within, at_times_the_rate, brought_down, finer
from piezolab.circuit.errors import CircuitError
from piezolab.circuit.long_run import PASSES, TOO_FAR, long_run, outputs_of
from piezolab.circuit.small_signal import transfers
from piezolab.giving_way import give_way
from piezolab.studies.linear import LinearChain

TIMES, TIMES_CUT = 2, 8
LONGEST_S = 12.0
_AFTER = RATE // 50  # samples after the last one in which what was added dies away
_LEFT = 1e-2  # of what reaches a transistor: what may still come when the sound is over
_NEAR = 0.8  # of the ceiling: between two samples a sound may be larger


def clipped(linear: LinearChain, open_v: np.ndarray, passes: int = PASSES) -> np.ndarray:
    """Volts at the load's terminals, change from rest, shape (N,), for open-circuit volts of one disc, shape (N,), both
    at `RATE`, from rest on.

    passes: how much work it may take, as `long_run` has it. The input is an ideal limiter at its ceiling, which loads
    nothing. Raises CircuitError where the transistors go too far to be followed or the sound is longer than LONGEST_S,
    and AudioError where the linear response does.
    """
    count = len(open_v)
    if count > LONGEST_S * RATE:
        raise CircuitError(f"a sound of {count / RATE:.3g} s: up to {LONGEST_S:g} s is followed in time")
    output, length = answers(open_v, linear.gain)
    whole = min(count + _AFTER, length)
    straight = np.fft.irfft(output, length)[:count]
    rough = at_times_the_rate(output, length, TIMES)[: whole * TIMES]
    found = straight
    if linear.assembly.network.jfets:
        more = _beyond_linear(linear, open_v, length, whole, passes)
        rough, found = rough + more, found + _at_the_rate(more, count, TIMES)
    ceiling = float(linear.assembly.values.input_max)
    if np.abs(rough).max() > _NEAR * ceiling:
        give_way()
        fine = finer(rough, TIMES_CUT // TIMES)
        found = found + _at_the_rate(np.clip(fine, -ceiling, ceiling) - fine, count, TIMES_CUT)
    return found


def _beyond_linear(linear: LinearChain, open_v: np.ndarray, length: int, whole: int, passes: int) -> np.ndarray:
    """What the transistors add to the load's voltage, V, shape (whole x TIMES,)."""
    network, assembly = linear.assembly.network, linear.assembly
    ports = outputs_of(network, assembly.load)[:-1]
    spectra = answers_within(
        open_v, lambda hz: np.stack(transfers(linear.network, hz, assembly.drive, ports)), length, _LEFT
    )
    if spectra is None:
        raise CircuitError(f"a transistor's rest follows the sound for more than {length / RATE:.2g} s")
    straight = np.stack([at_times_the_rate(row, length, TIMES)[: whole * TIMES] for row in spectra], axis=-1)
    try:
        more = long_run(network, linear.point, assembly.load, straight, 1 / (RATE * TIMES), passes)
    except np.linalg.LinAlgError:
        raise CircuitError(TOO_FAR) from None
    if not np.isfinite(more).all():
        raise CircuitError(TOO_FAR)
    return more


def _at_the_rate(more: np.ndarray, count: int, times: int) -> np.ndarray:
    """What is added at `times` the rate, at the rate itself, shape (count,): it dies away after the sound and has
    silence behind it, to a length whose Fourier transform is fast."""
    give_way()
    more[count * times :] *= np.cos(np.linspace(0, np.pi / 2, len(more) - count * times)) ** 2
    size = 1 << (len(more) // times + RATE // 100).bit_length()
    return brought_down(np.concatenate([more, np.zeros(size * times - len(more))]), times)[:count]
