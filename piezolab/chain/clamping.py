"""The clamp at a stage's first gate: which parts it has, where they go, and what they do at the chain's temperature."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from piezolab import catalogue
from piezolab.catalogue import ClampKind
from piezolab.chain.parts import GROUND, Part, Value
from piezolab.chain.stages.stage import SUPPLY
from piezolab.chain.values import Values
from piezolab.circuit.clamp import NEVER_V, ClampModel, bend_v
from piezolab.circuit.jfet import REFERENCE_C, ZERO_CELSIUS

HOLDS_A = 1e-6  # the current at which a row states the voltage that its part holds


def clamp_parts(values: Values, parts: Iterable[Part]) -> list[Part]:
    """The clamp's parts, at the gate of the first transistor among `parts`; none without one or where none is wanted.

    A pair lies between gate and ground; rails are a junction from ground to the gate and one from there to the supply.
    """
    first = next((part for part in parts if part.kind == "jfet"), None)
    if values.clamp == "none" or first is None:
        return []
    gate, kind = first.nodes[1], catalogue.clamps()[values.clamp_part]
    if values.clamp == "pair":
        return [Part("D_pair", "gate clamp", "clamp", (gate, GROUND), _pair(kind, values.temp_c), "clamp_part")]
    single = _single(kind, values.temp_c)
    return [
        Part("D_low", "clamp to ground", "clamp", (GROUND, gate), single, "clamp_part"),
        Part("D_high", "clamp to the supply", "clamp", (gate, SUPPLY), single, "clamp_part"),
    ]


def _pair(kind: ClampKind, temp_c: Value) -> ClampModel:
    if kind.way == "forward":
        return _forward(kind, temp_c, kind.junctions, both=True)
    slope = 1 / kind.ohm
    bend = bend_v(kind.holds_v, HOLDS_A, kind.knee_v, slope)
    return ClampModel(
        cgs=kind.capacitance / 2, temp_c=temp_c, up_v=bend, down_v=bend, knee_v=kind.knee_v, slope_s=slope,
        leak_a=kind.leak_a * _warmer(kind, temp_c), junctions=2.0,
    )  # fmt: skip


def _single(kind: ClampKind, temp_c: Value) -> ClampModel:
    return _forward(kind, temp_c, 1.0, both=False)


def _forward(kind: ClampKind, temp_c: Value, junctions: float, both: bool) -> ClampModel:
    """Junctions in series, one way or each way; their law steepens with kT and grows with the doubling."""
    kelvin = np.asarray(temp_c, float) + ZERO_CELSIUS
    slope = 1 / (kind.ohm * junctions)
    knee = kind.knee_v * junctions * (kelvin / (REFERENCE_C + ZERO_CELSIUS))[()]
    saturation = HOLDS_A * np.exp(-kind.holds_v / kind.knee_v) * _warmer(kind, temp_c)
    bend = knee * np.log(slope * knee / saturation)
    ways = 2 if both else 1
    return ClampModel(
        cgs=ways * kind.capacitance / junctions, temp_c=temp_c, up_v=bend, down_v=bend if both else NEVER_V,
        knee_v=knee, slope_s=slope, leak_a=ways * kind.leak_a * _warmer(kind, temp_c), junctions=junctions,
    )  # fmt: skip


def _warmer(kind: ClampKind, temp_c: Value) -> Value:
    return 2.0 ** ((np.asarray(temp_c, float)[()] - REFERENCE_C) / kind.doubling_k)


def both_ways(model: ClampModel) -> bool:
    """Whether the clamp holds either way, and so has no way round."""
    return bool(np.all(np.asarray(model.down_v) < NEVER_V))
