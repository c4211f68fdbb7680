"""Controls that several stages share: same key, label, unit and range; each stage brings its own default."""

from __future__ import annotations

from piezolab.chain.parameter import Choice, Quantity

GATE_R = Quantity(
    "gate_r", "gate resistor", "stage", None, "Loads the pickup: larger keeps more bass.", unit="ohm", low=1e3, high=1e9
)
RETURN = Choice(
    "return", "gate resistor returns to", "stage", None, "Where the gate resistor's far end goes.",
    options={"ground": "ground", "tap": "a tap on the source resistor", "divider": "a supply divider"},
)  # fmt: skip
RETURN_PART = Quantity(
    "return_part", "tap or divider part", "stage", None,
    "Tap: part of the source resistor below it. Divider: part of the supply.", low=0.05, high=0.95, linear=True,
)  # fmt: skip
DIVIDER_R = Quantity(
    "divider_r", "divider, both resistors together", "stage", None, "Larger draws less; smaller is stiffer.",
    unit="ohm", low=100.0, high=100e6,
)  # fmt: skip
DIVIDER_C = Quantity(
    "divider_c", "divider bypass", "stage", None, "Keeps supply noise off the gate; 0 leaves it out.",
    unit="F", low=0.0, high=1e-3,
)  # fmt: skip
SOURCE_R = Quantity(
    "source_r", "source resistor", "stage", None, "Sets the current at rest.", unit="ohm", low=0.0, high=10e6
)
GATE_STOP = Quantity(
    "gate_stop", "gate stopper", "stage", None, "In series with the gate, against radio; 0 leaves it out.",
    unit="ohm", low=0.0, high=100e3,
)  # fmt: skip
DRAIN_R = Quantity(
    "drain_r", "drain resistor", "stage", None, "The signal appears across it in a gain stage; 0 leaves it out.",
    unit="ohm", low=0.0, high=10e6,
)  # fmt: skip
BYPASS_C = Quantity(
    "bypass_c", "source bypass", "stage", None, "Bridges the source resistor for more gain; 0 leaves it out.",
    unit="F", low=0.0, high=10e-3,
)  # fmt: skip
BYPASS_PART = Quantity(
    "bypass_part", "bypassed part of the source resistor", "stage", None, "Counted from ground; 1 is all of it.",
    low=0.05, high=1.0, linear=True,
)  # fmt: skip
OUT_C = Quantity(
    "out_c", "output capacitor", "stage", None, "Keeps the stage's voltage off the cable; too small loses bass.",
    unit="F", low=1e-9, high=1e-3,
)  # fmt: skip
BLEED_R = Quantity(
    "bleed_r", "bleed resistor", "stage", None, "Holds the jack at 0 V, so that plugging in thumps less.",
    unit="ohm", low=1e3, high=100e6,
)  # fmt: skip
