"""The transistor's curves with the stage's load lines over them, and where the parts of the type come to rest."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.stages.common_parts import model
from piezolab.chain.values import Values
from piezolab.circuit.jfet import channel
from piezolab.studies.bias import Bias, bias_of
from piezolab.studies.kept import kept
from piezolab.studies.linear import LinearChain
from piezolab.studies.population import builds
from piezolab.studies.stage_lines import rest_line, signal_line

POINTS = 121
GATE_STEPS = 7
CLOUD = 400  # parts drawn: enough for a cloud, few enough for a phone
PERCENTILES = (1.0, 50.0, 99.0)

Line = tuple[np.ndarray, np.ndarray]


@dataclass(frozen=True)
class Curves:
    """A chain's transistor as drawn; V and A.

    transfer: (V_GS, I_D) at the chain's V_DS, (POINTS,) each; bias_line: (V_GS, I_D), (2,) each, all that the stage
    allows at rest, from I_D = 0: it crosses the transfer curve at the operating point; type_transfer: (V_GS, I_D) with
    I_D (3, POINTS), the 1st, 50th and 99th percentile over the type's parts at each gate voltage.
    steps: gate voltages of the output curves, V, (GATE_STEPS,); output: (V_DS (POINTS,), I_D (GATE_STEPS, POINTS));
    saturation_edge: (V_DS, I_D), where the triode region ends; rest_load, signal_load: (V_DS, I_D), (2,) each, load
    lines at rest and at 1 kHz, from I_D = 0 upwards.
    rest: the operating point; parts: (V_GS(off), I_DSS) of parts of the type and cloud: their operating points,
    (CLOUD,) each; where the transistor was measured there is one part, the own one.
    """

    transfer: Line
    bias_line: Line
    type_transfer: Line
    steps: np.ndarray
    output: Line
    saturation_edge: Line
    rest_load: Line
    signal_load: Line
    rest: Bias
    parts: Line
    cloud: Bias


@kept(4)
def curves(chain: SignalChain) -> Curves | None:
    """All curves of the chain's transistor; None with no stage."""
    if not chain.topology.powered:
        return None
    values, many = chain.values, builds(chain, CLOUD)
    idss, vgsoff = np.broadcast_arrays(np.atleast_1d(many.jfet_idss), np.atleast_1d(many.jfet_vgsoff))
    linear = LinearChain.of(values)
    network, q = linear.assembly.network, linear.transistor
    own = network[linear.assembly.transistors[0]].model
    v_off, v_rest, i_rest = float(np.asarray(own.v_off)), float(q.v_ds), float(q.i_d)
    furthest = max(-v_off, float(np.max(-vgsoff)))
    v_gs = np.linspace(-furthest, 0.0, POINTS)
    widest = 1.05 * max(values.supply_v, v_rest)
    v_ds = np.linspace(0.0, widest, POINTS)
    steps = np.linspace(0.0, v_off, GATE_STEPS + 1)[:-1]
    highest = 1.1 * float(channel(own, 0.0, widest)[0])
    edge = np.linspace(0.0, min(-v_off, widest), POINTS)
    line = rest_line(network)
    slope = float(np.real(signal_line(linear).ds_i))
    return Curves(
        transfer=(v_gs, channel(own, v_gs, v_rest)[0]),
        bias_line=_drawn(float(line.v_gs), float(line.r_gs), -furthest, highest),
        type_transfer=(v_gs, _percentiles(many.but(jfet_idss=idss, jfet_vgsoff=vgsoff), v_gs, v_rest)),
        steps=steps,
        output=(v_ds, channel(own, steps[:, None], v_ds)[0]),
        saturation_edge=(edge, channel(own, edge + v_off, edge)[0]),
        rest_load=_drawn(float(line.v_ds), float(line.r_ds), 0.0, highest),
        signal_load=_drawn(v_rest + slope * i_rest, slope, 0.0, highest),
        rest=bias_of(values),
        parts=(vgsoff, idss),
        cloud=_as_arrays(bias_of(many)),
    )


def _drawn(start: float, ohm: float, end: float, highest: float) -> Line:
    """The line v = start - ohm*i from no current to where it reaches the voltage `end` or the current `highest`."""
    i = min(highest, (start - end) / ohm) if ohm > 0 else highest
    return np.array([start, start - ohm * i]), np.array([0.0, i])


def _percentiles(many: Values, v_gs: np.ndarray, v_ds: float) -> np.ndarray:
    wide = {key: many[key][:, None] for key in ("jfet_idss", "jfet_vgsoff")}
    return np.percentile(channel(model(many.but(**wide)), v_gs, v_ds)[0], PERCENTILES, axis=0)


def _as_arrays(point: Bias) -> Bias:
    arrays = {key: np.atleast_1d(value) for key, value in vars(point).items() if isinstance(value, np.ndarray)}
    return replace(point, **arrays)
