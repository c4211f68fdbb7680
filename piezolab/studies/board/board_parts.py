"""What goes on the board and how large it is: parts with their lead pitch and body, the wires that leave it.

Sizes are those of ordinary parts of a quarter-watt and up to 63 V; common practice, no source. Millimetres.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

from piezolab.chain.assembly import GROUND, SUPPLY, Assembly
from piezolab.chain.clamping import both_ways
from piezolab.chain.parts import Part

HOLE = 2.54  # mm, the grid of stripboard and breadboard (0.1 inch)
ELECTROLYTIC_FROM = 1e-6  # F; below this a maker takes a film capacitor: common practice, no source


ON_BOARD = ("resistor", "capacitor", "jfet", "clamp")


@dataclass(frozen=True)
class Size:
    """shape: bar, box, can or half-round; pitch: between the leads; reach: the farthest apart that the leads can land;
    length, width: of the body (a can's diameter is both). mm."""

    shape: str
    pitch: float
    reach: float
    length: float
    width: float


@dataclass(frozen=True)
class BoardPart:
    """A part to solder: its lanes in the order of its leads (a transistor's in the order of its pins)."""

    name: str
    kind: str
    lanes: tuple[str, ...]
    leads: tuple[str, ...]
    size: Size


@dataclass(frozen=True)
class Wire:
    """A wire that leaves the board; side: the edge at which it is welcome."""

    name: str
    lane: str
    side: str


def film(farad: float) -> bool:
    """Whether a capacitor of this value is a film one (no polarity) rather than an electrolytic."""
    return farad < ELECTROLYTIC_FROM


def size_of(kind: str, value: float, resistor_pitch: float = 10.16) -> Size:
    """Size of a two-lead part of a kind and value (ohm, F)."""
    if kind == "capacitor" and film(value):
        return Size("box", 5.08, 17.8, 7.2, 3.5) if value <= 220e-9 else Size("box", 7.62, 20.3, 10.3, 5.0)
    if kind == "capacitor":
        for most, pitch, across in ((47e-6, 2.54, 6.3), (470e-6, 5.08, 10.0), (2.2e-3, 5.08, 13.0)):
            if value <= most:
                return Size("can", pitch, 25.4, across, across)
        return Size("can", 7.62, 25.4, 18.0, 18.0)
    return Size("bar", resistor_pitch, 40.0, 6.5, 2.5)


TRANSISTOR = Size("half-round", HOLE, 12.7, 5.0, 4.0)


def usual_legs(part: Part) -> tuple[str, ...]:
    """Drain, gate, source: how most types have them."""
    return tuple("DGS")


def board_parts(
    assembly: Assembly, resistor_pitch: float = 10.16, legs: Callable[[Part], Sequence[str]] = usual_legs,
    ring: bool = False, bipolar: Collection[str] = (),
) -> tuple[tuple[BoardPart, ...], tuple[Wire, ...]]:  # fmt: skip
    """Parts and wires of a chain's board. legs: of a transistor, flat face to you, legs down, left to right; ring:
    the battery's minus goes to the jack's ring contact, so that no wire of it comes to the board; bipolar: names of the
    capacitors that have no plus."""
    parts = []
    for part in soldered(assembly):
        if part.kind == "jfet":
            by_letter = dict(zip("DGS", part.nodes, strict=True))
            order = tuple(legs(part))
            parts.append(BoardPart(part.name, part.kind, tuple(by_letter[pin] for pin in order), order, TRANSISTOR))
        elif part.kind == "clamp":
            leads = ("", "") if both_ways(part.value) else ("a", "k")
            size = Size("bar", resistor_pitch, 40.0, 4.2, 2.0)
            parts.append(BoardPart(part.name, part.kind, part.nodes, leads, size))
        else:
            size = size_of(part.kind, float(part.value), resistor_pitch)
            leads = ("+", "-") if size.shape == "can" and part.name not in bipolar else ("", "")
            parts.append(BoardPart(part.name, part.kind, part.nodes, leads, size))
    if not parts:
        return (), ()
    plus = next((part.nodes[0] for part in assembly.where("supply") if part.kind == "battery"), SUPPLY)
    wires = [Wire("pickup hot", "pickup", "left"), Wire("pickup screen", GROUND, "left")]
    if assembly.stage.powered:
        wires.append(Wire("battery +", plus, "right"))
        if not ring:
            wires.append(Wire("battery -", GROUND, "right"))
    wires += [Wire("jack tip", assembly.jack, "right"), Wire("jack sleeve", GROUND, "right")]
    return tuple(parts), tuple(wires)


def soldered(assembly: Assembly) -> tuple[Part, ...]:
    """The chain's parts that sit on the board, the battery aside."""
    return tuple(part for part in assembly.where("board", "supply") if part.kind in ON_BOARD)


def lanes_of(parts: tuple[BoardPart, ...], wires: tuple[Wire, ...]) -> tuple[str, ...]:
    """Every lane, in the order in which parts and wires name them."""
    named = [lane for part in parts for lane in part.lanes] + [wire.lane for wire in wires]
    return tuple(dict.fromkeys(named))
