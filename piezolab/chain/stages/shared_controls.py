"""Controls that several stages share: same key, label, unit and range, and one default for whoever brings no other.

A stage that has a default of its own says so in its `defaults`; nothing of it reaches the others. Order, defaults and
ranges are frozen for link format 1, and the list takes no further entry: what a new stage adds stays in its own file,
from where another stage may import it.
"""

from __future__ import annotations

from piezolab.chain.parameter import Choice, Quantity

GATE_R = Quantity(
    "gate_r", "gate resistor", "stage", 4.7e6, "Loads the pickup: larger keeps more bass.",
    unit="ohm", low=1e3, high=1e9,
)  # fmt: skip
RETURN = Choice(
    "return", "gate resistor returns to", "stage", "ground", "Where the gate resistor's far end goes.",
    options={"ground": "ground", "tap": "a tap on the source resistor", "divider": "a supply divider"},
)  # fmt: skip
RETURN_PART = Quantity(
    "return_part", "tap or divider part", "stage", 0.5,
    "Tap: part of the source resistor below it. Divider: part of the supply.", low=0.05, high=0.95, linear=True,
)  # fmt: skip
DIVIDER_R = Quantity(
    "divider_r", "divider, both resistors together", "stage", 2e6, "Larger draws less; smaller is stiffer.",
    unit="ohm", low=100.0, high=100e6,
)  # fmt: skip
DIVIDER_C = Quantity(
    "divider_c", "divider bypass", "stage", 1e-6, "Keeps supply noise off the gate; 0 leaves it out.",
    unit="F", low=0.0, high=1e-3,
)  # fmt: skip
SOURCE_R = Quantity(
    "source_r", "source resistor", "stage", 3.9e3, "Sets the current at rest.", unit="ohm", low=0.0, high=10e6
)
GATE_STOP = Quantity(
    "gate_stop", "gate stopper", "stage", 0.0, "In series with the gate, against radio; 0 leaves it out.",
    unit="ohm", low=0.0, high=100e3,
)  # fmt: skip
DRAIN_R = Quantity(
    "drain_r", "drain resistor", "stage", 0.0, "The signal appears across it in a gain stage; 0 leaves it out.",
    unit="ohm", low=0.0, high=10e6,
)  # fmt: skip
BYPASS_C = Quantity(
    "bypass_c", "source bypass", "stage", 0.0, "Bridges the source resistor for more gain; 0 leaves it out.",
    unit="F", low=0.0, high=10e-3,
)  # fmt: skip
BYPASS_PART = Quantity(
    "bypass_part", "bypassed part of the source resistor", "stage", 1.0, "Counted from ground; 1 is all of it.",
    low=0.05, high=1.0, linear=True,
)  # fmt: skip
OUT_C = Quantity(
    "out_c", "output capacitor", "stage", 2.2e-6, "Keeps the stage's voltage off the cable; too small loses bass.",
    unit="F", low=1e-9, high=1e-3,
)  # fmt: skip
BLEED_R = Quantity(
    "bleed_r", "bleed resistor", "stage", 100e3, "Holds the jack at 0 V, so that plugging in thumps less.",
    unit="ohm", low=1e3, high=100e6,
)  # fmt: skip

#: In the link's order.
SHARED = (
    GATE_R, RETURN, RETURN_PART, DIVIDER_R, DIVIDER_C, SOURCE_R,
    GATE_STOP, DRAIN_R, BYPASS_C, BYPASS_PART, OUT_C, BLEED_R,
)  # fmt: skip
