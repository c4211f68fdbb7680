"""The whole network in the time domain: charges, clipping, recovery, thumps.

A step has two implicit stages of one length, of which the second ends it (R. Alexander, SIAM J. Numer. Anal. 14 (1977)
1006-1021, order two): it damps what is too fast for the step instead of letting it ring, and remembers nothing, so a
corner of a waveform leaves no echo. In each stage capacitors and coils are a resistance and a source that holds their
past; the linear rest is reduced to the transistors' ports once for each length, and Newton's method finds these few
voltages from the last ones. A batch runs in step. Dielectric loss is left out: a constant loss tangent has no simple
form in the time domain.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from piezolab.circuit.elements import GROUND, Capacitor, CurrentSource, Inductor, VoltageSource
from piezolab.circuit.errors import CircuitError, OperatingPointError
from piezolab.circuit.network import Network, static_equations
from piezolab.circuit.operating_point import JfetPoint, OperatingPoint, jfet_point, operating_point
from piezolab.circuit.ports import flat_model, limited, port_currents, solve_ports, solve_small
from piezolab.circuit.step_matrices import StepMatrices
from piezolab.giving_way import give_way

GAMMA = 1 - 0.5**0.5  # of a step, where its first stage lies: with it the rule is of second order and damps
Waveform = np.ndarray | Callable[[np.ndarray], np.ndarray]

_ITERATIONS = 40
_MOST_HALVED = 12
_CHANNEL = 0.03  # what a channel's bend counts: it is gentle, and does not move the gate
_EASY = 1 / 8  # of what a bend may be: twice the step is tried
_SETTLED_V = 1e-7  # a last step this small leaves an error of its square over the thermal voltage


@dataclass(frozen=True)
class Transient:
    """time: s, (T,); voltages: V by node, batch + (T,); jfets by name, each array batch + (T,); stored: the last
    capacitor voltages (V) and coil currents (A) by element, from which a further run may start; weights: s, (M,), of
    the stages of all steps, and inside: V_GS and V_DS in them by transistor, V, each batch + (M,)."""

    time: np.ndarray
    voltages: Mapping[str, np.ndarray]
    jfets: Mapping[str, JfetPoint]
    stored: Mapping[str, np.ndarray]
    weights: np.ndarray
    inside: Mapping[str, tuple[np.ndarray, np.ndarray]]

    def total(self, value: np.ndarray) -> np.ndarray:
        """Integral over the run of what is known in each stage, batch + (M,), as the steps themselves reckon: of a
        current the very charge that the capacitors gain or lose."""
        return np.sum(value * self.weights, axis=-1)

    def voltage(self, a: str, b: str = GROUND) -> np.ndarray:
        """v(a) - v(b) in V over time."""
        zero = np.zeros_like(next(iter(self.voltages.values())))
        return (zero if a == GROUND else self.voltages[a]) - (zero if b == GROUND else self.voltages[b])


def stored_at(network: Network, point: OperatingPoint) -> dict[str, np.ndarray]:
    """Capacitor voltages (V, a to b) and coil currents (A, a to b) at rest, by element; a transistor `Q` has the
    capacitors `Q c_gs` and `Q c_gd`."""
    stored = {}
    for element in with_capacitances(network):
        if isinstance(element, Capacitor):
            stored[element.name] = point.voltage(element.a, element.b)
        elif isinstance(element, Inductor):
            stored[element.name] = point.branch_currents[element.name]
    return stored


def with_capacitances(network: Network) -> Network:
    """The network with each transistor's constant capacitances as elements of their own."""
    more = []
    for q in network.jfets:
        more.append(Capacitor(f"{q.name} c_gs", q.gate, q.source, q.model.cgs))
        more.append(Capacitor(f"{q.name} c_gd", q.gate, q.drain, q.model.cgd))
    return network.plus(*more)


def transient(
    network: Network,
    time: np.ndarray,
    waveforms: Mapping[str, Waveform] | None = None,
    start: Mapping[str, np.ndarray] | None = None,
    within: float | None = None,
) -> Transient:
    """Run the network over `time` (s, increasing, at least two; steps may differ).

    waveforms: voltage (V) or current (A) of independent sources over time, shape batch + (T,), straight between the
    instants, or a function that gives it for any row of instants; others hold their direct value. start: capacitor
    voltages and coil currents just before time[0] (see `stored_at`); those not named are 0; without `start` it is the
    operating point of the network as it stands. within: V; where the current of a gate or clamp bends by more than
    this within a step, times the impedance that it meets (a channel's by thirty times as much), the step is halved
    until it does not: corners are far sharper than a step. Charge may jump at time[0] where the network makes it (a
    cable plugged in). Error falls with the square of the step: 256 steps a period keep a sine within 0.01 %. Raises
    CircuitError, SingularNetworkError, or OperatingPointError naming transistor and time.
    """
    time = np.asarray(time, float)
    if time.ndim != 1 or len(time) < 2 or not np.all(np.diff(time) > 0):
        raise CircuitError("time must be a row of at least two increasing values in s")
    run = _Run(with_capacitances(network), network, time, dict(waveforms or {}), within)
    if start is None:
        start = stored_at(network, operating_point(network))
    unknown = set(start) - set(run.keeps)
    if unknown:
        raise CircuitError(f"{sorted(unknown)[0]!r} stores nothing; {', '.join(run.keeps)} do")
    return run.through(start)


class _Run:
    """One run: shapes, sources over time, and the matrices of each step length."""

    def __init__(
        self, whole: Network, network: Network, time: np.ndarray, waveforms: dict[str, Waveform], within: float | None
    ) -> None:  # fmt: skip
        self.network, self.whole, self.time, self.within = network, whole, time, within
        self.names = [jfet.name for jfet in network.jfets]
        sources = [e for e in network if isinstance(e, VoltageSource | CurrentSource)]
        self.waves = [e.volt if isinstance(e, VoltageSource) else e.ampere for e in sources]
        order = [source.name for source in sources]
        for name, wave in waveforms.items():
            if name not in order:
                raise CircuitError(f"{name!r} is no independent source and takes no waveform")
            if not callable(wave) and np.shape(wave)[-1:] != time.shape:
                raise CircuitError(f"{name}: a waveform of shape {np.shape(wave)} does not fit {len(time)} instants")
            self.waves[order.index(name)] = wave
        batches = [np.shape(wave(time[:1]) if callable(wave) else wave)[:-1] for wave in waveforms.values()]
        self.shape = np.broadcast_shapes(network.batch_shape, *batches)
        self.size = int(np.prod(self.shape))
        self.models = [flat_model(jfet.model, self.shape) for jfet in network.jfets]
        self.weight = np.tile([1.0, _CHANNEL], len(self.models))
        self.keeps = [e.name for e in whole if isinstance(e, Capacitor | Inductor)]
        self.driven_by = set(map(order.index, waveforms))
        self.static = static_equations(whole)
        self.matrices: dict[float, StepMatrices] = {}
        self.stages: list[tuple[np.ndarray, np.ndarray]] = []  # weights and ports of those that count

    def flat(self, value: object) -> np.ndarray:
        return np.broadcast_to(np.asarray(value, float), self.shape).reshape(self.size)

    def driven(self, at: np.ndarray) -> np.ndarray:
        """The sources at some instants, s, (len(at), N, sources); an array runs straight from instant to instant."""
        answer = np.empty((len(at), self.size, len(self.waves)))
        after = np.searchsorted(self.time, at).clip(1, len(self.time) - 1)
        part = (at - self.time[after - 1]) / (self.time[after] - self.time[after - 1])
        for k, wave in enumerate(self.waves):
            if k not in self.driven_by:
                value = np.asarray(wave, float)[..., None]
            elif callable(wave):
                value = wave(at)
            else:
                value = np.asarray(wave, float)
                value = value[..., after - 1] * (1 - part) + value[..., after] * part
            answer[..., k] = np.broadcast_to(value, (*self.shape, len(at))).reshape(self.size, len(at)).T
        return answer

    def step_of(self, length: float) -> StepMatrices:
        key = float(f"{length:.9e}")  # equal steps differ in their last digits
        if key not in self.matrices:
            self.matrices[key] = StepMatrices(self.whole, self.static, self.models, self.shape, GAMMA * length)
        return self.matrices[key]

    def through(self, start: Mapping[str, np.ndarray]) -> Transient:
        time, steps = self.time, np.diff(self.time)
        there, between = self.driven(time), self.driven(time[:-1] + GAMMA * steps)
        stored = np.stack([self.flat(start.get(name, 0.0)) for name in self.keeps], axis=-1)
        records = np.empty((len(time), self.size, len(self.network.nodes)))
        ports = np.empty((len(time), self.size, 2 * len(self.models)))
        # the first instant follows from what is stored, by a step so short that nothing flows but what must
        first = self.step_of(1e-6 * steps[0])
        state, halved = self.stage(first, there[0], stored, *np.zeros((2, *ports.shape[1:]))), 0
        for n in range(len(time)):
            give_way()
            if n:
                try:
                    state, halved = self.across(n - 1, state, halved, np.stack([between[n - 1], there[n]]))
                except OperatingPointError as error:
                    raise OperatingPointError(f"{error} at {time[n]:.6g} s") from None
            records[n], ports[n] = state.found[:, first.nodes], state.v
        voltages = {
            node: records[..., k].T.reshape(*self.shape, len(time)) for k, node in enumerate(self.network.nodes)
        }
        kept = {name: state.stored[:, k].reshape(self.shape) for k, name in enumerate(self.keeps)}
        weights, inside = zip(*self.stages, strict=True)
        return Transient(
            time, MappingProxyType(voltages), self.points(ports), MappingProxyType(kept), np.ravel(weights),
            self.by_name(np.concatenate(inside)),
        )  # fmt: skip

    def by_name(self, ports: np.ndarray) -> Mapping[str, tuple[np.ndarray, np.ndarray]]:
        """V_GS and V_DS by transistor, V, batch + (M,), of ports (M, N, 2K)."""
        full = (*self.shape, len(ports))
        pairs = {name: (ports[..., 2 * n].T, ports[..., 2 * n + 1].T) for n, name in enumerate(self.names)}
        return MappingProxyType({name: tuple(v.reshape(full) for v in pair) for name, pair in pairs.items()})

    def points(self, ports: np.ndarray) -> Mapping[str, JfetPoint]:
        full = (*self.shape, len(self.time))
        index = np.repeat(np.arange(self.size), len(self.time))
        pairs = self.by_name(ports).values()
        return MappingProxyType({
            name: jfet_point(model.take(index, (self.size,)), *(v.reshape(-1) for v in pair), full)
            for name, model, pair in zip(self.names, self.models, pairs, strict=True)
        })  # fmt: skip

    def across(self, n: int, state: _State, halved: int, whole: np.ndarray) -> tuple[_State, int]:
        """From instant n to the next, in as many steps as it takes for no transistor's current to bend too much.

        halved: how often the step is halved at first, and, in the answer, at last; whole: the sources' values of the
        undivided step's two stages.
        """
        start, length = self.time[n], self.time[n + 1] - self.time[n]
        done, parts = 0, 2**_MOST_HALVED
        while done < parts:
            part, share = parts >> halved, 0.5**halved
            at = start + length * (done / parts + share * np.array([GAMMA, 1.0]))
            middle, ends, bend = self.step(length * share, state, self.driven(at) if halved else whole)
            if bend > 1 and halved < _MOST_HALVED:
                halved = min(halved + int(np.ceil(np.log2(bend) / 2)), _MOST_HALVED)
                continue
            self.stages.append((length * share * np.array([1 - GAMMA, GAMMA]), np.stack([middle, ends.v])))
            state, done = ends, done + part
            if halved and bend < _EASY and done % (2 * part) == 0:
                halved -= 1
        return state, halved

    def step(self, length: float, state: _State, sources: np.ndarray) -> tuple[np.ndarray, _State, float]:
        """The ports at the stage between, V, the state a step later, and how much a transistor's current bends on the
        way, as a part of what it may."""
        m = self.step_of(length)
        middle = self.stage(m, sources[0], state.stored, state.v, GAMMA * length * state.rate)
        held = state.stored + (1 - GAMMA) / GAMMA * (middle.stored - state.stored)
        end = self.stage(m, sources[1], held, middle.v, (1 / GAMMA - 1) * (middle.v - state.v))
        end = replace(end, rate=(end.v - middle.v) / ((1 - GAMMA) * length))
        if self.within is None:
            return middle.v, end, 0.0
        bend = m.own_ohm * (middle.i - (1 - GAMMA) * state.i - GAMMA * end.i)
        return middle.v, end, float(np.max(np.abs(bend * self.weight), initial=0.0)) / self.within

    def stage(
        self, m: StepMatrices, sources: np.ndarray, held: np.ndarray, v: np.ndarray, moving: np.ndarray
    ) -> _State:
        """Where capacitors that hold so much, and the sources, bring the network; v: of the ports so far, V; moving: by
        how much they are likely to move."""
        found = (m.all_inputs @ np.concatenate([sources, m.per_step * held], axis=-1)[..., None])[..., 0]
        i = v
        if self.models:
            v, i = self.solve(m, found[:, : v.shape[1]], limited(v, v + moving, m.v_t, m.critical))
            found = found + (m.all_ports @ i[..., None])[..., 0]
        return _State(found[:, m.kept], v, i, found, np.zeros_like(v))

    def solve(self, m: StepMatrices, v_open: np.ndarray, v: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Voltages and currents of the ports."""
        z = m.impedance
        for _ in range(_ITERATIONS):
            i, slope, _ = port_currents(self.models, v)
            step = -solve_small(z, slope, v - v_open + (z @ i[..., None])[..., 0])
            most = np.abs(step).max()
            if most < _SETTLED_V:
                return v + step, i + (slope @ step[..., None])[..., 0]
            v = v + step if most < m.least_v_t else limited(v, v + step, m.v_t, m.critical)
        v = solve_ports(self.names, self.models, v_open, z)
        return v, port_currents(self.models, v)[0]


@dataclass(frozen=True)
class _State:
    """stored (N, stores); v, i (N, ports) of the transistors; found: all rows of the matrices; rate: of v, V/s."""

    stored: np.ndarray
    v: np.ndarray
    i: np.ndarray
    found: np.ndarray
    rate: np.ndarray
