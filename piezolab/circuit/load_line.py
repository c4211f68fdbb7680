"""Static transfer on the alternating-current load line: where a signal takes the transistors, without waiting for time.

At one frequency everything but the channels and junctions is a Thevenin network at the transistors' ports. Its
impedances are taken as the resistances that they are in phase with the signal, and its drive such that the slope at
rest is the exact small-signal response at that frequency. Capacitors so neither hold nor follow by decree: each does as
much of both as its reactance says, a charged coupling capacitor keeps its voltage, and the capacitive divider of a
piezo pickup is an ideal ratio. For a clamp the size of the impedance is taken, since it holds a capacitive source as
well as a resistive one. What this leaves out: the phase between gate and drain where reactances and resistances are
alike, and charge that builds up over many periods. `transient` has both.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from piezolab.circuit.elements import GROUND, Clamp, CurrentSource, Jfet
from piezolab.circuit.errors import CircuitError
from piezolab.circuit.jfet import JfetModel
from piezolab.circuit.network import Network, by_name
from piezolab.circuit.operating_point import JfetPoint, OperatingPoint, jfet_point
from piezolab.circuit.ports import flat_model, port_currents, solve_ports
from piezolab.circuit.small_signal import linearised, transfers, transfers_of_each
from piezolab.circuit.transient import with_capacitances


@dataclass(frozen=True)
class LoadLine:
    """Port voltages v = rest + drive*e - ohm*(i - i_rest), and an output likewise; e: instantaneous drive, V.

    Arrays are flat over the batch: rest, drive (N, 2K), ohm (N, 2K, 2K) in the port order of `ports`; gain (N,), of
    either sign, is the output's small-signal slope with |gain| the magnitude of the response; out_ohm (N, 2K).
    """

    names: tuple[str, ...]
    models: tuple[JfetModel, ...]
    shape: tuple[int, ...]
    rest: np.ndarray
    linear: np.ndarray
    drive: np.ndarray
    ohm: np.ndarray
    gain: np.ndarray
    out_ohm: np.ndarray

    def at(self, e: np.ndarray) -> tuple[Mapping[str, JfetPoint], np.ndarray]:
        """Transistors by name and change of the output from rest (V) at drives e (V), shape batch + (E,).

        Raises OperatingPointError.
        """
        e = np.broadcast_to(np.asarray(e, float), (*self.shape, np.shape(e)[-1]))
        count, full = e.shape[-1], e.shape
        flat = e.reshape(-1)
        index = np.repeat(np.arange(len(self.rest)), count)
        models = [model.take(index, (len(self.rest),)) for model in self.models]
        at_rest = port_currents(list(self.models), self.rest)[0]
        open_ = self.rest + (self.ohm @ at_rest[..., None])[..., 0]
        v_open = open_[index] + self.drive[index] * flat[:, None]
        straight = self.linear[index] * flat[:, None]
        v = solve_ports(self.names, models, v_open, self.ohm[index], self.rest[index] + straight)
        i, slope, _ = port_currents(models, v)
        slope = port_currents(list(self.models), self.rest)[1][index]
        bent = i - at_rest[index] - (slope @ straight[..., None])[..., 0]
        output = self.gain[index] * flat - (self.out_ohm[index] * bent).sum(axis=-1)
        points = {
            name: jfet_point(models[n], v[:, 2 * n], v[:, 2 * n + 1], full) for n, name in enumerate(self.names)
        }
        return points, output.reshape(full)


def load_line(
    network: Network,
    point: OperatingPoint,
    frequency: float,
    drive: Mapping[str, float | np.ndarray] | str,
    output: str,
    reference: str = GROUND,
    *,
    seen: list[list[np.ndarray]] | None = None,
) -> LoadLine:
    """The load line of all transistors of a network at one frequency (Hz), driven by a source or several.

    seen: what `seen_from_ports` says of the same, where it is known. Raises CircuitError where there is no
    transistor or no such source, and SingularNetworkError.
    """
    jfets = network.jfets
    if not jfets:
        raise CircuitError("a network without a transistor has no load line")
    scale = [np.shape(amplitude) for amplitude in by_name(drive).values()]
    shape = np.broadcast_shapes(network.batch_shape, *scale)
    size = int(np.prod(shape))
    pairs = _places(network, output, reference)
    seen = seen_from_ports(network, frequency, drive, output, reference) if seen is None else seen

    def flat(seen: list[np.ndarray]) -> np.ndarray:
        return np.stack([np.broadcast_to(value, shape).reshape(size) for value in seen], axis=-1)

    z = -np.stack([flat(each) for each in seen[1:]], axis=-1)  # volts lost for each ampere drawn
    for n, q in enumerate(jfets):
        if isinstance(q, Clamp):  # a clamp holds its voltage whatever it takes: the size of the impedance counts
            z[..., 2 * n] = z[..., 2 * n] * np.conj(_unit(z[:, 2 * n, 2 * n]))[:, None]
    models = tuple(flat_model(q.model, shape) for q in jfets)
    ports = [getattr(point.jfets[q.name], field) for q in jfets for field in ("v_gs", "v_ds")]
    rest = np.stack([np.broadcast_to(v, shape).reshape(size) for v in ports], axis=-1)
    slope = port_currents(list(models), rest)[1]
    whole = linearised(network, point)
    response = flat(transfers(whole, frequency, drive, pairs))
    straight, gain = response[:, :-1], response[:, -1]
    phase = _unit(straight[:, :1])  # of the first gate: the instant at which the line is drawn is its crest
    linear = np.real(straight * np.conj(phase))
    ohm = np.real(z[:, :-1])
    sign = np.where(np.real(gain * np.conj(phase[:, 0])) < 0, -1.0, 1.0)
    turned = phase * np.conj(_unit(sign * gain))[:, None]  # the output is read at its own crest
    return LoadLine(
        names=tuple(q.name for q in jfets),
        models=models,
        shape=shape,
        rest=rest,
        linear=linear,
        drive=linear + (ohm @ (slope @ linear[..., None]))[..., 0],
        ohm=ohm,
        gain=sign * np.abs(gain),
        out_ohm=np.real(z[:, -1] * turned),
    )


def seen_from_ports(
    network: Network,
    frequency: float,
    drive: Mapping[str, float | np.ndarray] | str,
    output: str,
    reference: str = GROUND,
) -> list[list[np.ndarray]]:
    """Voltages of V_GS and V_DS of each transistor in turn and of the output, complex, with the channels and junctions
    taken out: per unit of drive, then per ampere drawn from each of those ports (gate, drain) to its source."""
    pairs = _places(network, output, reference)
    sends = [CurrentSource(f"{q.name} from {n}", *pair) for q in network.jfets for n, pair in enumerate(_ports(q))]
    around = Network(e for e in with_capacitances(network) if not isinstance(e, Jfet)).plus(*sends)
    return transfers_of_each(around, frequency, [drive, *(send.name for send in sends)], pairs)


def _places(network: Network, output: str, reference: str) -> list[tuple[str, str]]:
    return [pair for q in network.jfets for pair in _ports(q)] + [(output, reference)]


def _ports(q: Jfet) -> tuple[tuple[str, str], tuple[str, str]]:
    return (q.gate, q.source), (q.drain, q.source)


def _unit(value: np.ndarray) -> np.ndarray:
    size = np.abs(value)
    return np.where(size > 0, value / np.where(size > 0, size, 1.0), 1.0)
