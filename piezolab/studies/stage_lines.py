"""What the stage around the transistor allows: straight lines between its voltages and its current, at rest and at
1 kHz.

The transistor is taken out and a current put in its place; all else is linear, so two solutions give each line. Any
stage and any batch of builds goes through the same lines.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from piezolab.circuit.elements import GROUND, Capacitor, CurrentSource
from piezolab.circuit.network import Network
from piezolab.circuit.operating_point import operating_point
from piezolab.circuit.small_signal import linearised, transfers_of_each
from piezolab.studies.linear import LINE_HZ, LinearChain


@dataclass(frozen=True)
class RestLine:
    """At rest: V_GS = v_gs - r_gs I_D and V_DS = v_ds - r_ds I_D; V and ohm, of the batch's shape."""

    v_gs: np.ndarray
    v_ds: np.ndarray
    r_gs: np.ndarray
    r_ds: np.ndarray


@dataclass(frozen=True)
class SignalLine:
    """At one frequency, complex: changes of V_GS, V_DS and of the load's voltage with the open-circuit pickup voltage e
    and with the change of I_D: dV_GS = gs_e e - gs_i dI and so on. Ratios and ohm, of the batch's shape."""

    gs_e: np.ndarray
    ds_e: np.ndarray
    out_e: np.ndarray
    gs_i: np.ndarray
    ds_i: np.ndarray
    out_i: np.ndarray


def rest_line(network: Network, name: str | None = None) -> RestLine:
    """The line at direct current of one transistor, the first if none is named. The gate's own current is left out: it
    is far below any channel current. With further transistors it is the tangent at rest."""
    jfet = network[name] if name else network.jfets[0]
    bare = network.without(jfet.name)
    start, step = np.asarray(0.0), np.asarray(1e-3)
    if bare.jfets:
        start = operating_point(network).jfets[jfet.name].i_d
        step = 1e-4 * np.maximum(np.abs(start), 1e-9)
    at = []
    for ampere in (start, start + step):
        point = operating_point(bare.plus(CurrentSource(jfet.name, jfet.drain, jfet.source, ampere)))
        at.append([point.voltage(jfet.gate, jfet.source), point.voltage(jfet.drain, jfet.source)])
    (v_gs, v_ds), (gs, ds) = at
    r_gs, r_ds = (v_gs - gs) / step, (v_ds - ds) / step
    return RestLine(v_gs + r_gs * start, v_ds + r_ds * start, r_gs, r_ds)


def signal_line(linear: LinearChain, frequency: float = LINE_HZ) -> SignalLine:
    """The lines of a chain's first transistor at a frequency in Hz, with its own capacitances in place; further
    transistors are taken with their slopes at rest."""
    assembly = linear.assembly
    if len(assembly.network.jfets) == 1 and frequency == LINE_HZ:
        by_pickup, _, by_current = linear.seen_from_ports
        return SignalLine(*by_pickup, *(-value for value in by_current))
    name = assembly.transistors[0]
    jfet = assembly.network[name]
    others = assembly.network.without(name)
    if others.jfets:
        others = linearised(others, linear.point)
    around = others.plus(
        CurrentSource(name, jfet.drain, jfet.source),
        Capacitor("C_gs", jfet.gate, jfet.source, jfet.model.cgs),
        Capacitor("C_gd", jfet.gate, jfet.drain, jfet.model.cgd),
    )
    pairs: Sequence[tuple[str, str]] = [
        (jfet.gate, jfet.source), (jfet.drain, jfet.source), (assembly.load, GROUND),
    ]  # fmt: skip
    by_pickup, by_current = transfers_of_each(around, frequency, [assembly.drive, name], pairs)
    return SignalLine(*by_pickup, *(-value for value in by_current))
