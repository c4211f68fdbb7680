"""A knock on the disc: how far it drives the gate, against what the transistor may take, and how long the stage is
silent after it.

The whole network in the time domain, from rest. A knock is not a string: its size and shape are assumptions, so several
shapes are run, both ways round, and the worst is told. Voltages are judged on a run whose gate never breaks down;
currents, and the silence, on that run and on two in which it does, at the rating and at one and a half times it: a
rating is a promise of the maker, not the voltage at which a part lets go.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.assembly import Assembly
from piezolab.circuit.breakdown import breaking_down
from piezolab.circuit.elements import Clamp
from piezolab.circuit.network import Network
from piezolab.circuit.operating_point import JfetPoint, OperatingPoint
from piezolab.circuit.small_signal import linearised, transfer
from piezolab.circuit.transient import Transient, stored_at, transient
from piezolab.studies.kept import kept
from piezolab.studies.linear import LINE_HZ, LinearChain
from piezolab.studies.swing import swing

KNOCK_V = 40.0  # open-circuit peak of a hard knock on a disc: common practice, no source
KNOCK_HZ = 500.0  # of a knuckle on thin wood: common practice, no source
RING_S = 1.5e-3  # in which a decaying ring falls to 37 %
SHAPES = ("half a swing", "a whole swing", "a ring that dies away")
WAYS = (1.0, -1.0)
BREAKS_AT = (np.inf, 1.5, 1.0)  # parts of the rating; inf: never
QUIET_DB = 1.0  # the gain at 1 kHz is back within this
EDGE_PART = 0.2  # and the clip edge within this part
STEPS = 96  # in one period of the knock
WITHIN = 2e-5  # of the peak; see `within`
_PERIODS = 3  # the ring has all but died away then
_NEVER_V = 1e5
_LOST_DB = 40.0  # less than this part of the gain is nothing
_LONGEST_S = 1000.0
INSTANTS = 120  # at which it is asked whether the stage plays again
_PER_LENGTH = 12  # steps before the next length, twice as long


@dataclass(frozen=True)
class Knock:
    """Arrays (S, 2): shapes by ways round (the disc's voltage first up, first down); or (S, 2, 3) by `BREAKS_AT`.

    peak_v: open-circuit peak, V; gate_low_v: lowest gate voltage against ground; gate_source_v, gate_drain_v: furthest
    the gate is below source and drain, V, with no breakdown; may_v, may_drain_v: the ratings; output_v: largest change
    at the input that follows, V peak; forward_a: largest current into the gate, A; reverse_a, charge_c, energy_j: what
    breaks through backwards, A, C, J (the most that one transistor takes); may_a: rating of the forward current;
    silent_s: from the start of the knock until the stage plays again: 1 kHz within QUIET_DB and the clip edge within
    EDGE_PART of rest, s; inf where it does not within a quarter of an hour, nan where the stage does not work at rest;
    clamp_a, clamp_may_a: the most that goes through a clamp's part, and what that may carry, A; 0 and inf without one.
    """

    peak_v: float
    gate_low_v: np.ndarray
    gate_source_v: np.ndarray
    gate_drain_v: np.ndarray
    may_v: float
    may_drain_v: float
    output_v: np.ndarray
    forward_a: np.ndarray
    may_a: float
    reverse_a: np.ndarray
    charge_c: np.ndarray
    energy_j: np.ndarray
    silent_s: np.ndarray
    clamp_a: float
    clamp_may_a: float

    @property
    def over_voltage(self) -> bool:
        """Whether a voltage rating of the transistor is exceeded."""
        return bool(np.any(self.gate_source_v > self.may_v) or np.any(self.gate_drain_v > self.may_drain_v))

    @property
    def over_current(self) -> bool:
        """Whether more flows into the gate than it may take forwards."""
        return bool(np.any(self.forward_a > self.may_a))


def knock_shape(time: np.ndarray, shape: str, frequency: float = KNOCK_HZ) -> np.ndarray:
    """A knock of peak 1 that begins at 0 s, first upwards; time in s. Raises ValueError naming the shapes."""
    swing_ = np.sin(2 * np.pi * frequency * time)
    if shape == SHAPES[0]:
        return np.where(time < 0.5 / frequency, swing_, 0.0)
    if shape == SHAPES[1]:
        return np.where(time < 1 / frequency, swing_, 0.0)
    if shape != SHAPES[2]:
        raise ValueError(f"{shape!r} is no shape of a knock: {', '.join(SHAPES)}")
    # the first top of exp(-t/tau) sin(wt) lies at tan(wt) = w tau
    top = np.arctan(2 * np.pi * frequency * RING_S) / (2 * np.pi * frequency)
    return np.exp(-time / RING_S) * swing_ / (np.exp(-top / RING_S) * np.sin(2 * np.pi * frequency * top))


def knock_times(
    steps: int = STEPS,
    frequency: float = KNOCK_HZ,
    periods: int = _PERIODS,
    longest_s: float = _LONGEST_S,
) -> np.ndarray:
    """Even steps for some periods of the knock, then ever longer ones up to longest_s; s."""
    length = 1 / (frequency * steps)
    lengths = [np.full(periods * steps, length)]
    while sum(map(np.sum, lengths)) < longest_s:
        length *= 2
        lengths.append(np.full(_PER_LENGTH, length))
    return np.concatenate([[0.0], np.cumsum(np.concatenate(lengths))])


def ratings(assembly: Assembly) -> tuple[float, float]:
    """What the gate may stand under its source and under its drain, V; the least of several transistors."""
    return min(kind.vgs_max for kind in assembly.types), min(kind.vds_max for kind in assembly.types)


@kept(2)
def knock(chain: SignalChain, peak_v: float = KNOCK_V) -> Knock | None:
    """What a knock of that open-circuit peak (V) does; None with no stage. Raises CircuitError."""
    linear = LinearChain.of(chain.values)
    if linear.transistor is None:
        return None
    may_v, may_drain_v = ratings(linear.assembly)
    whole, run = run_knock(linear, peak_v, may_v, may_drain_v)
    network, names = linear.assembly.network, linear.assembly.transistors
    gates = [network[name].gate for name in names]
    low = np.min([run.voltage(gate) for gate in gates], axis=0)
    source = np.max([-run.inside[name][0] for name in names], axis=0)
    drain = np.max([run.inside[name][1] - run.inside[name][0] for name in names], axis=0)
    load = run.voltages[linear.assembly.load]
    load = load - np.asarray(linear.point.voltages[linear.assembly.load])[..., None]
    forward = np.max([run.jfets[name].i_g for name in names], axis=0)
    reverse, charge, energy = _broken_through(whole, run)
    free = (Ellipsis, BREAKS_AT.index(np.inf), slice(None))  # the run that never breaks down
    return Knock(
        peak_v=float(peak_v),
        gate_low_v=low[free].min(-1),
        gate_source_v=source[free].max(-1),
        gate_drain_v=drain[free].max(-1),
        may_v=may_v,
        may_drain_v=may_drain_v,
        output_v=np.abs(load[free]).max(-1),
        forward_a=forward[free].max(-1),
        may_a=min(kind.ig_max for kind in linear.assembly.types),
        reverse_a=reverse,
        charge_c=charge,
        energy_j=energy,
        silent_s=_silent(linear, run),
        **through_clamps(chain, network, run),
    )


def run_knock(
    linear: LinearChain, peak_v: float, may_v: float, may_drain_v: float, steps: int = STEPS
) -> tuple[Network, Transient]:
    """The network and the run of all shapes, ways round and breakdowns, batch (S, 2, 3)."""
    time = knock_times(steps)
    way = peak_v * np.array(WAYS)[:, None, None]

    def waves(at: np.ndarray) -> np.ndarray:
        return np.stack([way * knock_shape(at, shape) for shape in SHAPES])

    return run_waves(linear, time, waves, may_v, may_drain_v, np.array(BREAKS_AT), within(peak_v, steps))


def within(peak_v: float, steps: int = STEPS) -> float:
    """What a bend of a gate's current may weigh in one step of a knock of that peak, V, as `transient` has it; it falls
    with the square of the step."""
    return WITHIN * abs(peak_v) * (STEPS / steps) ** 2


def run_waves(
    linear: LinearChain,
    time: np.ndarray,
    waves: Callable[[np.ndarray], np.ndarray],
    may_v: float,
    may_drain_v: float,
    parts: np.ndarray,
    bend_v: float,
) -> tuple[Network, Transient]:
    """The same of any open-circuit voltages of a disc (V, batch + time, for instants in s); parts: of the ratings (V)
    at which the gate breaks down, inf never; bend_v: see `within`."""
    network = linear.assembly.network
    levels = [np.where(np.isfinite(parts), parts * may, _NEVER_V) for may in (may_v, may_drain_v)]
    whole = breaking_down(network, *levels)
    driven = {
        name: lambda at, amplitude=amplitude: waves(at) * amplitude for name, amplitude in linear.assembly.drive.items()
    }
    return whole, transient(whole, time, driven, stored_at(network, linear.point), bend_v)


def _broken_through(whole: Network, run: Transient) -> tuple[np.ndarray, ...]:
    """Most current, charge and energy of what goes backwards through a gate, by run; of the transistor with most."""
    most = np.zeros((3, *next(iter(run.voltages.values())).shape[:-1]))
    for jfet in whole.jfets:
        if isinstance(jfet, Clamp):
            continue
        v_gs, v_ds = run.inside[jfet.name]
        i_gs, _, i_gd, _ = jfet.model.over_time().broken_through(v_gs, v_gs - v_ds)
        power = i_gs * v_gs + i_gd * (v_gs - v_ds)
        this = [-(i_gs + i_gd).min(-1), -run.total(i_gs + i_gd), run.total(power)]
        most = np.maximum(most, this)
    return tuple(most)


def through_clamps(chain: SignalChain, network: Network, run: Transient) -> dict[str, float]:
    """The most through a clamp of the chain, and what it may carry, A, as `Knock` has them."""
    names = [element.name for element in network if isinstance(element, Clamp)]
    if not names:
        return {"clamp_a": 0.0, "clamp_may_a": float("inf")}
    most = max(float(np.abs(run.jfets[name].i_g).max()) for name in names)
    return {"clamp_a": most, "clamp_may_a": catalogue.clamps()[chain.clamp_part].may_a}


def _silent(linear: LinearChain, run: Transient) -> np.ndarray:
    """When gain and clip edge are back for good, s after the start, by run."""
    over = 1 / KNOCK_HZ  # while it lasts nobody asks whether the strings are heard
    late = np.unique(np.searchsorted(run.time, np.geomspace(over, run.time[-1], INSTANTS)).clip(0, len(run.time) - 1))
    names = [jfet.name for jfet in linear.assembly.network.jfets]
    kinds = [field.name for field in fields(JfetPoint)]
    points = {name: JfetPoint(*(getattr(run.jfets[name], kind)[..., late] for kind in kinds)) for name in names}
    wide = LinearChain(_as_wide(linear.assembly, points[names[0]].v_gs.shape))
    # slow charges held as the run left them
    gain, edge = (np.moveaxis(each, -1, 0) for each in _plays(wide.standing(OperatingPoint({}, {}, points))))
    rest_gain, rest_edge = _plays(linear)
    if not (rest_gain > 0 and rest_edge > 0):  # what does not work at rest cannot come back
        return np.full(gain.shape[1:], np.nan)
    with np.errstate(divide="ignore"):
        lost_db = np.minimum(np.abs(20 * np.log10(gain / rest_gain)), _LOST_DB)
    missed = np.stack([lost_db - QUIET_DB, np.abs(edge - rest_edge) / rest_edge - EDGE_PART])
    return _last_above_zero(run.time[late], missed).max(axis=0)


def _as_wide(assembly: Assembly, shape: tuple[int, ...]) -> Assembly:
    """The assembly as a batch of that shape, for its states; with one transistor it may stay as it is."""
    if len(assembly.transistors) == 1:
        return assembly
    parts = (
        replace(part, value=replace(part.value, beta=np.broadcast_to(part.value.beta, shape)))
        if part.kind == "jfet"
        else part
        for part in assembly.parts
    )
    return replace(assembly, parts=tuple(parts))


def _last_above_zero(time: np.ndarray, value: np.ndarray) -> np.ndarray:
    """When values over time (second axis) fall to 0 for good, between instants on a straight line; 0 where they never
    are above it, inf where the last still is."""
    above = value > 0
    last = value.shape[1] - 1 - np.argmax(above[:, ::-1], axis=1)
    here, after = (np.take_along_axis(value, np.minimum(last + n, len(time) - 1)[:, None], 1)[:, 0] for n in (0, 1))
    start, end = time[last], time[np.minimum(last + 1, len(time) - 1)]
    with np.errstate(divide="ignore", invalid="ignore"):
        found = start + (end - start) * here / (here - after)
    return np.where(~above.any(axis=1), 0.0, np.where(last == len(time) - 1, np.inf, found))


def _plays(linear: LinearChain) -> tuple[np.ndarray, np.ndarray]:
    """Gain at 1 kHz, as a ratio, and the clip edge, V, of a chain as it stands."""
    assembly = linear.assembly
    h = transfer(linearised(assembly.network, linear.point), LINE_HZ, assembly.drive, assembly.load)
    return np.abs(h), swing(linear).headroom
