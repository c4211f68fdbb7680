"""What meter and ear would find on a batch of builds, faulty or sound.

The network without its transistors is reduced to what their holes and the probes see (`multiport`); transistors and
meter are then attached to that. A meter on place k adds a conductance there: a change of rank one in every impedance;
so does another resistance of the polarity diode.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from piezolab.chain.assembly import GROUND, PICKUP
from piezolab.studies.faults.diode import behind_a_meter, guess, resistance, slope_ohm
from piezolab.studies.faults.fault_network import FaultNetwork
from piezolab.studies.faults.multiport import solutions
from piezolab.studies.faults.network_names import ABSENT_OHM, ANODE, LIGHT, LIGHT_R, OPEN_OHM, SLEEVE, Settings
from piezolab.studies.faults.probed import Probed, as_shown
from piezolab.studies.faults.swept_through import BASS_HZ, MIDDLE_HZ, by_sweep, swept_network
from piezolab.studies.faults.transistors import Transistors
from piezolab.studies.metering.instrument import Meter

LOW_HZ, HIGH_HZ = 41.0, 1000.0
_DIODE_TURNS = 2
# stray capacitance from room wiring to the pickup's lane, and to everything that hangs on the board's ground (F)
HUM_FARADS = (0.5e-12, 20e-12)


@dataclass(frozen=True)
class Tone:
    """The page's tone, fed to the pickup's lane: V rms of a player's output, through a capacitor, F."""

    v_rms: float = 0.3
    farad: float = 10e-9


@dataclass(frozen=True)
class Findings:
    """Of a batch of P builds: what a perfect meter would show, arrays of shape (P,).

    dc (V) and ohm by place; low, high: the tone at 41 Hz and 1 kHz, V rms by place, at the load's terminals too;
    battery_w: W out of the battery, its inner resistance included; gain_low, gain_high: |v(load)/v(open circuit)| of
    playing; hum: at the load, of any unit; swing: hard playing as a part of what the transistor has; jack_v: V at the
    jack's lane with no meter on it; corner (Hz), level (dB), bend: as `swept_through.by_sweep`, where asked for.
    """

    dc: dict[str, np.ndarray]
    ohm: dict[str, np.ndarray]
    low: dict[str, np.ndarray]
    high: dict[str, np.ndarray]
    battery_w: np.ndarray
    gain_low: np.ndarray
    gain_high: np.ndarray
    hum: np.ndarray
    swing: np.ndarray
    jack_v: np.ndarray
    corner: dict[str, np.ndarray] = field(default_factory=dict)
    level: dict[str, np.ndarray] = field(default_factory=dict)
    bend: dict[str, np.ndarray] = field(default_factory=dict)


@dataclass(frozen=True)
class Question:
    """With what a batch is examined: meter, tone, hard playing in V peak, the lowest string in Hz, the capacitor that
    stands for the disc in a sweep, F (None: no sweep, which costs as much as half of all else)."""

    meter: Meter
    tone: Tone
    play_v: float
    low_note: float
    farad: float | None = None


def simulate(network: FaultNetwork, settings: Settings, size: int, question: Question) -> Findings:
    """All readings of `size` builds whose settings are numbers or arrays of shape (size,)."""
    transistors = Transistors(network, settings, size)
    dc, rest, battery_w, jack_v, at_rest = _power_on(network, settings, size, transistors, question.meter)
    ohm = _power_off(network, settings, size, transistors, question.meter)
    slopes = transistors.currents(rest)[1]
    settings = {**settings, **at_rest}
    low = Alternating(network, settings, size, transistors, slopes, LOW_HZ)
    high = Alternating(network, settings, size, transistors, slopes, HIGH_HZ)
    note = Alternating(network, settings, size, transistors, slopes, question.low_note, probed=False)
    swing = transistors.swing(rest, high.port_v * question.play_v, high.port_i * question.play_v)
    by: dict[str, dict[str, np.ndarray]] = {}
    if question.farad is not None:
        own, sent = swept_network(network, settings, question.farad)
        bass, middle = (
            Alternating(own, sent, size, transistors, slopes, hz, probed=False) for hz in (BASS_HZ, MIDDLE_HZ)
        )
        by = by_sweep(bass, middle, transistors, rest, question.tone.v_rms * 2**0.5)
    return Findings(
        dc, ohm, low.tone(question), high.tone(question), battery_w, note.gain, high.gain, note.hum, swing, jack_v, **by
    )


def _probes(places: tuple) -> list[list[tuple[str, str, float]]]:
    return [[(place.b, place.a, 1.0)] for place in places]


def _at_ports(combine: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Port voltages (P, 2K, J) from those of the holes (3K, J, P)."""
    return combine @ np.moveaxis(rows, -1, 0)


def _power_on(
    network: FaultNetwork, settings: Settings, size: int, transistors: Transistors, meter: Meter
) -> tuple[dict[str, np.ndarray], np.ndarray, np.ndarray, np.ndarray, Settings]:
    """Direct volts by place with the meter there; ports at rest; W out of the battery; the jack with no meter; diode
    and light at rest, ohm."""
    holes, places, wires = network.holes, network.places, (*network.wires, *network.plugged)
    supply = []
    for part in network.batteries:
        plus, minus = f"{part.name} plus", f"{part.name} minus"
        supply.append((minus, plus, settings[f"{part.name}.emf"] / settings[f"{part.name}.inside"]))
    pairs = [*((hole, GROUND) for hole in holes), *((place.a, place.b) for place in places)]
    injections = [supply, *([(GROUND, hole, 1.0)] for hole in holes), *_probes(places)]
    if network.diode:
        first = network.batteries[0]
        start = guess(network.diode, settings, settings[f"{first.name}.emf"], size)
        settings = {**settings, f"{network.diode}.ohm": start}
        pairs.append((ANODE, first.nodes[0]))
        injections.append([(first.nodes[0], ANODE, 1.0)])
    v = solutions(wires, settings, injections, pairs, size)
    h, rest, slopes = len(holes), None, {}
    if network.light:
        at = next(k for k, place in enumerate(places) if place.key == network.light.parts[0].nodes[0])
        v, slopes[LIGHT] = _with_light(network.light.drop_v, settings, v, h, at, transistors)
    if network.diode:
        v, rest, slopes[f"{network.diode}.ohm"] = _with_diode(network.diode, settings, v, h, transistors)
    ports = _at_ports(transistors.combine, v[:h])
    v_open, toward = ports[:, :, 0], ports[:, :, 1 + h :]
    z = ports[:, :, 1 : 1 + h] @ np.swapaxes(transistors.combine, 1, 2)
    rest = transistors.rest(v_open, z, rest)
    at_rest = transistors.currents(rest)[0]
    found, battery, jack = {}, np.zeros(size), np.zeros(size)
    for k, place in enumerate(places):
        open_k, own = v[h + k, 0], v[h + k, 1 + h + k]
        reach = toward[:, :, k]
        unloaded = open_k - np.sum(reach * at_rest, axis=-1)
        if place.key == "clip":
            name = network.batteries[0].name
            emf = settings[f"{name}.emf"]
            battery = emf * (emf - unloaded) / settings[f"{name}.inside"]
        if place.key == network.jack:
            jack = unloaded
        if not network.powered:
            continue
        part = 1.0 / (meter.input_ohm + own)
        loaded = transistors.rest(
            v_open - reach * (open_k * part)[:, None],
            z - reach[:, :, None] * reach[:, None, :] * part[:, None, None],
            rest,
        )
        drawn = np.sum(reach * transistors.currents(loaded)[0], axis=-1)
        found[place.key] = (open_k - drawn) * meter.input_ohm * part
    return found, rest, battery, jack, slopes


def _with_light(
    drop_v: float, settings: Settings, v: np.ndarray, h: int, at: int, transistors: Transistors
) -> tuple[np.ndarray, np.ndarray]:
    """The answers (pairs, injections, P) with a light at a place, by number, and its ohm; it shines exactly where there
    would be more volts than it drops without it."""
    ports = _at_ports(transistors.combine, v[:h])
    z = ports[:, :, 1 : 1 + h] @ np.swapaxes(transistors.combine, 1, 2)
    drawn = transistors.currents(transistors.rest(ports[:, :, 0], z, None))[0]
    dark = v[h + at, 0] - np.sum(ports[:, :, 1 + h + at] * drawn, axis=-1)
    ohm = np.where(dark > drop_v, settings[f"{LIGHT_R}.ohm"], ABSENT_OHM)
    fed = v[:, 1 + h + at : 2 + h + at]
    v = v - fed / (ohm + v[h + at, 1 + h + at]) * v[h + at : h + at + 1]
    v[:, 0] += np.where(dark > drop_v, drop_v / ohm, 0.0) * v[:, 1 + h + at]
    return v, ohm


def _with_diode(
    name: str, settings: Settings, v: np.ndarray, h: int, transistors: Transistors
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The answers (pairs, injections, P), whose last pair and injection are the diode's, with its resistance for its
    own current; a guess at the ports' voltages; the diode's slope, ohm."""
    ohm, rest, across = np.asarray(settings[f"{name}.ohm"]), None, None
    for _ in range(_DIODE_TURNS):
        ports = _at_ports(transistors.combine, v[:h])
        z = ports[:, :, 1 : 1 + h] @ np.swapaxes(transistors.combine, 1, 2)
        rest = transistors.rest(ports[:, :, 0], z, rest)
        across = v[-1, 0] - np.sum(ports[:, :, -1] * transistors.currents(rest)[0], axis=-1)
        new = resistance(name, settings, across, across / ohm)
        change = 1.0 / new - 1.0 / ohm
        v = v - v[:, -1:] * (change / (1.0 + change * v[-1, -1])) * v[-1:, :]
        across, ohm = across * new / ohm, new
    return v, rest, slope_ohm(name, settings, across)


def _power_off(
    network: FaultNetwork, settings: Settings, size: int, transistors: Transistors, meter: Meter
) -> dict[str, np.ndarray]:
    """Ohms by place: battery out, cable unplugged but at "plug"; at "clip" with the switch on, elsewhere off."""
    settings = dict(settings)
    shorts = {}
    for part in network.slots:
        if f"{part.name}.asleep" in settings:
            settings[f"{part.name}.ohm"] = settings[f"{part.name}.ohm"] * settings[f"{part.name}.asleep"]
    for part in network.batteries:
        if f"{part.name}.other asleep" in settings:
            settings[f"{part.name}.other"] = settings[f"{part.name}.other"] * settings[f"{part.name}.other asleep"]
        shorts["clip"] = settings[f"{part.name}.short"]
        settings[f"{part.name}.inside"] = OPEN_OHM
        settings[f"{part.name}.short"] = ABSENT_OHM
    holes, places = network.holes, network.off_places
    pairs = [*((hole, GROUND) for hole in holes), *((place.a, place.b) for place in places)]
    v = solutions(
        network.wires, settings, [*([(GROUND, hole, 1.0)] for hole in holes), *_probes(places)], pairs, size
    )
    h = len(holes)
    ports = _at_ports(transistors.combine, v[:h])
    z = ports[:, :, :h] @ np.swapaxes(transistors.combine, 1, 2)
    found = {}
    level, up = settings.get("meter.level", 1.0), settings.get("meter.up", 0)
    for k, place in enumerate(places):
        at = Probed(transistors, z, ports[:, :, h + k], v[h + k, h + k], shorts.get(place.key, ABSENT_OHM))
        if place.key == "plug":
            at = replace(at, across=settings["cable.short"], series=settings["cable.core"])
        behind = partial(_diode_before, network.diode, settings) if place.key == "clip" and network.diode else None
        found[place.key] = as_shown(at, meter, level, up, behind)
    found["cable"] = np.broadcast_to(np.asarray(settings["cable.core"], float), (size,))
    return found


def _diode_before(name: str, settings: Settings, here: np.ndarray) -> Callable[[np.ndarray, np.ndarray], np.ndarray]:
    """The diode of some builds under an ohms range."""
    own = {key: value[here] if np.ndim(value) else value for key, value in settings.items() if key.startswith(name)}
    return partial(behind_a_meter, name, own)


class Alternating:
    """The plugged-in chain at one frequency, its transistors attached; `probed`: with what `tone` needs."""

    def __init__(
        self,
        network: FaultNetwork,
        settings: Settings,
        size: int,
        transistors: Transistors,
        slopes: np.ndarray,
        hertz: float,
        probed: bool = True,
    ) -> None:
        places = [place for place in network.places if place.key != "clip"] if probed else []
        self.keys = [place.key for place in places]
        holes, wires = network.holes, (*network.wires, *network.plugged)
        self.omega = 2 * np.pi * hertz
        pairs = [
            *((hole, GROUND) for hole in holes),
            *((place.a, place.b) for place in places),
            (network.load.a, network.load.b),
        ]
        drive = {name: settings[f"{name}.drive"] * settings["disc.output"] for name in network.sources}
        stray = (HUM_FARADS[0] * settings["disc.hum"], HUM_FARADS[1])
        hum = [[(SLEEVE, node, farad)] for node, farad in zip((PICKUP, GROUND), stray, strict=True)]
        injections = [drive, *hum, *([(GROUND, hole, 1.0)] for hole in holes), *_probes(tuple(places))]
        v = solutions(wires, settings, injections, pairs, size, self.omega)
        h, s = len(holes), 3
        ports = _at_ports(transistors.combine, v[:h])
        z = ports[:, :, s : s + h] @ np.swapaxes(transistors.combine, 1, 2)
        y = transistors.admittance(slopes, self.omega)
        count = y.shape[-1]
        closed = np.linalg.inv(np.eye(count) + z @ y) if count else z
        self.port_v = (closed @ ports[:, :, :1])[:, :, 0]
        self.port_i = (y @ self.port_v[:, :, None])[:, :, 0]
        # the network is reciprocal: what the ports do to a place is what the place does to the ports
        columns = np.concatenate([ports[:, :, :s], ports[:, :, s + h :]], axis=-1)
        drawn = y @ (closed @ columns)
        to_load = _at_ports(transistors.combine, v[-1, s : s + h][:, None, :])
        back = np.concatenate([ports[:, :, s + h :], to_load], axis=-1)
        fixed = np.concatenate([v[h:, :s], v[h:, s + h :]], axis=1)  # places and load, by source and place
        # at the load, of currents through the ports: (P, 1, 2K)
        self.out = np.swapaxes(to_load, 1, 2) @ (y @ closed @ z - np.eye(count))
        self.v = fixed - np.moveaxis(np.swapaxes(back, 1, 2) @ drawn, 0, -1)
        self.level = settings.get("tone.level", 1.0)
        self.gain = np.abs(self.v[-1, 0])
        self.hum = np.sqrt(np.abs(self.v[-1, 1]) ** 2 + np.abs(self.v[-1, 2]) ** 2)

    def tone(self, question: Question) -> dict[str, np.ndarray]:
        """The tone by place with the meter there, and at the load without: V rms."""
        z, fed = self.v[:, 3:], self.keys.index(PICKUP)
        y = 1j * self.omega * question.tone.farad
        damping = 1.0 / (1.0 + y * z[fed, fed])
        current = y * question.tone.v_rms * self.level
        found = {"load": np.abs(current * z[-1, fed] * damping)}
        for k, key in enumerate(self.keys):
            own = z[k, k] - z[k, fed] * z[fed, k] * y * damping
            open_ = current * z[k, fed] * damping
            found[key] = np.abs(open_ * question.meter.input_ohm / (question.meter.input_ohm + own))
        return found
