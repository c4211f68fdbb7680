"""Where a clamp at the gate begins to conduct: a clip edge of the stage like any other."""

from __future__ import annotations

import numpy as np

from piezolab.circuit.clamp import holding_v
from piezolab.circuit.elements import Clamp
from piezolab.circuit.small_signal import transfers
from piezolab.studies.linear import LINE_HZ, LinearChain
from piezolab.studies.several_transistors import GATE_A, Edge


def clamp_edges(linear: LinearChain) -> tuple[Edge, ...]:
    """Edges of a chain's clamps, of the batch's shape: the pickup voltages at 1 kHz at which GATE_A flows in one."""
    clamps = [element for element in linear.assembly.network if isinstance(element, Clamp)]
    if not clamps:
        return ()
    across = transfers(linear.network, LINE_HZ, linear.assembly.drive, [(each.gate, each.source) for each in clamps])
    return tuple(_edge(linear, each, h) for each, h in zip(clamps, across, strict=True))


def _edge(linear: LinearChain, clamp: Clamp, h: np.ndarray) -> Edge:
    v = linear.point.jfets[clamp.name].v_gs
    up, down = holding_v(clamp.model, GATE_A)
    size, upright = np.abs(h), np.real(h) >= 0
    with np.errstate(divide="ignore"):
        above, below = (
            np.where(size > 1e-9, np.maximum(left, 0.0) / np.where(size > 1e-9, size, 1.0), np.inf)
            for left in (up - v, down + v)
        )
    return Edge(clamp.name, "clamp", np.where(upright, above, below), np.where(upright, below, above))
