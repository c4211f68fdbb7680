"""What meter and ear would find on a batch of builds, faulty or sound.

The network without its transistors is reduced to what their holes and the probes see (`multiport`); transistors and
meter are then attached to that, at all places at once. A meter on place k adds a conductance there: a change of rank
one in every impedance; so does another resistance of the polarity diode.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from piezolab.chain.assembly import GROUND
from piezolab.studies.faults.alternating import Alternating
from piezolab.studies.faults.diode import behind_a_meter, guess, resistance, slope_ohm
from piezolab.studies.faults.fault_network import FaultNetwork
from piezolab.studies.faults.multiport import at_ports, solutions
from piezolab.studies.faults.network_names import ABSENT_OHM, ANODE, LIGHT, LIGHT_R, OPEN_OHM, Settings
from piezolab.studies.faults.probed import Probed, as_shown
from piezolab.studies.faults.swept_through import BASS_HZ, MIDDLE_HZ, by_sweep, swept_network
from piezolab.studies.faults.transistors import Transistors
from piezolab.studies.metering.instrument import Meter

LOW_HZ, HIGH_HZ = 41.0, 1000.0
_DIODE_TURNS = 2


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
    heard = question.tone.v_rms, question.tone.farad, question.meter.input_ohm
    by: dict[str, dict[str, np.ndarray]] = {}
    if question.farad is not None:
        own, sent = swept_network(network, settings, question.farad)
        bass, middle = (
            Alternating(own, sent, size, transistors, slopes, hz, probed=False) for hz in (BASS_HZ, MIDDLE_HZ)
        )
        by = by_sweep(bass, middle, transistors, rest, question.tone.v_rms * 2**0.5)
    return Findings(
        dc, ohm, low.tone(*heard), high.tone(*heard), battery_w, note.gain, high.gain, note.hum, swing, jack_v, **by
    )


def _reach(combine: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Of the ports to each place (N, P, 2K), from what the holes' currents do to the places (N, 3K, P)."""
    return np.moveaxis(at_ports(combine, np.swapaxes(rows, 0, 1)), -1, 0)


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
    probes = [(place.a, place.b) for place in places]
    pairs = [*((hole, GROUND) for hole in holes), *probes]
    injections = [supply, *([(GROUND, hole, 1.0)] for hole in holes)]
    if network.light:
        lit = next(k for k, place in enumerate(places) if place.key == network.light.parts[0].nodes[0])
        injections.append([(places[lit].b, places[lit].a, 1.0)])
    if network.diode:
        first = network.batteries[0]
        start = guess(network.diode, settings, settings[f"{first.name}.emf"], size)
        settings = {**settings, f"{network.diode}.ohm": start}
        pairs.append((ANODE, first.nodes[0]))
        injections.append([(first.nodes[0], ANODE, 1.0)])
    v, own = solutions(wires, settings, injections, pairs, size, probes=probes)
    h, rest, slopes = len(holes), None, {}
    if network.light:
        v, own, slopes[LIGHT] = _with_light(network.light.drop_v, settings, v, own, h, lit, transistors)
    if network.diode:
        v, own, rest, slopes[f"{network.diode}.ohm"] = _with_diode(network.diode, settings, v, own, h, transistors)
    ports = at_ports(transistors.combine, v[:h])
    v_open = ports[:, :, 0]
    z = ports[:, :, 1 : 1 + h] @ np.swapaxes(transistors.combine, 1, 2)
    rest = transistors.rest(v_open, z, rest)
    at_rest = transistors.currents(rest)[0]
    at_places = v[h : h + len(places)]
    open_, reach = at_places[:, 0], _reach(transistors.combine, at_places[:, 1 : 1 + h])
    unloaded = open_ - np.sum(reach * at_rest, axis=-1)
    battery, jack = np.zeros(size), np.zeros(size)
    for place, volt in zip(places, unloaded, strict=True):
        if place.key == "clip":
            name = network.batteries[0].name
            emf = settings[f"{name}.emf"]
            battery = emf * (emf - volt) / settings[f"{name}.inside"]
        if place.key == network.jack:
            jack = volt
    if not network.powered:
        return {}, rest, battery, jack, slopes
    # every place as a batch of builds of its own
    part = 1.0 / (meter.input_ohm + own)
    many = transistors.some(np.tile(np.arange(size), len(places)))
    loaded = many.rest(
        _flat(v_open - reach * (open_ * part)[..., None]),
        _flat(z - reach[..., None] * reach[..., None, :] * part[..., None, None]),
        np.tile(rest, (len(places), 1)),
    )
    drawn = np.sum(reach * many.currents(loaded)[0].reshape(reach.shape), axis=-1)
    shown = (open_ - drawn) * meter.input_ohm * part
    return dict(zip((place.key for place in places), shown, strict=True)), rest, battery, jack, slopes


def _flat(of_places: np.ndarray) -> np.ndarray:
    """Of places and builds, one after the other."""
    return of_places.reshape(of_places.shape[0] * of_places.shape[1], *of_places.shape[2:])


def _with_light(
    drop_v: float, settings: Settings, v: np.ndarray, own: np.ndarray, h: int, at: int, transistors: Transistors
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The answers (pairs, injections, P), the places' own (places, P), with a light at a place, by number, whose
    injection follows the holes'; and its ohm. It shines exactly where there would be more volts than it drops without
    it."""
    ports = at_ports(transistors.combine, v[:h])
    z = ports[:, :, 1 : 1 + h] @ np.swapaxes(transistors.combine, 1, 2)
    drawn = transistors.currents(transistors.rest(ports[:, :, 0], z, None))[0]
    dark = v[h + at, 0] - np.sum(ports[:, :, 1 + h] * drawn, axis=-1)
    ohm = np.where(dark > drop_v, settings[f"{LIGHT_R}.ohm"], ABSENT_OHM)
    fed = v[:, 1 + h : 2 + h]
    part = fed / (ohm + v[h + at, 1 + h])
    own = own - (part * fed)[h : h + len(own), 0]
    v = v - part * v[h + at : h + at + 1]
    v[:, 0] += np.where(dark > drop_v, drop_v / ohm, 0.0) * v[:, 1 + h]
    return v, own, ohm


def _with_diode(
    name: str, settings: Settings, v: np.ndarray, own: np.ndarray, h: int, transistors: Transistors
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """The answers (pairs, injections, P), whose last pair and injection are the diode's, the places' own (places, P),
    with its resistance for its own current; a guess at the ports' voltages; the diode's slope, ohm."""
    ohm, rest, across = np.asarray(settings[f"{name}.ohm"]), None, None
    for _ in range(_DIODE_TURNS):
        ports = at_ports(transistors.combine, v[:h])
        z = ports[:, :, 1 : 1 + h] @ np.swapaxes(transistors.combine, 1, 2)
        rest = transistors.rest(ports[:, :, 0], z, rest)
        across = v[-1, 0] - np.sum(ports[:, :, -1] * transistors.currents(rest)[0], axis=-1)
        new = resistance(name, settings, across, across / ohm)
        change = 1.0 / new - 1.0 / ohm
        part = v[:, -1:] * (change / (1.0 + change * v[-1, -1]))
        own = own - (part * v[:, -1:])[h : h + len(own), 0]
        v = v - part * v[-1:, :]
        across, ohm = across * new / ohm, new
    return v, own, rest, slope_ohm(name, settings, across)


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
    probes, h = [(place.a, place.b) for place in places], len(holes)
    pairs, injections = [*((hole, GROUND) for hole in holes), *probes], [[(GROUND, hole, 1.0)] for hole in holes]
    v, own = solutions(network.wires, settings, injections, pairs, size, probes=probes)
    z = at_ports(transistors.combine, v[:h]) @ np.swapaxes(transistors.combine, 1, 2)
    reach = _reach(transistors.combine, v[h:])
    one, cable = np.ones(size), {"across": settings["cable.short"], "series": settings["cable.core"]}
    level, up = one * settings.get("meter.level", 1.0), one.astype(int) * settings.get("meter.up", 0)
    found = {}
    # every place as a batch of builds of its own; those with the diode before them apart
    behind = [network.diode is not None and place.key == "clip" for place in places]
    for diode in {*behind}:
        some = [k for k, each in enumerate(behind) if each == diode]
        own_of = [cable if places[k].key == "plug" else {"across": shorts.get(places[k].key, ABSENT_OHM)} for k in some]
        across, series = (np.concatenate([one * each.get(word, 0.0) for each in own_of]) for word in cable)
        build = np.tile(np.arange(size), len(some))
        there = Probed(transistors, z, _flat(reach[some]), own[some].ravel(), across, series, build)
        before = partial(_diode_before, network.diode, settings) if diode else None
        shown = as_shown(there, meter, level[build], up[build], before).reshape(len(some), size)
        found |= {places[k].key: row for k, row in zip(some, shown, strict=True)}
    found = {place.key: found[place.key] for place in places}
    found["cable"] = np.broadcast_to(np.asarray(settings["cable.core"], float), (size,))
    return found


def _diode_before(name: str, settings: Settings, here: np.ndarray) -> Callable[[np.ndarray, np.ndarray], np.ndarray]:
    """The diode of some builds under an ohms range."""
    own = {key: value[here] if np.ndim(value) else value for key, value in settings.items() if key.startswith(name)}
    return partial(behind_a_meter, name, own)
