"""Direct voltage at the jack: what leaks through the output capacitor, and the thump when a cable is plugged in."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.parameters import all_parameters
from piezolab.chain.values import Values
from piezolab.circuit.elements import GROUND, CurrentSource
from piezolab.circuit.errors import CircuitError
from piezolab.circuit.network import Network
from piezolab.circuit.small_signal import impedance, transfers, transfers_of_each
from piezolab.quantity import decibels, preferred_between
from piezolab.studies.kept import kept
from piezolab.studies.linear import LinearChain
from piezolab.studies.output import free
from piezolab.studies.response import response

ELECTROLYTIC_FROM = 1e-6  # F; smaller output capacitors are film: common practice, no source
LEAK_PER_CV = 0.01  # A per farad and volt: the usual worst case of an electrolytic
LEAST_WORST_LEAK = 3e-6  # A
TYPICAL_PART = 0.1
NEARLY_DC_HZ = 1e-6
WAIT_S = 60.0  # unplugged and switched on for a minute
SETTLED_V = 10e-3


@dataclass(frozen=True)
class Plugging:
    """V, A, s; of one chain numbers, of a batch of builds arrays of its shape.

    rest_v: across the output capacitor at rest; leak_a, leak_worst_a: through it, typical and worst; dc_v,
    dc_worst_v: at the jack with cable and input connected; step_v: jump at the jack on plugging in after a
    minute unplugged; settle_s: from then until the jack is within 10 mV of where it stays; switch_on_v, switch_on_s:
    the same where the plug (or a switch) turns the stage on, its capacitor empty, the stage at rest at once: the most
    that it can be. Without an output capacitor (blocked False) the stage's own voltage stands on the jack.
    """

    rest_v: float
    leak_a: float
    leak_worst_a: float
    dc_v: float
    dc_worst_v: float
    step_v: float
    settle_s: float
    switch_on_v: float
    switch_on_s: float
    blocked: bool = True


def leakage(farad: np.ndarray | float, volt: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
    """Typical and worst leakage of a capacitor at a direct voltage, A, arrays allowed: none for film, 0.01*C*V or 3 uA
    at worst for an electrolytic, a tenth of that typically (makers' usual guarantee; common practice, no source)."""
    most = np.maximum(LEAK_PER_CV * farad * np.abs(volt), LEAST_WORST_LEAK)
    worst = np.where(np.less(farad, ELECTROLYTIC_FROM), 0.0, most * np.sign(volt))[()]
    return TYPICAL_PART * worst, worst


@kept(4)
def plugging(chain: SignalChain) -> Plugging | None:
    """Direct voltage and thump of the chain's output; None with no stage, which passes no direct voltage."""
    if not chain.topology.powered:
        return None
    found = plugging_of(chain.values)
    numbers = {field.name: float(getattr(found, field.name)) for field in fields(found) if field.name != "blocked"}
    return Plugging(**numbers, blocked=found.blocked)


def plugging_of(values: Values, linear: LinearChain | None = None) -> Plugging:
    """The same of resolved values with a stage, arrays of builds allowed: figures of the batch's shape."""
    linear = LinearChain.of(values) if linear is None else linear
    assembly = linear.assembly
    plugged = assembly.names("cable", "input")
    if not assembly.coupling:
        return _unblocked(linear, free(values))
    inner, outer = assembly.coupling[0].nodes
    blocking = [part for part in assembly.coupling if part.nodes == (inner, outer)]
    farad = sum(part.value for part in blocking)
    rest = linear.point.voltage(inner)
    apart = linear.network.without(*(part.name for part in assembly.coupling))
    stage = apart.without(*plugged)
    bleed, behind = _ohms(stage, outer, inner)
    both, at_jack = _through(apart, outer, assembly.jack)
    typical, worst = (sum(each) for each in zip(*(leakage(p.value, rest) for p in blocking), strict=True))
    # the capacitor charges through the bleed resistor while nothing is plugged in
    part = 1 / (1 + behind / bleed)
    left = rest * part * np.exp(-WAIT_S / (farad * (bleed + behind)))
    with np.errstate(invalid="ignore"):
        before = _bounded(left + np.where(np.equal(typical, 0), 0.0, typical * bleed), rest * part)
    on = rest * at_jack / (both + behind)
    after, after_worst = (_bounded(leak * at_jack, on) for leak in (typical, worst))
    far = np.abs(before - after)
    slow = farad * (both + behind)
    return Plugging(
        rest, typical, worst, after, after_worst, before, _settling(far, slow), on, _settling(np.abs(on), slow)
    )


def _unblocked(linear: LinearChain, alone: LinearChain) -> Plugging:
    """No capacitor holds the stage's voltage back: it stands on the jack for good."""
    jack = linear.assembly.jack
    there, none = linear.point.voltage(jack), np.zeros(np.shape(linear.point.voltage(jack)))
    return Plugging(none, none, none, there, there, alone.point.voltage(jack), none, there, none, blocked=False)


def _ohm(network: Network, node: str) -> np.ndarray | float:
    """Resistance from a node to ground; inf where nothing leads there."""
    if node == GROUND or node not in network.nodes:
        return 0.0 if node == GROUND else np.inf
    try:
        return np.real(impedance(network, NEARLY_DC_HZ, node))
    except CircuitError:
        return np.inf


def _ohms(network: Network, *nodes: str) -> list[np.ndarray | float]:
    """The same for several nodes, from one elimination where something leads to ground from all of them."""
    if all(node in network.nodes for node in nodes):
        probed = network.plus(*(CurrentSource(f"into {node}", GROUND, node) for node in nodes))
        places = [(node, GROUND) for node in nodes]
        try:
            found = transfers_of_each(probed, NEARLY_DC_HZ, [f"into {node}" for node in nodes], places)
            return [np.real(found[n][n]) for n in range(len(nodes))]
        except CircuitError:
            pass
    return [_ohm(network, node) for node in nodes]


def _through(network: Network, start: str, end: str) -> tuple[np.ndarray, np.ndarray]:
    """Volts at either node for each ampere that leaks into the first."""
    driven = network.plus(CurrentSource("leak", GROUND, start))
    there, then = transfers(driven, NEARLY_DC_HZ, "leak", [(start, GROUND), (end, GROUND)])
    return np.real(there), np.real(then)


def _bounded(volt: np.ndarray, most: np.ndarray) -> np.ndarray:
    """A capacitor leaks as long as there is voltage across it: what leaks through cannot exceed a short circuit."""
    return np.where(np.abs(volt) < np.abs(most), volt, most)


def _settling(far: np.ndarray, slow: np.ndarray) -> np.ndarray:
    """Seconds until what starts `far` volts away, with a time constant of `slow` seconds, is within 10 mV."""
    return np.where(far > SETTLED_V, slow * np.log(np.maximum(far, SETTLED_V) / SETTLED_V), 0.0)


@dataclass(frozen=True)
class Remedy:
    """One change that makes plugging in quiet: jump within 10 mV.

    key, value: the setting of the output capacitor in F or of the bleed resistor in ohm; unit: which; then: what
    plugging in does with it; low_note_cost_db, level_cost_db: what it takes from the lowest string and at 1 kHz, dB
    (positive is lost); low_corner_hz: of the whole chain with it, nan where there is none.
    """

    key: str
    value: float
    then: Plugging
    low_note_cost_db: float
    level_cost_db: float
    low_corner_hz: float
    unit: str


def _keys(chain: SignalChain) -> list[tuple[str, float, str]]:
    """Settings of the output capacitor and of what holds its far side at 0 V, the least value and the row to try."""
    assembly, table = LinearChain.of(chain.values).assembly, all_parameters()
    if not assembly.coupling:
        return []
    side = assembly.coupling[0].nodes[1]
    bleeds = [p for p in assembly.where("board") if p.kind == "resistor" and set(p.nodes) == {side, GROUND}]
    wanted = [(assembly.coupling[0], 1e-9, "E6"), *((part, 1e3, "E12") for part in bleeds[:1])]
    return [(part.key, max(low, table[part.key].low), row) for part, low, row in wanted if chain.topology.has(part.key)]


def remedies(chain: SignalChain) -> tuple[Remedy, ...]:
    """The largest smaller output capacitor (E6) and bleed resistor (E12) with which plugging in is quiet; empty where
    it is quiet already, and a remedy that does not exist is left out."""
    now = plugging(chain)
    if now is None or not now.blocked or abs(now.step_v) <= SETTLED_V:
        return ()
    found, before = [], response(chain, np.array([1000.0]))
    for key, lowest, row in _keys(chain):
        has = float(chain.values[key])
        for value in reversed(preferred_between(lowest, has, row)):
            if value >= has or abs((then := plugging(chain.but({key: value}))).step_v) > SETTLED_V:
                continue
            after = response(chain.but({key: value}), np.array([1000.0]))
            found.append(Remedy(
                key, value, then, decibels(before.low_note_gain) - decibels(after.low_note_gain),
                decibels(before.gain_1khz) - decibels(after.gain_1khz), after.low_corner_hz,
                all_parameters()[key].unit,
            ))  # fmt: skip
            break
    return tuple(found)
