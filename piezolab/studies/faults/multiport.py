"""What a network of resistances and capacitances shows to its transistors and to the probes, for a whole batch.

Transistors and meters are attached afterwards, by algebra on these few numbers: one elimination then serves every pin
order, every place of the probes and every pass of the operating point. Resistances enter as conductances however small
they are: only voltages are asked for, and the elimination is exact for them (see `circuit.equations`).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from piezolab.circuit.elements import GROUND
from piezolab.circuit.equations import Equations
from piezolab.giving_way import give_way
from piezolab.studies.faults.fault_network import wire_value
from piezolab.studies.faults.network_names import Branch, Settings

Injection = Sequence[tuple[str, str, float | np.ndarray]]  # currents from node a through the source to node b


def solutions(
    wires: Sequence[Branch],
    settings: Settings,
    injections: Sequence[Injection | dict[str, float | np.ndarray]],
    pairs: Sequence[tuple[str, str]],
    size: int,
    omega: float | None = None,
    probes: Sequence[tuple[str, str]] = (),
) -> tuple[np.ndarray, np.ndarray]:
    """Voltages v(a) - v(b), shape (pairs, injections, size), at direct current or at `omega` (rad/s, then complex); and
    v(a) - v(b) of each of the probes with one ampere from its b through a source to its a, (probes, size).

    An injection is a list of currents, or voltages of the sources named. All other sources are dead. The network is
    reciprocal: what a probe's current does to a pair is what the pair's does to the probe, so that of most probes
    nothing need be known but their own impedance.
    """
    nodes = dict.fromkeys(node for _, _, a, b in wires for node in (a, b))
    equations = Equations(nodes)
    for wire in wires:
        kind, name, a, b = wire
        value = wire_value(wire, settings)
        if kind in ("ohm", "slot"):
            equations.admittance(a, b, 1.0 / value)
        elif kind == "volt":
            equations.branch(name, a, b)
        elif kind == "henry":
            equations.branch(name, a, b, 0.0 if omega is None else 1j * omega * value)
        elif omega is not None and (isinstance(value, np.ndarray) or value != 0):
            loss = settings.get(name.replace(".farad", ".loss"), 0.0)
            equations.admittance(a, b, 1j * omega * value * (1 - 1j * loss))
    sides = [_side(injection) for injection in injections]
    ends = [frozenset((a, b)) - {GROUND} for a, b in probes]
    enough = [*(frozenset() for _ in sides), *ends]
    sides += [_side([(b, a, 1.0)]) for a, b in probes]
    wanted = {node for pair in (*pairs, *probes) for node in pair if node != GROUND}
    found = equations.solve(*sides, wanted=wanted, enough=enough)
    kind, count = float if omega is None else complex, len(injections)
    answer, own = np.empty((len(pairs), count, size), kind), np.empty((len(probes), size), kind)
    for j, each in enumerate(found):
        each[GROUND] = 0.0
        give_way()
        if j >= count:
            a, b = probes[j - count]
            own[j - count] = each[a] if b == GROUND else each[a] - each[b]
            continue
        for i, (a, b) in enumerate(pairs):
            answer[i, j] = each[a] if b == GROUND else each[a] - each[b]
    return answer, own


def _side(injection: Injection | dict[str, float | np.ndarray]) -> dict[str, float | np.ndarray]:
    """An injection as a right-hand side of the nodal equations."""
    if isinstance(injection, dict):
        return {f"{name}.volt": volt for name, volt in injection.items()}
    side: dict[str, float | np.ndarray] = {}
    for a, b, ampere in injection:
        for node, sign in ((a, -1.0), (b, 1.0)):
            if node != GROUND:
                side[node] = side.get(node, 0.0) + sign * ampere
    return side


def at_ports(combine: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Port voltages (P, 2K, J) from those of the holes (3K, J, P)."""
    return combine @ np.moveaxis(rows, -1, 0)
