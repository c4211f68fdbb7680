"""Parts that every single-transistor stage has: gate return, source resistor with its taps, output coupling."""

from __future__ import annotations

import numpy as np

from piezolab.chain.parts import GROUND, Part, Value
from piezolab.chain.stages.stage import INPUT, OUTPUT, SUPPLY
from piezolab.chain.values import Values
from piezolab.circuit.jfet import JfetModel, jfet_from_sheet

TRANSISTOR = "Q1"


def absent(value: Value) -> bool:
    """Whether a part is left out: a plain 0. In a batch the part stays, with 0 where it is bridged."""
    return np.ndim(value) == 0 and value == 0


def model(values: Values) -> JfetModel:
    """The transistor of these values at their temperature."""
    return jfet_from_sheet(
        idss=values.jfet_idss,
        vgsoff=values.jfet_vgsoff,
        lambda_=values.jfet_lambda,
        vds_test=values.jfet_vds,
        ciss=values.jfet_ciss,
        crss=values.jfet_crss,
        igss=values.jfet_ig,
        corner_hz=values.jfet_corner,
        temp_c=values.temp_c,
    )


def transistor(values: Values) -> list[Part]:
    """The transistor between the nodes `drain`, `gate` and `source`, and its stopper."""
    drain = SUPPLY if absent(values.drain_r) else "drain"
    gate = INPUT if absent(values.gate_stop) else "gate"
    source = GROUND if absent(values.source_r) else "source"
    parts = [Part(TRANSISTOR, "transistor", "jfet", (drain, gate, source), model(values), "jfet")]
    if gate != INPUT:
        parts.append(Part("R_stop", "gate stopper", "resistor", (INPUT, gate), values.gate_stop, "gate_stop"))
    if drain != SUPPLY:
        parts.append(Part("R_D", "drain resistor", "resistor", (SUPPLY, drain), values.drain_r, "drain_r"))
    return parts


def gate_return(values: Values) -> list[Part]:
    """The gate resistor, and the divider where it returns to one."""
    kind = values["return"]
    far = {"ground": GROUND, "tap": GROUND if absent(values.source_r) else "tap", "divider": "divider"}[kind]
    parts = [Part("R_G", "gate resistor", "resistor", (INPUT, far), values.gate_r, "gate_r")]
    if kind == "divider":
        upper, lower = (1 - values.return_part) * values.divider_r, values.return_part * values.divider_r
        parts.append(Part("R_1", "upper divider resistor", "resistor", (SUPPLY, far), upper, "divider_r"))
        parts.append(Part("R_2", "lower divider resistor", "resistor", (far, GROUND), lower, "divider_r"))
        if not absent(values.divider_c):
            parts.append(Part("C_div", "divider bypass", "capacitor", (far, GROUND), values.divider_c, "divider_c"))
    return parts


def source_ladder(values: Values) -> list[Part]:
    """The source resistor, split where the gate resistor or the bypass capacitor is tapped in, and the bypass.

    The pieces are R_S, or R_S1, R_S2, R_S3 from the source down; at one tap both meet. Raises ValueError where members
    of one batch would put the two taps in different order.
    """
    if absent(values.source_r):
        return []
    taps: list[tuple[Value, str]] = []
    bypassed = not absent(values.bypass_c)
    tapped = values["return"] == "tap"
    if np.all(np.asarray(values.bypass_part) == 1):
        top = "source"
    elif tapped and np.all(np.asarray(values.bypass_part) == np.asarray(values.return_part)):
        top = "tap"
    else:
        top = "bypass"
    if tapped:
        taps.append((values.return_part, "tap"))
    if bypassed and top == "bypass":
        taps.append((values.bypass_part, "bypass"))
    if len(taps) == 2:
        tap, bypass = (np.asarray(fraction) for fraction, _ in taps)
        if np.all(tap <= bypass):
            taps.reverse()
        elif not np.all(tap >= bypass):
            raise ValueError("builds of one batch must have tap and bypass in the same order on the source resistor")
    fractions = [1.0, *(fraction for fraction, _ in taps), 0.0]
    nodes = ["source", *(node for _, node in taps), GROUND]
    parts = []
    for n in range(len(nodes) - 1):
        name = "R_S" if len(nodes) == 2 else f"R_S{n + 1}"
        share = 1.0 if len(nodes) == 2 else fractions[n] - fractions[n + 1]
        ohm = values.source_r * share
        parts.append(Part(name, "source resistor", "resistor", (nodes[n], nodes[n + 1]), ohm, "source_r"))
    if bypassed:
        parts.append(Part("C_S", "source bypass", "capacitor", (top, GROUND), values.bypass_c, "bypass_c"))
    return parts


def output_coupling(values: Values, node: str) -> list[Part]:
    """Output capacitor from `node` to the jack, and the bleed resistor."""
    return [
        Part("C_out", "output capacitor", "capacitor", (node, OUTPUT), values.out_c, "out_c"),
        Part("R_bleed", "bleed resistor", "resistor", (OUTPUT, GROUND), values.bleed_r, "bleed_r"),
    ]
