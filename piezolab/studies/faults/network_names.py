"""What the nodes and settings of the faults' network are called, and what stands for an open and a sound lead."""

from __future__ import annotations

import numpy as np

from piezolab.chain.parts import Part
from piezolab.studies.metering.board_under_meter import DIODE

OPEN_OHM = 1e11  # of a lead without contact
ABSENT_OHM = 1e15  # of what is not there at all
SOUND_OHM = 0.02

LIGHT, LIGHT_R = "LED.ohm", "R_led"  # the lit LED with its resistor, ohm; the resistor's name
HOT, COLD = "disc hot", "disc cold"
ANODE = f"{DIODE} anode"
SOCKET, SLEEVE, FAR = "socket", "sleeve", "far end"
SWEEP = "sweep"  # where a recorded sweep is read
LEADS = ("drain", "gate", "source")
# a transistor's drain, gate and source in the holes meant for (drain, gate, source); the setting `pins` counts these,
# and once more those of a p-channel one
PIN_ORDERS = ((0, 1, 2), (2, 1, 0), (0, 2, 1), (1, 0, 2), (1, 2, 0), (2, 0, 1))
MODEL_FIELDS = ("beta", "v_off", "lambda_", "leakage", "cgs", "cgd", "temp_c")

Settings = dict[str, float | np.ndarray]
Branch = tuple[str, str, str, str]  # kind (ohm, farad, henry, volt, slot), setting, node a, node b


def hole(part: Part, lead: str) -> str:
    """Node of a transistor's hole, between its joint and the transistor."""
    return f"{part.name} {lead} hole"


def bridge_name(a: str, b: str) -> str:
    """Setting of what joins two lanes: ohm."""
    return f"lanes {a}|{b}.bridge"


def beyond(lane: str) -> str:
    """Node of a lane's far piece, behind the place where it may crack."""
    return f"{lane} beyond"


def far_wire(name: str) -> str:
    """Setting of what joins a wire's end to the far piece of its lane, or a leg to a lane that is not its own: ohm."""
    return f"{name}.beyond"


def beside_name(a: str, b: str) -> str:
    """Setting of a capacitor between two lanes that none belongs to: farad."""
    return f"lanes {a}|{b}.farad"
