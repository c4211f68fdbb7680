"""What the stage around the transistor allows: straight lines between its voltages and its current, at rest and at
1 kHz.

The transistor is taken out and a current put in its place; all else is linear, so two solutions give each line. Any
stage and any batch of builds goes through the same lines.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from piezolab.chain.assembly import Assembly
from piezolab.chain.stages.transistor import TRANSISTOR
from piezolab.circuit.elements import GROUND, Capacitor, CurrentSource
from piezolab.circuit.network import Network
from piezolab.circuit.operating_point import operating_point
from piezolab.circuit.small_signal import transfers

LINE_HZ = 1000.0  # where the a.c. load line is taken


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


def rest_line(network: Network) -> RestLine:
    """The line at direct current. The gate's own current is left out: it is far below any channel current."""
    jfet = network[TRANSISTOR]
    bare = network.without(TRANSISTOR)
    at = []
    for ampere in (0.0, 1e-3):
        point = operating_point(bare.plus(CurrentSource(TRANSISTOR, jfet.drain, jfet.source, ampere)))
        at.append([point.voltage(jfet.gate, jfet.source), point.voltage(jfet.drain, jfet.source)])
    (v_gs, v_ds), (gs, ds) = at
    return RestLine(v_gs, v_ds, (v_gs - gs) / 1e-3, (v_ds - ds) / 1e-3)


def signal_line(assembly: Assembly, frequency: float = LINE_HZ) -> SignalLine:
    """The lines at a frequency in Hz, with the transistor's own capacitances in place."""
    network = assembly.network
    jfet = network[TRANSISTOR]
    around = network.without(TRANSISTOR).plus(
        CurrentSource(TRANSISTOR, jfet.drain, jfet.source),
        Capacitor("C_gs", jfet.gate, jfet.source, jfet.model.cgs),
        Capacitor("C_gd", jfet.gate, jfet.drain, jfet.model.cgd),
    )
    pairs: Sequence[tuple[str, str]] = [
        (jfet.gate, jfet.source), (jfet.drain, jfet.source), (assembly.load, GROUND),
    ]  # fmt: skip
    by_pickup = transfers(around, frequency, assembly.drive, pairs)
    by_current = transfers(around, frequency, TRANSISTOR, pairs)
    return SignalLine(*by_pickup, *(-value for value in by_current))
