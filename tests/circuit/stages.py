"""Random transistor stages as batches: what a maker could wire up, and much that nobody should."""

from __future__ import annotations

import numpy as np

from piezolab.circuit.elements import GROUND, Capacitor, Element, Jfet, Resistor, VoltageSource
from piezolab.circuit.jfet import JfetModel, jfet_from_sheet
from piezolab.circuit.network import Network

RETURNS = ("ground", "tap", "divider", "bias")


def spread(rng: np.random.Generator, size: int | None, low: float, high: float, zero: float = 0.0) -> np.ndarray:
    """Log-uniform values, a part of them 0."""
    value = np.exp(rng.uniform(np.log(low), np.log(high), size))
    return np.where(rng.random(size) < zero, 0.0, value)[()]


def transistor(rng: np.random.Generator, size: int | None) -> JfetModel:
    ciss = spread(rng, size, 1e-13, 2e-10)
    return jfet_from_sheet(
        idss=spread(rng, size, 10e-6, 0.2),
        vgsoff=spread(rng, size, 0.1, 15.0),
        lambda_=rng.uniform(0, 0.2, size),
        vds_test=rng.uniform(0, 40, size),
        ciss=ciss,
        crss=ciss * rng.uniform(0, 0.5, size),
        igss=spread(rng, size, 1e-13, 1e-6, zero=0.2),
        corner_hz=spread(rng, size, 1.0, 1e5, zero=0.3),
        temp_c=rng.uniform(-20, 60, size),
    )


def stage(rng: np.random.Generator, size: int | None, returned: str, *, gain: bool = False) -> Network:
    """One batch of a follower, or of a common-source stage, over the ranges of the controls and zero ohms among them.

    `returned` is where the gate resistor goes; "bias" is a voltage of its own, which may switch the transistor off
    or drive its gate.
    """
    source_r = spread(rng, size, 1.0, 10e6, zero=0.05)
    tap = rng.uniform(0.05, 0.95, size)
    back = {"ground": GROUND, "tap": "lower", "divider": "middle", "bias": "bias node"}[returned]
    elements: list[Element] = [
        VoltageSource("E_p", "charge", GROUND),
        Capacitor("C_p", "charge", "hot", spread(rng, size, 50e-12, 500e-9), rng.uniform(0, 0.2, size)),
        Resistor("R_p", "hot", GROUND, spread(rng, size, 10e3, 100e9)),
        Capacitor("C_lead", "hot", GROUND, spread(rng, size, 1e-12, 1e-9)),
        Resistor("R_G", "hot", back, spread(rng, size, 1e3, 1e9)),
        Resistor("R_stop", "hot", "gate", spread(rng, size, 1.0, 1e5, zero=0.5)),
        VoltageSource("battery", "plus", GROUND, rng.uniform(1, 30, size)),
        Resistor("R_sup", "plus", "supply", spread(rng, size, 1.0, 1e5, zero=0.5)),
        Capacitor("C_sup", "supply", GROUND, 10e-6),
        Resistor("R_D", "supply", "drain", spread(rng, size, 1.0, 10e6, zero=0.0 if gain else 0.5)),
        Jfet("Q", "drain", "gate", "source", transistor(rng, size)),
        Resistor("R_S upper", "source", "lower", source_r * (1 - tap)),
        Resistor("R_S lower", "lower", GROUND, source_r * tap),
        Capacitor("C_out", "drain" if gain else "source", "out", spread(rng, size, 1e-9, 1e-3)),
        Resistor("bleed", "out", GROUND, spread(rng, size, 1e3, 100e6)),
        Capacitor("C_cable", "out", GROUND, spread(rng, size, 1e-11, 1e-7)),
        Resistor("R_in", "out", GROUND, spread(rng, size, 100, 1e9)),
    ]
    if gain:
        elements.append(Capacitor("C_bypass", "lower", GROUND, spread(rng, size, 1e-7, 1e-2)))
    if returned == "divider":
        whole, part = spread(rng, size, 100, 100e6), rng.uniform(0.05, 0.95, size)
        elements += [
            Resistor("R1", "supply", "middle", whole * (1 - part)),
            Resistor("R2", "middle", GROUND, whole * part),
            Capacitor("C_div", "middle", GROUND, spread(rng, size, 1e-9, 1e-3)),
        ]
    if returned == "bias":
        elements.append(VoltageSource("bias", back, GROUND, rng.uniform(-25, 15, size)))
    return Network(elements)
