"""Circuit elements. Values are floats or arrays that broadcast against each other; nodes are names.

Sign rules: a current source drives its current from node `a` through itself to node `b`; a voltage source holds
v(a) - v(b); a transistor's currents are counted into its terminals.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from piezolab.circuit.jfet import JfetModel

GROUND = "ground"
Value = float | np.ndarray


@dataclass(frozen=True)
class Resistor:
    """Resistance in ohm between nodes a and b; 0 is a plain connection."""

    name: str
    a: str
    b: str
    ohm: Value


@dataclass(frozen=True)
class Capacitor:
    """Capacitance in farad between a and b; `loss_tangent` adds the conductance omega*C*tan(delta)."""

    name: str
    a: str
    b: str
    farad: Value
    loss_tangent: Value = 0.0


@dataclass(frozen=True)
class Inductor:
    """Inductance in henry between a and b."""

    name: str
    a: str
    b: str
    henry: Value


@dataclass(frozen=True)
class CurrentSource:
    """Direct current in ampere from a through the source to b."""

    name: str
    a: str
    b: str
    ampere: Value = 0.0


@dataclass(frozen=True)
class VoltageSource:
    """Direct voltage v(a) - v(b) in volt."""

    name: str
    a: str
    b: str
    volt: Value = 0.0


@dataclass(frozen=True)
class VoltageControlledCurrent:
    """Current siemens * (v(plus) - v(minus)) from a through the source to b."""

    name: str
    a: str
    b: str
    plus: str
    minus: str
    siemens: Value


@dataclass(frozen=True)
class VoltageControlledVoltage:
    """v(a) - v(b) = gain * (v(plus) - v(minus))."""

    name: str
    a: str
    b: str
    plus: str
    minus: str
    gain: Value


@dataclass(frozen=True)
class CurrentControlledCurrent:
    """Current gain * i from a through the source to b, where i flows a to b in the named voltage source."""

    name: str
    a: str
    b: str
    through: str
    gain: Value


@dataclass(frozen=True)
class CurrentControlledVoltage:
    """v(a) - v(b) = ohm * i, where i flows a to b in the named voltage source."""

    name: str
    a: str
    b: str
    through: str
    ohm: Value


@dataclass(frozen=True)
class NoiseVoltage:
    """A connection of a to b that adds a noise voltage of flat density v_per_rthz (V/sqrt(Hz), one-sided)."""

    name: str
    a: str
    b: str
    v_per_rthz: Value


@dataclass(frozen=True)
class Jfet:
    """n-channel junction field-effect transistor; `model` holds its values at the working temperature."""

    name: str
    drain: str
    gate: str
    source: str
    model: JfetModel


Element = (
    Resistor
    | Capacitor
    | Inductor
    | CurrentSource
    | VoltageSource
    | VoltageControlledCurrent
    | VoltageControlledVoltage
    | CurrentControlledCurrent
    | CurrentControlledVoltage
    | NoiseVoltage
    | Jfet
)
