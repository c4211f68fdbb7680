"""The whole network in the time domain: charges, clipping, recovery, thumps.

Capacitors and coils become a resistance and a source that holds their past (second-order backward differences, which
damp what is too fast for the step instead of letting it ring); the linear rest is reduced to the transistors' ports
once for each step length, and each step is Newton's method on these few voltages, started from the last ones. A batch
runs in step. Dielectric loss is left out: a constant loss tangent has no simple form in the time domain.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from piezolab.circuit.elements import GROUND, Capacitor, CurrentSource, Inductor, VoltageSource
from piezolab.circuit.errors import CircuitError, OperatingPointError
from piezolab.circuit.jfet import JfetModel
from piezolab.circuit.network import Network, static_equations
from piezolab.circuit.operating_point import JfetPoint, OperatingPoint, jfet_point, operating_point
from piezolab.circuit.ports import critical_voltage, flat_model, limited, port_currents, solve_ports, solve_small
from piezolab.giving_way import give_way

_ITERATIONS = 40
_SETTLED_V = 1e-7  # a last step this small leaves an error of its square over the thermal voltage


@dataclass(frozen=True)
class Transient:
    """time: s, (T,); voltages: V by node, batch + (T,); jfets by name, each array batch + (T,); stored: the last
    capacitor voltages (V) and coil currents (A) by element, from which a further run may start."""

    time: np.ndarray
    voltages: Mapping[str, np.ndarray]
    jfets: Mapping[str, JfetPoint]
    stored: Mapping[str, np.ndarray]

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
    waveforms: Mapping[str, np.ndarray] | None = None,
    start: Mapping[str, np.ndarray] | None = None,
    kinks: Collection[int] = (),
) -> Transient:
    """Run the network over `time` (s, increasing, at least two; steps may differ).

    waveforms: voltage (V) or current (A) of independent sources over time, shape batch + (T,); others hold their
    direct value. start: capacitor voltages and coil currents just before time[0] (see `stored_at`); those not named
    are 0; without `start` it is the operating point of the network as it stands. kinks: instants, by number, at which
    the slope of a waveform jumps; the step after each forgets what came before it. Charge may jump at time[0] where
    the network makes it (a cable plugged in). Error falls with the square of the step: 256 steps a period keep a sine
    within 0.05 %. Raises CircuitError, SingularNetworkError, or OperatingPointError naming transistor and time.
    """
    time = np.asarray(time, float)
    if time.ndim != 1 or len(time) < 2 or not np.all(np.diff(time) > 0):
        raise CircuitError("time must be a row of at least two increasing values in s")
    run = _Run(with_capacitances(network), network, time, dict(waveforms or {}), frozenset(map(int, kinks)))
    if start is None:
        start = stored_at(network, operating_point(network))
    unknown = set(start) - set(run.keeps)
    if unknown:
        raise CircuitError(f"{sorted(unknown)[0]!r} stores nothing; {', '.join(run.keeps)} do")
    return run.through(start)


class _Run:
    """One run: shapes, sources over time, and the matrices of each step length."""

    def __init__(
        self, whole: Network, network: Network, time: np.ndarray, waveforms: dict[str, np.ndarray],
        kinks: frozenset[int],
    ) -> None:  # fmt: skip
        self.network, self.whole, self.time, self.kinks = network, whole, time, kinks
        self.names = [jfet.name for jfet in network.jfets]
        sources = [e for e in network if isinstance(e, VoltageSource | CurrentSource)]
        for name, wave in waveforms.items():
            if name not in {source.name for source in sources}:
                raise CircuitError(f"{name!r} is no independent source and takes no waveform")
            if np.shape(wave)[-1:] != time.shape:
                raise CircuitError(f"{name}: a waveform of shape {np.shape(wave)} does not fit {len(time)} instants")
        batches = [np.shape(wave)[:-1] for wave in waveforms.values()]
        self.shape = np.broadcast_shapes(network.batch_shape, *batches)
        self.size = int(np.prod(self.shape))
        self.models = [flat_model(jfet.model, self.shape) for jfet in network.jfets]
        self.keeps = [e.name for e in whole if isinstance(e, Capacitor | Inductor)]
        self.sources = [source.name for source in sources]
        direct = {e.name: e.volt if isinstance(e, VoltageSource) else e.ampere for e in sources}
        full = (*self.shape, len(time))
        self.driven = np.empty((len(time), self.size, len(sources)))
        for k, name in enumerate(self.sources):
            wave = waveforms[name] if name in waveforms else np.asarray(direct[name], float)[..., None]
            self.driven[..., k] = np.broadcast_to(wave, full).reshape(self.size, len(time)).T
        self.static = static_equations(whole)
        self.matrices: dict[tuple[float, float], _Matrices] = {}

    def flat(self, value: object) -> np.ndarray:
        return np.broadcast_to(np.asarray(value, float), self.shape).reshape(self.size)

    def step_of(self, length: float, ratio: float) -> _Matrices:
        key = (float(f"{length:.9e}"), float(f"{ratio:.6e}"))  # equal steps differ in their last digits
        if key not in self.matrices:
            self.matrices[key] = _Matrices(self, length, ratio)
        return self.matrices[key]

    def through(self, start: Mapping[str, np.ndarray]) -> Transient:
        steps = np.diff(self.time)
        past = np.stack([self.flat(start.get(name, 0.0)) for name in self.keeps], axis=-1)
        before = past
        v = np.zeros((self.size, 2 * len(self.models)))
        last_v = v
        records = np.empty((len(self.time), self.size, len(self.network.nodes)))
        ports = np.empty((len(self.time), self.size, 2 * len(self.models)))
        for n in range(len(self.time)):
            give_way()
            # the first instant follows from what is stored, by a step so short that nothing flows but what must
            length = steps[n - 1] if n else 1e-6 * steps[0]
            first = n < 2 or n - 1 in self.kinks
            ratio = 0.0 if first else steps[n - 1] / steps[n - 2]
            m = self.step_of(length, ratio)
            held = m.newer * past if first else m.newer * past - m.older * before
            inputs = np.concatenate([self.driven[n], held], axis=-1)
            found = (m.all_inputs @ inputs[..., None])[..., 0]
            if self.models:
                guess = limited(v, 2 * v - last_v, m.v_t, m.critical) if n > 1 else v
                last_v, (v, i) = v, self.solve(m, found[:, : v.shape[1]], guess, n)
                found = found + (m.all_ports @ i[..., None])[..., 0]
            before, past = past, found[:, m.kept]
            records[n], ports[n] = found[:, m.nodes], v
        voltages = {
            node: records[..., k].T.reshape(*self.shape, len(self.time)) for k, node in enumerate(self.network.nodes)
        }
        stored = {name: past[:, k].reshape(self.shape) for k, name in enumerate(self.keeps)}
        return Transient(self.time, MappingProxyType(voltages), self.points(ports), MappingProxyType(stored))

    def points(self, ports: np.ndarray) -> Mapping[str, JfetPoint]:
        full = (*self.shape, len(self.time))
        index = np.repeat(np.arange(self.size), len(self.time))
        points = {}
        for n, name in enumerate(self.names):
            v_gs, v_ds = (ports[..., 2 * n + k].T.reshape(-1) for k in (0, 1))
            points[name] = jfet_point(self.models[n].take(index, (self.size,)), v_gs, v_ds, full)
        return MappingProxyType(points)

    def solve(
        self, m: _Matrices, v_open: np.ndarray, v: np.ndarray, n: int
    ) -> tuple[np.ndarray, np.ndarray]:
        """Voltages and currents of the ports."""
        z = m.impedance
        for _ in range(_ITERATIONS):
            i, slope, _ = port_currents(self.models, v)
            step = -solve_small(z, slope, v - v_open + (z @ i[..., None])[..., 0])
            if np.max(np.abs(step)) < _SETTLED_V:
                return v + step, i + (slope @ step[..., None])[..., 0]
            v = limited(v, v + step, m.v_t, m.critical)
        try:
            v = solve_ports(self.names, self.models, v_open, z)
        except OperatingPointError as error:
            raise OperatingPointError(f"{error} at {self.time[n]:.6g} s") from None
        return v, port_currents(self.models, v)[0]


class _Matrices:
    """For one step length: what sources, pasts and transistor currents do to ports, nodes and stores."""

    def __init__(self, run: _Run, length: float, ratio: float) -> None:
        # i = C/h ((1+2r)/(1+r) v - (1+r) v_1 + r^2/(1+r) v_2), r the ratio of this step to the last; 0: first order
        now, newer, older = (1 + 2 * ratio) / (1 + ratio), 1 + ratio, ratio**2 / (1 + ratio)
        equations = run.static.copy()
        sides: list[dict[str, object]] = []
        for element in run.whole:
            if isinstance(element, VoltageSource):
                sides.append({element.name: 1.0})
            elif isinstance(element, CurrentSource):
                sides.append(_sent(element.b, element.a))
        scale = []
        for element in run.whole:
            if isinstance(element, Capacitor):
                equations.admittance(element.a, element.b, now / length * np.asarray(element.farad, float)[()])
                sides.append(_sent(element.a, element.b))
                scale.append(run.flat(element.farad) / length)
            elif isinstance(element, Inductor):
                ohm = now / length * np.asarray(element.henry, float)[()]
                equations.branch(element.name, element.a, element.b, ohm)
                sides.append({element.name: -1.0})
                scale.append(run.flat(element.henry) / length)
        per_step = np.stack(scale, axis=-1) if scale else np.zeros((run.size, 0))
        self.newer, self.older = newer * per_step, older * per_step
        inputs = len(sides)
        for q in run.network.jfets:
            sides += [_sent(q.source, q.gate), _sent(q.source, q.drain)]
        answers = equations.solve(*sides)
        pairs = [(end, q.source) for q in run.network.jfets for end in (q.gate, q.drain)]
        rows = [[_of(a, end) - _of(a, source) for a in answers] for end, source in pairs]
        rows += [[a[node] for a in answers] for node in run.network.nodes]
        for element in run.whole:
            if isinstance(element, Capacitor):
                rows.append([_of(a, element.a) - _of(a, element.b) for a in answers])
            elif isinstance(element, Inductor):
                rows.append([a[element.name] for a in answers])
        if not any(getattr(value, "ndim", 0) for row in rows for value in row):  # the same for the whole batch
            table = np.repeat(np.asarray(rows, float)[None], run.size, axis=0)
        else:
            table = np.stack([np.stack([run.flat(value) for value in row], axis=-1) for row in rows], axis=-2)
        ports = 2 * len(run.models)
        self.all_inputs, self.all_ports = table[..., :inputs], table[..., inputs:]
        self.impedance = -self.all_ports[:, :ports]
        self.nodes = slice(ports, ports + len(run.network.nodes))
        self.kept = slice(ports + len(run.network.nodes), None)
        self.v_t, self.critical = _junctions(run.models, run.size)


def _junctions(models: list[JfetModel], size: int) -> tuple[np.ndarray, np.ndarray]:
    if not models:
        return np.zeros((size, 0)), np.zeros((size, 0))
    v_t = np.stack([np.broadcast_to(np.asarray(m.thermal_voltage, float), size) for m in models], axis=-1)
    return v_t, critical_voltage(models, size)


def _sent(into: str, out_of: str) -> dict[str, object]:
    """Right-hand side of 1 A that enters one node and leaves another."""
    if into == out_of:
        return {}
    return {node: sign for node, sign in ((into, 1.0), (out_of, -1.0)) if node != GROUND}


def _of(answer: Mapping[str, object], node: str) -> object:
    return 0.0 if node == GROUND else answer[node]

