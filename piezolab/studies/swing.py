"""How far the pickup's voltage may swing before the stage clips, on the a.c. load line at 1 kHz.

Every capacitor keeps the voltage it has at rest but for its impedance at 1 kHz, so the transistor moves along the
straight lines of `load_line.signal_line`, the square law deciding how far. Reached first on the one side: cut-off (I_D
under 1 % of rest), on the other the triode region (V_DS under V_GS - V_GS(off)) or gate conduction (1 uA); a clamp at
the gate has edges of its own. The input's
own ceiling is no matter of the stage and left out here. All of it for whole batches: by halving intervals for one
transistor, whose edges are roots of one unknown; with several, which move each other, along the load line of them all
(`several_transistors`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from piezolab.chain import SignalChain
from piezolab.circuit.jfet import channel
from piezolab.giving_way import give_way
from piezolab.studies.clamp_edges import clamp_edges
from piezolab.studies.linear import LinearChain
from piezolab.studies.several_transistors import CAUSES, CUT_OFF_PART, GATE_A, Edge, edges_of_several
from piezolab.studies.stage_lines import signal_line

__all__ = ["CUT_OFF_PART", "GATE_A", "Edge", "Swing", "swing"]
_HALVINGS = 48


@dataclass(frozen=True)
class Swing:
    """Open-circuit pickup voltages at which each cause begins; V, of the batch's shape.

    cut_off, triode, gate: the nearest edge of each cause, signed, on whichever side it lies; inf where the signal never
    gets there; 0 where the stage at rest is there already. edges: those of every transistor, on both sides.
    """

    cut_off: np.ndarray
    triode: np.ndarray
    gate: np.ndarray
    edges: tuple[Edge, ...] = field(default=())

    def __post_init__(self) -> None:
        if not self.edges:
            signed = {"cut-off": self.cut_off, "triode": self.triode, "gate": self.gate}
            object.__setattr__(self, "edges", tuple(Edge.at("Q1", cause, edge) for cause, edge in signed.items()))

    @classmethod
    def of(cls, edges: tuple[Edge, ...]) -> Swing:
        """From the edges of one transistor or several."""
        return cls(*(_nearest([e for e in edges if e.cause == cause]) for cause in CAUSES), edges)

    @property
    def up(self) -> np.ndarray:
        """The nearest edge of the rising pickup voltage, V above 0."""
        return np.min([edge.rising for edge in self.edges], axis=0)

    @property
    def down(self) -> np.ndarray:
        """The nearest edge of the falling pickup voltage, V, as a magnitude."""
        return np.min([edge.falling for edge in self.edges], axis=0)

    @property
    def headroom(self) -> np.ndarray:
        """The smaller of the two, V."""
        return np.minimum(self.up, self.down)

    @property
    def imbalance_db(self) -> np.ndarray:
        """How much further the larger side reaches than the smaller one, dB; 0 is even, inf where a side is nothing."""
        up, down = self.up, self.down
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = 20 * np.abs(np.log10(up) - np.log10(down))
        return np.where((up > 0) & (down > 0), np.where(np.isfinite(ratio), ratio, np.inf), np.inf)

    @property
    def line_imbalance_db(self) -> np.ndarray:
        """The same of the load line's own two ends, cut-off and triode region, the gate left aside, dB."""
        return Swing.of(tuple(edge for edge in self.edges if edge.cause not in ("gate", "clamp"))).imbalance_db

    @property
    def cause(self) -> np.ndarray:
        """What begins first: `cut-off`, `triode`, `gate` or `clamp`."""
        return self._first("cause")

    @property
    def transistor(self) -> np.ndarray:
        """The name of the transistor at which that happens."""
        return self._first("transistor")

    def _first(self, what: str) -> np.ndarray:
        nearest = np.stack([np.minimum(edge.rising, edge.falling) for edge in self.edges])
        return np.array([getattr(edge, what) for edge in self.edges])[np.argmin(nearest, axis=0)]


def _nearest(edges: list[Edge]) -> np.ndarray:
    """The nearest of some edges, signed; inf where there is none."""
    if not edges:
        return np.asarray(np.inf)
    rising = np.min([edge.rising for edge in edges], axis=0)
    falling = np.min([edge.falling for edge in edges], axis=0)
    return np.where(falling < rising, -falling, rising)


def swing(linear: LinearChain) -> Swing:
    """Clip edges of a chain's stage. Raises ValueError where there is no transistor."""
    return linear.once(_swing)


def _swing(linear: LinearChain) -> Swing:
    q = linear.transistor
    if q is None:
        raise ValueError("a chain without a stage does not clip before its input does")
    names = linear.assembly.transistors
    if len(names) > 1:
        return Swing.of((*edges_of_several(linear), *clamp_edges(linear)))
    model = linear.assembly.network[names[0]].model
    line = signal_line(linear)
    drive = np.abs(line.gs_e)
    with np.errstate(divide="ignore", invalid="ignore"):
        # relative to the gate's own phase; at 1 kHz all of these are nearly real
        cross = np.where(drive > 0, np.real(line.ds_e * np.conj(line.gs_e)) / drive, 0.0)
    z_gs, z_ds = np.real(line.gs_i), np.real(line.ds_i)
    shape = np.broadcast_shapes(np.shape(q.i_d), np.shape(drive))
    i_rest, v_gs, v_ds = q.i_channel, q.v_gs, q.v_ds

    def pickup(gate: np.ndarray, i: np.ndarray) -> np.ndarray:
        """The pickup voltage at which V_GS is `gate` and the current i."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return (gate - v_gs + z_gs * (i - i_rest)) / drive

    def miss(gate: np.ndarray, drain: np.ndarray, i: np.ndarray) -> np.ndarray:
        """How much more V_DS the load line leaves than the channel was given."""
        e = np.where(drive > 0, pickup(gate, i), 0.0)
        return v_ds + cross * e - z_ds * (i - i_rest) - drain

    # the triode region begins where V_DS is the overdrive w
    def along_edge(w: np.ndarray) -> np.ndarray:
        return channel(model, w + model.v_off, w)[0]

    def triode_miss(w: np.ndarray) -> np.ndarray:
        return miss(w + model.v_off, w, along_edge(w))

    most = np.broadcast_to(np.abs(v_ds) + z_ds * i_rest + 1.0, shape)
    w = _falling_root(triode_miss, np.zeros(shape), most)
    triode = np.where(v_ds < q.v_ds_sat, 0.0, pickup(w + model.v_off, along_edge(w)))
    # the gate conducts at a fixed V_GS; the load line says at which V_DS
    knee = model.thermal_voltage * np.log1p(GATE_A / np.asarray(model.saturation_current))

    def gate_miss(drain: np.ndarray) -> np.ndarray:
        return miss(knee, drain, channel(model, knee, drain)[0])

    drain = _falling_root(gate_miss, np.zeros(shape), most)
    gate = np.where(v_gs >= knee, 0.0, pickup(knee, channel(model, knee, drain)[0]))
    # cut-off: the current is known, V_GS follows from the channel
    i_low = CUT_OFF_PART * i_rest

    def cut_off_miss(overdrive: np.ndarray) -> np.ndarray:
        e = np.where(drive > 0, pickup(overdrive + model.v_off, i_low), 0.0)
        return i_low - channel(model, overdrive + model.v_off, v_ds + cross * e - z_ds * (i_low - i_rest))[0]

    over = _falling_root(cut_off_miss, np.zeros(shape), np.broadcast_to(np.maximum(q.v_ds_sat, 0.0) + 1.0, shape))
    cut_off = np.where(i_rest <= 0, 0.0, pickup(over + model.v_off, i_low))
    silent = np.broadcast_to(drive < 1e-9, shape)
    signed = {"cut-off": cut_off, "triode": triode, "gate": gate}
    found = {cause: np.where(silent, np.inf, np.broadcast_to(edge, shape)) for cause, edge in signed.items()}
    edges = (Edge.at(names[0], cause, edge) for cause, edge in found.items())
    return Swing(*found.values(), (*edges, *clamp_edges(linear)))


def swing_of(chain: SignalChain) -> Swing:
    """Clip edges of a chain with its typical or measured transistor. Raises ValueError where there is none."""
    return swing(LinearChain.of(chain.values))


def _falling_root(miss: Callable[[np.ndarray], np.ndarray], low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Where a falling function of each member passes 0; an end where it does not."""
    for _ in range(_HALVINGS):
        give_way()
        middle = 0.5 * (low + high)
        above = miss(middle) > 0
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return 0.5 * (low + high)
