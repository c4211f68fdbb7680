"""The stage at rest: where the transistor works, and how that spreads over parts of the type."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.values import Values
from piezolab.circuit.operating_point import JfetPoint
from piezolab.studies.linear import LinearChain, conducting
from piezolab.studies.population import builds

SPREAD_KEYS = ("i_d", "v_gs", "v_s", "v_d", "v_ds", "g_m", "g_ds", "supply_current")


@dataclass(frozen=True)
class OtherTransistor:
    """A further transistor at rest. name, label: of the part; region, gate, v_ds, v_ds_sat (V): as in `Bias`."""

    name: str
    label: str
    region: np.ndarray
    gate: np.ndarray
    v_ds: np.ndarray
    v_ds_sat: np.ndarray


@dataclass(frozen=True)
class Bias:
    """Operating point, for one build or arrays of builds; V, A, S. Voltages without a second letter are to ground.

    Of a stage with several transistors it is the first one's, and the others stand in `others`. region: `cut-off`,
    `saturation` or `triode`; gate: `ok` or `conducting`; v_ds_sat: V_DS below which it is triode; supply_current: all
    that the battery delivers, other current included; name, label: of the part.
    """

    i_d: np.ndarray
    v_gs: np.ndarray
    v_g: np.ndarray
    v_s: np.ndarray
    v_d: np.ndarray
    v_ds: np.ndarray
    v_ds_sat: np.ndarray
    region: np.ndarray
    gate: np.ndarray
    g_m: np.ndarray
    g_ds: np.ndarray
    i_g: np.ndarray
    supply_current: np.ndarray
    name: str = "Q1"
    label: str = "transistor"
    others: tuple[OtherTransistor, ...] = ()

    @property
    def saturated(self) -> np.ndarray:
        """Whether every transistor is in saturation."""
        return np.all([np.asarray(q.region) == "saturation" for q in (self, *self.others)], axis=0)

    @property
    def works(self) -> np.ndarray:
        """Whether every transistor is in saturation with its gate at rest."""
        return self.saturated & np.all([np.asarray(q.gate) == "ok" for q in (self, *self.others)], axis=0)


def bias_of(values: Values) -> Bias:
    """Operating point of resolved values, arrays of builds allowed. Raises ValueError where there is no transistor."""
    linear = LinearChain.of(values)
    q = linear.transistor
    if q is None:
        raise ValueError("a chain without a stage has no operating point")
    network, point = linear.assembly.network, linear.point
    parts = {part.name: part for part in linear.assembly.parts if part.kind == "jfet"}
    first, *others = parts
    jfet = network[first]
    return Bias(
        i_d=q.i_d,
        v_gs=q.v_gs,
        v_g=point.voltage(jfet.gate),
        v_s=point.voltage(jfet.source),
        v_d=point.voltage(jfet.drain),
        v_ds=q.v_ds,
        v_ds_sat=q.v_ds_sat,
        region=q.region,
        gate=_gate(q),
        g_m=q.g_m,
        g_ds=q.g_ds,
        i_g=q.i_g,
        supply_current=-point.branch_currents["B1"] + values.other_current,
        name=first,
        label=parts[first].label,
        others=tuple(
            OtherTransistor(name, parts[name].label, at.region, _gate(at), at.v_ds, at.v_ds_sat)
            for name, at in ((name, point.jfets[name]) for name in others)
        ),
    )


def _gate(q: JfetPoint) -> np.ndarray:
    return np.where(conducting(q), "conducting", "ok")


def bias(chain: SignalChain) -> Bias | None:
    """Operating point of the chain with its typical or measured transistor; None with no stage."""
    return bias_of(chain.values) if chain.topology.powered else None


def bias_population(chain: SignalChain) -> Bias | None:
    """Operating points over the population of the chain's type; None with no stage."""
    return bias_of(builds(chain)) if chain.topology.powered else None


def spread(many: Bias) -> dict[str, tuple[float, float]]:
    """1st and 99th percentile of each bias figure over a population."""
    return {
        key: tuple(float(x) for x in np.percentile(np.asarray(getattr(many, key)), [1, 99])) for key in SPREAD_KEYS
    }
