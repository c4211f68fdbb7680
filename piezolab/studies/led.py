"""A light that shows the battery is on: what its colour drops, its resistor, its current, and how that is counted.

The chain's `other_current` is what the battery is asked for beside the stage. The light is made to draw that much where
it can; otherwise it draws about a milliampere, and `counted` says that the chain's battery life leaves it out.
"""

from __future__ import annotations

from dataclasses import dataclass

from piezolab.chain import SignalChain
from piezolab.chain.assembly import GROUND, assemble
from piezolab.chain.parts import Part
from piezolab.quantity import nearest_preferred
from piezolab.studies.build_options import LED_DROP_V, NO_LED

USUAL_A = 1e-3  # bright enough indoors; common practice, no source
LEAST_A, MOST_A = 2e-4, 1e-2  # below it hardly shows, above it is no light for a battery; common practice, no source
HEADROOM_V = 0.5  # least volts for the resistor: below these the current is anybody's guess
DIODE_V = 0.2  # of the Schottky diode before it; common practice, no source
AGREES = 1.2  # an `other_current` this much below the light's own still counts it


class LedError(ValueError):
    """No light of that colour on that supply; the message is one sentence for a maker."""


@dataclass(frozen=True)
class Led:
    """The light and its resistor.

    drop_v: assumed, V; ohm: the resistor, a preferred value; ampere: at the chain's supply voltage; counted: whether
    the chain's `other_current` has room for it; parts: the resistor from the node that the battery feeds, the light
    from there to ground, the long leg (+) first.
    """

    colour: str
    drop_v: float
    ohm: float
    ampere: float
    counted: bool
    parts: tuple[Part, ...]


def led_if_lit(chain: SignalChain, colour: str, guarded: bool = True) -> Led | None:
    """As `led`; None where none is wanted, there is no stage, or the supply is too low."""
    if colour == NO_LED or not chain.topology.powered:
        return None
    try:
        return led(chain, colour, guarded)
    except LedError:
        return None


def led(chain: SignalChain, colour: str, guarded: bool = True) -> Led:
    """The light of a powered chain. guarded: whether a Schottky diode sits before it. Raises LedError where the supply
    is too low, ValueError with no stage, KeyError on a colour without a drop."""
    if not chain.topology.powered:
        raise ValueError("led: 'direct' has no supply; allowed is a stage with one.")
    drop = LED_DROP_V[colour]
    over = float(chain.supply_v) - drop - (DIODE_V if guarded else 0.0)
    if over < HEADROOM_V:
        least = drop + HEADROOM_V + (DIODE_V if guarded else 0.0)
        raise LedError(
            f"LED: {colour!r} cannot be lit from {float(chain.supply_v):g} V; allowed is a supply of {least:g} V or "
            "more, another colour, or none."
        )
    other = float(chain.other_current)
    wanted = other if LEAST_A <= other <= MOST_A else USUAL_A
    ohm = nearest_preferred(over / wanted, "E24")
    ampere = over / ohm
    plus = next(part.nodes[0] for part in assemble(chain.values).parts if part.kind == "battery")
    parts = (
        Part("R_led", "LED's resistor", "resistor", (plus, "led"), ohm, where="supply"),
        Part("LED", f"LED, {colour}", "led", ("led", GROUND), drop, where="supply"),
    )
    return Led(colour, drop, ohm, ampere, other * AGREES >= ampere, parts)
