"""Hum at the input: coupling from room wiring, supply ripple, a ground loop, with their harmonics.

Four ways in, each solved on the chain's own network: a stray capacitance from mains wiring to the pickup's hot
side and another to the output cable's inner wire, ripple of an adapter through drain and divider, and a voltage along
the output cable's screen in series with the load. Their phases are not known, so their powers are added. The relative
harmonics are an assumption (a distorted mains and a rectifier's sawtooth; common practice, no source) that changes the
sums by little and the spectrum by much.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.assembly import GROUND, PICKUP, Assembly
from piezolab.circuit.elements import Capacitor, VoltageSource
from piezolab.circuit.network import Network
from piezolab.circuit.small_signal import transfers
from piezolab.studies.kept import kept
from piezolab.studies.linear import LinearChain

# voltage of each harmonic of the mains against the fundamental
MAINS_HARMONICS: Mapping[int, float] = {1: 1.0, 3: 0.02, 5: 0.03, 7: 0.015, 9: 0.005, 11: 0.008, 13: 0.005}
# current in a ground loop holds more of the odd harmonics: rms shares that add up to 1 in power
LOOP_HARMONICS: Mapping[int, float] = {1: 0.90, 3: 0.36, 5: 0.20, 7: 0.12, 9: 0.06, 11: 0.04}
SIGNAL_HZ = 1000.0
WAYS = ("room", "cord", "ripple", "loop")


@dataclass(frozen=True)
class Hum:
    """Hum at the load's terminals.

    frequency: harmonics in Hz, shape (H,); by_way: rms volts of each harmonic for each way in (room: coupled to
    the pickup node; cord: coupled to the output cable; ripple: from an adapter; loop: along
    the screen), shape (H,); signal_v_rms: the reference sine of 1 kHz there.
    """

    frequency: np.ndarray
    by_way: Mapping[str, np.ndarray]
    signal_v_rms: float

    @property
    def spectrum_v_rms(self) -> np.ndarray:
        """All ways together, rms volts of each harmonic, shape (H,)."""
        return np.sqrt(sum(level**2 for level in self.by_way.values()))

    @property
    def output_v_rms(self) -> float:
        """All harmonics and ways together, rms volts, unweighted."""
        return float(np.sqrt(np.sum(self.spectrum_v_rms**2)))

    @property
    def relative_db(self) -> float:
        """Hum against the signal, dB; nan where the signal is nothing."""
        return _ratio_db(self.output_v_rms, self.signal_v_rms)

    def way_v_rms(self, way: str) -> float:
        """One way in, all harmonics, rms volts."""
        return float(np.sqrt(np.sum(self.by_way[way] ** 2)))

    def way_relative_db(self, way: str) -> float:
        """One way in against the signal, dB."""
        return _ratio_db(self.way_v_rms(way), self.signal_v_rms)


def _ratio_db(level: float, signal: float) -> float:
    if not signal > 0:
        return float("nan")
    return 20 * float(np.log10(level / signal)) if level > 0 else float("-inf")


@kept(4)
def hum(chain: SignalChain) -> Hum:
    """Hum of a chain against a 1 kHz sine of open-circuit peak `play_v`, both at the load's terminals."""
    linear = LinearChain.of(chain.values)
    frequency, by_way = by_way_of(linear)
    signal = float(np.abs(linear.gain(SIGNAL_HZ))) * chain.values.play_v / np.sqrt(2)
    return Hum(frequency, by_way, signal)


def by_way_of(linear: LinearChain) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Harmonics in Hz, (H,), and the rms volts of each way in at the load's terminals, batch + (H,)."""
    values = linear.assembly.values
    orders = np.array(sorted({*MAINS_HARMONICS, *LOOP_HARMONICS, 2}))
    frequency = values.mains_hz * orders
    network, terminals = with_room(linear)
    adapter = values.supply == "adapter" and linear.assembly.stage.powered
    wiring = values.mains_v * harmonic_shares(orders, MAINS_HARMONICS)
    levels = {
        "room": wiring,
        "cord": wiring if np.any(values.cable_hum_c) else np.zeros(len(orders)),
        "ripple": values.ripple_v * harmonic_shares(orders, {2: 1.0}) * (1.0 if adapter else 0.0),
        "loop": values.loop_v * harmonic_shares(orders, LOOP_HARMONICS, unit_power=True),
    }
    sources = {"room": "E_room", "cord": "E_cord", "ripple": "B1", "loop": "E_loop"}
    by_way = {}
    for way, level in levels.items():
        if np.any(level):
            (gain,) = transfers(network, frequency, sources[way], [terminals])
            by_way[way] = np.abs(gain) * level
        else:
            by_way[way] = np.zeros(len(orders))
    return frequency, by_way


def harmonic_shares(orders: np.ndarray, table: Mapping[int, float], *, unit_power: bool = False) -> np.ndarray:
    """Voltage of each order of the mains against the table's fundamental, (H,); `unit_power`: their powers add up to
    1."""
    shares = np.array([table.get(int(round(order)), 0.0) for order in orders])
    return shares / np.sqrt(np.sum(shares**2)) if unit_power else shares


def with_room(linear: LinearChain) -> tuple[Network, tuple[str, str]]:
    """The linear network with the room's wiring and the screen's voltage as sources E_room, E_cord (where
    there is such coupling) and E_loop, and the load's two terminals. The load's side of the screen is a node of its
    own, moved against the stage's ground by E_loop."""
    assembly: Assembly = linear.assembly
    values = assembly.values
    far = "input ground"
    elements = []
    for element in linear.network:
        if element.name in assembly.names("input"):
            a, b = (far if node == GROUND else node for node in (element.a, element.b))
            element = replace(element, a=a, b=b)
        elements.append(element)
    coupling = values.hum_c * 10 ** (-values.shield_db / 20)
    elements += [
        VoltageSource("E_room", "room wiring", GROUND),
        Capacitor("C_room", "room wiring", PICKUP, coupling),
        VoltageSource("E_loop", far, GROUND),
    ]
    if np.any(values.cable_hum_c):
        elements += [
            VoltageSource("E_cord", "wiring at the cable", GROUND),
            Capacitor("C_cord", "wiring at the cable", assembly.jack, values.cable_hum_c),
        ]
    return Network(elements), (assembly.load, far)
