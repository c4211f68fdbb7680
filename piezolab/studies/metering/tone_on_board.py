"""Alternating voltage on the board while a tone is fed in, and what exchanging drain and source would change.

The tone comes through a capacitor, so that neither the sender nor the stage's bias is disturbed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.assembly import GROUND, PICKUP
from piezolab.circuit.elements import Capacitor, Element, Resistor, VoltageSource
from piezolab.circuit.network import Network
from piezolab.studies.linear import LinearChain
from piezolab.studies.metering.board_under_meter import BoardUnderMeter, with_design
from piezolab.studies.metering.expected import Expected, percentiles
from piezolab.studies.metering.instrument import Meter
from piezolab.studies.metering.probes import Probe, tone_at_probes

TONE_HZ = 400.0  # most meters read sines up to 400 Hz truly; common practice, no source
TONE_V_RMS = 0.1
SENDER_OHM = 100.0
# as where a fault is sought: the disc then lowers the tone, and a tone that is too large shows that it is not there
COUPLING_F = 10e-9
DISC_TOLERANCE = 0.3  # of a disc's capacitance; common practice, no source
LEAST_COUNTS = 20  # of the last place: fewer say nothing


@dataclass(frozen=True)
class ToneVolts:
    """AC volts (rms) from a lane to ground with the tone on the gate lane; resolved: whether the meter shows enough."""

    lane: str
    expected: Expected
    resolved: bool


@dataclass(frozen=True)
class Exchange:
    """Gain at 1 kHz as a ratio, and input capacitance in F, with the transistor the right way and drain and source
    exchanged; the bias stays as it is."""

    gain: tuple[float, float]
    c_rss: tuple[float, float]


def tone_volts(
    board: BoardUnderMeter, meter: Meter | None = None, volt: float = TONE_V_RMS, frequency: float = TONE_HZ
) -> tuple[ToneVolts, ...]:
    """AC volts at each lane for a tone of `volt` rms at `frequency` Hz; empty for a meter without AC ranges."""
    meter = meter or Meter()
    if not meter.reads_ac:
        return ()
    lanes = [lane for lane in board.lanes if lane != GROUND]
    off = np.append(DISC_TOLERANCE * np.random.default_rng(11).uniform(-1, 1, board.network.batch_shape), 0.0)
    sent = Network(_with_disc(element, off) for element in with_design(board)).plus(
        VoltageSource("tone", "sender", GROUND, 0.0),
        Resistor("sender's own", "sender", "sent", SENDER_OHM),
        Capacitor("coupling", "sent", PICKUP, COUPLING_F),
        Resistor("sent insulation", "sent", GROUND, 1e11),
    )
    gains = np.abs(tone_at_probes(board, sent, [Probe(lane, ohm=meter.input_ohm) for lane in lanes], "tone", frequency))
    found = []
    for lane, gain in zip(lanes, gains, strict=True):
        low, high = (volt * each for each in percentiles(gain[:-1]))
        middle = float(volt * gain[-1])
        digit_low, digit_high = (meter.ac_digit(each) for each in (low, high))
        low, high = max(low - float(meter.error(low, digit_low)), 0.0), high + float(meter.error(high, digit_high))
        # as little as a dead board, as much as ten times that: neither end tells
        nothing = low < LEAST_COUNTS * float(meter.ac_digit(low)) <= 0.1 * high
        expected = Expected(low, middle, high, nothing)
        found.append(ToneVolts(lane, expected, bool(middle >= LEAST_COUNTS * meter.ac_digit(middle))))
    return tuple(found)


def _with_disc(element: Element, off: np.ndarray) -> Element:
    """A disc's capacitance off by a part of it, another part in each build."""
    if not isinstance(element, Capacitor) or not element.name.startswith("C_p"):
        return element
    return replace(element, farad=element.farad * (1 + off))


def exchange(chain: SignalChain) -> Exchange | None:
    """What exchanging drain and source changes: the small capacitances change places; None with no stage."""
    if not chain.topology.powered:
        return None
    values = chain.values
    other = values.but(jfet_crss=values.jfet_ciss - values.jfet_crss)
    gains = tuple(float(np.abs(LinearChain.of(each).gain(1000.0))) for each in (values, other))
    return Exchange(gains, (float(values.jfet_crss), float(other.jfet_crss)))
