"""Many places of a meter's probes on one board from one elimination.

The board is reduced to what its transistor, its diode and each pair of probes see; a meter is then a resistance across
one more port, which takes one division (a change of rank one; J. Sherman and W. J. Morrison, Ann. Math. Stat. 21 (1950)
124-127). Boards with several transistors, which may hang on each other through gigohms, are solved place by place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from piezolab.circuit.elements import GROUND, Capacitor, CurrentSource, Resistor, VoltageSource
from piezolab.circuit.jfet import Value
from piezolab.circuit.network import Network, dc_equations
from piezolab.circuit.operating_point import jfet_point, operating_point
from piezolab.circuit.ports import port_currents, solve_ports
from piezolab.circuit.small_signal import linearised, transfer, transfers_of_each
from piezolab.studies.metering.board_under_meter import (
    CONTACT_OHM,
    DIODE,
    BoardUnderMeter,
    diode_drop,
    fed,
    lit,
    supplied,
)

NO_LOAD = 1e30  # ohm: a meter that takes nothing


@dataclass(frozen=True)
class Probe:
    """A meter between nodes a (red) and b: what it is inside, ohm, in series with a voltage of its own, V."""

    a: str
    b: str = GROUND
    ohm: Value = NO_LOAD
    volt: Value = 0.0


@dataclass(frozen=True)
class Metered:
    """volt: at each probe by itself, shape (P,) + batch; ports: the transistor's V_GS and V_DS then, (2, P) + batch."""

    volt: np.ndarray
    ports: np.ndarray


def at_probes(network: Network, probes: Sequence[Probe], thermal_voltage: float | None = None) -> Metered:
    """One meter at a time on a network at rest, with one transistor or none.

    thermal_voltage: of the Schottky diode that stands as the source DIODE, V; None where none has to be found. Its drop
    is found in turns with the current, as in `board_under_meter.fed`.
    """
    shape, size = network.batch_shape, int(np.prod(network.batch_shape))
    ports = [(end, q.source) for q in network.jfets for end in (q.gate, q.drain)]
    pairs, at = _places(ports, probes)
    diode = thermal_voltage is not None
    by = _seen(network, pairs, diode)
    reach, count = by[:, 2:, :].swapaxes(-1, -2), len(probes)  # rows by currents drawn
    own = np.array([probe.volt for probe in probes])
    bent, share = _with_meters(reach, at, [probe.ohm for probe in probes], len(ports))
    own_ports = list(range(len(ports)))
    models = [q.model.take(np.tile(np.arange(size), count), shape) for q in network.jfets]
    z = -bent[:, :, own_ports, :].reshape(count * size, len(ports), len(ports))
    drop = np.full((count, size), 0.2)
    for _ in range(3 if diode else 1):
        open_ = by[None, :, 0, :] + drop[..., None] * by[None, :, 1, :]
        taken = share * (np.take_along_axis(open_, np.array(at)[:, None, None], -1)[..., 0] - own[:, None])
        column = np.moveaxis(reach[:, :, at], -1, 0)  # (P, size, rows)
        open_ = open_ + column * taken[..., None]
        v = open_[..., own_ports].reshape(count * size, len(ports))
        if models:
            v = solve_ports([q.name for q in network.jfets], models, v, z)
        i = port_currents(models, v)[0] if models else v
        rows_now = open_ + (bent @ i.reshape(count, size, -1, 1))[..., 0]
        if diode:
            drop = diode_drop(np.maximum(rows_now[..., -1], 0.0), thermal_voltage)
    volt = np.take_along_axis(rows_now, np.array(at)[:, None, None], -1)[..., 0]
    return Metered(
        volt.reshape(count, *shape), np.moveaxis(v.reshape(count, size, -1), -1, 0).reshape(-1, count, *shape)
    )


def _seen(network: Network, pairs: Sequence[tuple[str, str]], diode: bool) -> np.ndarray:
    """Volts across each pair, and last the diode's current in A where there is one: with all sources, for a volt of the
    diode's drop, and for an ampere drawn from each pair; shape (size, sides, rows)."""
    shape, fixed = network.batch_shape, {e.name: e.volt for e in network if isinstance(e, VoltageSource)}
    sides: list[dict[str, Value]] = [fixed | ({DIODE: 0.0} if diode else {}), {DIODE: 1.0} if diode else {}]
    seen = []
    for found in dc_equations(network).solve(*sides, *map(_drawn, pairs)):
        rows = [found.get(a, 0.0) - found.get(b, 0.0) for a, b in pairs] + ([found[DIODE]] if diode else [])
        seen.append([np.broadcast_to(np.asarray(row, float), shape).reshape(-1) for row in rows])
    return np.moveaxis(np.array(seen), -1, 0)


def _with_meters(reach: np.ndarray, at: list[int], ohm: list[float], ports: int) -> tuple[np.ndarray, np.ndarray]:
    """What currents at the transistor's ports bring to every row with each meter in place, (P, size, rows, ports); and
    the current that each meter takes for a volt of the open circuit, (P, size)."""
    at_own = np.stack([reach[:, k, k] for k in at])
    siemens = 1 / np.array(ohm)[:, None]
    share = siemens / (1 - siemens * at_own)
    column, row = (np.moveaxis(reach[:, :, at], -1, 0), np.moveaxis(reach[:, at, :ports], 1, 0))
    return reach[None, :, :, :ports] + share[..., None, None] * column[..., None] * row[..., None, :], share


def tones_at_probes(
    network: Network, metered: Metered, probes: Sequence[Probe], source: str, hertz: float
) -> np.ndarray:
    """Transfer from a voltage source to each probe of `at_probes` at a frequency in Hz, complex, (P,) + batch; the
    transistor's slopes are those with that meter in place."""
    shape, size, count = network.batch_shape, int(np.prod(network.batch_shape)), len(probes)
    (jfet,) = network.channels
    pairs, at = _places([(jfet.gate, jfet.source), (jfet.drain, jfet.source)], probes)
    sends = [CurrentSource(f"drawn {n}", a, b) for n, (a, b) in enumerate(pairs)]
    clamps = [element for element in network.jfets if element is not jfet]  # at rest, but for what they leak
    around = network.without(jfet.name, *(clamp.name for clamp in clamps)).plus(
        *(Capacitor(clamp.name, clamp.gate, clamp.source, clamp.model.cgs) for clamp in clamps),
        Capacitor("C_gs", jfet.gate, jfet.source, jfet.model.cgs),
        Capacitor("C_gd", jfet.gate, jfet.drain, jfet.model.cgd),
        *sends,
    )
    found = transfers_of_each(around, hertz, [source, *(send.name for send in sends)], pairs)
    by = np.moveaxis(np.array([[value.reshape(size) for value in rows] for rows in found]), -1, 0)
    reach = by[:, 1:, :].swapaxes(-1, -2)
    bent, share = _with_meters(reach, at, [p.ohm for p in probes], 2)
    open_ = by[None, :, 0, :]
    taken = share * np.take_along_axis(np.broadcast_to(open_, (count, *open_.shape[1:])),
                                       np.array(at)[:, None, None], -1)[..., 0]  # fmt: skip
    open_ = open_ + np.moveaxis(reach[:, :, at], -1, 0) * taken[..., None]
    model = jfet.model.take(np.tile(np.arange(size), count), shape)
    v_gs, v_ds = (each.reshape(-1) for each in metered.ports[:2])
    q = jfet_point(model, v_gs, v_ds, (count, size))
    slope = np.stack([
        np.stack([q.g_gs + q.g_gd, -q.g_gd], axis=-1), np.stack([q.g_m - q.g_gd, q.g_ds + q.g_gd], axis=-1),
    ], axis=-2)  # fmt: skip
    v = np.linalg.solve(np.eye(2) - bent[..., :2, :] @ slope, open_[..., :2, None])
    rows_now = open_ + (bent @ (slope @ v))[..., 0]
    return np.take_along_axis(rows_now, np.array(at)[:, None, None], -1)[..., 0].reshape(count, *shape)


def fed_at_probes(
    board: BoardUnderMeter, network: Network, probes: Sequence[Probe], volt: Value, series_ohm: Value = CONTACT_OHM
) -> np.ndarray:
    """Volts at each probe with the board on its supply, as `board_under_meter.fed` has it, shape (P,) + batch."""
    if len(network.channels) < 2:
        diode = board.thermal_voltage if board.schottky else None
        return at_probes(_powered(board, network, volt, series_ohm), probes, diode).volt
    return np.stack([fed(board, _with(network, probe), volt, series_ohm).point.voltage(probe.a, probe.b)
                     for probe in probes])  # fmt: skip


def dead_at_probes(network: Network, probes: Sequence[Probe], reduced: bool | None = None) -> np.ndarray:
    """Volts at each probe of a network without a supply, shape (P,) + batch; reduced: whether its transistors do not
    hang on each other through gigohms, so that what they see is enough (None: only if there is but one)."""
    if len(network.channels) < 2 if reduced is None else reduced:
        return at_probes(network, probes).volt
    found: list[np.ndarray] = []
    for (a, b), some in groupby(probes, key=lambda probe: (probe.a, probe.b)):
        both = np.array([(probe.ohm, probe.volt) for probe in some])
        ohm, volt = both.T.reshape(2, -1, *(1,) * len(network.batch_shape))
        found += list(operating_point(_with(network, Probe(a, b, ohm, volt))).voltage(a, b))
    return np.stack(found)


def tone_at_probes(
    board: BoardUnderMeter, network: Network, probes: Sequence[Probe], source: str, hertz: float
) -> np.ndarray:
    """Transfer from a voltage source of the network to each probe, the board on its supply; complex, (P,) + batch."""
    volt = float(board.assembly.values.supply_v)
    if len(network.channels) == 1:
        whole = _powered(board, network, volt)
        metered = at_probes(whole, probes, board.thermal_voltage if board.schottky else None)
        return tones_at_probes(whole, metered, probes, source, hertz)
    found = []
    for probe in probes:
        powered = fed(board, _with(network, probe), volt)
        found.append(transfer(linearised(powered.network, powered.point), hertz, source, probe.a, probe.b))
    return np.stack(found)


def _powered(
    board: BoardUnderMeter, network: Network, volt: Value, series_ohm: Value = CONTACT_OHM
) -> Network:
    """The board on its supply, and its light where it has one."""
    whole = supplied(board, network, volt, series_ohm)
    if board.led is None:
        return whole
    diode = board.thermal_voltage if board.schottky else None
    return lit(board, whole, at_probes(whole, [Probe(board.plus)], diode).volt[0])


def _with(network: Network, probe: Probe) -> Network:
    return network.plus(
        Resistor("probe", probe.a, "meter", probe.ohm), VoltageSource("meter cell", "meter", probe.b, probe.volt)
    )


def _places(ports: list[tuple[str, str]], probes: Sequence[Probe]) -> tuple[list[tuple[str, str]], list[int]]:
    """Pairs of nodes to look at, the transistor's first (which may be one pair twice), and where each probe's is."""
    there = list(dict.fromkeys((probe.a, probe.b) for probe in probes))
    return [*ports, *there], [len(ports) + there.index((probe.a, probe.b)) for probe in probes]


def _drawn(pair: tuple[str, str]) -> dict[str, float]:
    if pair[0] == pair[1]:  # a transistor with two ends joined
        return {}
    return {node: sign for node, sign in zip(pair, (-1.0, 1.0), strict=True) if node != GROUND}
