"""How large a box has to be inside: jack and switch behind one wall, then the board, then the battery. Millimetres.

Sizes of jack, switch and socket are those of usual panel parts, what hangs behind the wall counted; common practice, no
source. A battery's size stands in its row of the catalogue.
"""

from __future__ import annotations

from dataclasses import dataclass

from piezolab.catalogue import BatteryKind

AIR = 3.0  # round each body
LINING = 2.0  # of foil and its insulation, at floor and lid each
CLIP = 8.0  # that a snap clip and its wires add to a block's length
# along the wall, into the box, upwards; the jack with the tip of a plug, which stands out at its back
PANEL = {"jack": (24.0, 34.0, 24.0), "switch": (14.0, 28.0, 16.0), "socket": (14.0, 26.0, 14.0)}
BOARD_HEIGHT = {"breadboard": 26.0}
_BOARD_HEIGHT = 20.0  # with parts, the joints below and their air


@dataclass(frozen=True)
class Body:
    """Something in the box: its corner nearest to the wall's left end, and its size along, into and upwards, mm."""

    name: str
    x: float
    y: float
    length: float
    width: float
    height: float


@dataclass(frozen=True)
class Box:
    """length, width, depth: least inside, mm; bodies: what is in it."""

    length: float
    width: float
    depth: float
    bodies: tuple[Body, ...]


def box(board: tuple[float, float], method: str, battery: BatteryKind | None, panel: tuple[str, ...]) -> Box:
    """The least box. board: its two sides, mm; method: how it is made; battery: None for an adapter; panel: names of
    PANEL, from left to right."""
    bodies, x = [], AIR
    for name in panel:
        length, width, height = PANEL[name]
        bodies.append(Body(name, x, 0.0, length, width, height))
        x += length + AIR
    y = max(body.width for body in bodies) + AIR
    wide, tall = max(board), min(board)
    bodies.append(Body("board", AIR, y, wide, tall, BOARD_HEIGHT.get(method, _BOARD_HEIGHT)))
    y += tall + AIR
    if battery is not None:
        length, width, height = (1000 * side for side in (battery.length, battery.width, battery.depth))
        length += CLIP if "9 V block" in battery.tags else 0.0
        bodies.append(Body("battery", AIR, y, length, width, height))
        y += width + AIR
    length = max(x, *(body.x + body.length + AIR for body in bodies))
    return Box(length, y, max(body.height for body in bodies) + 2 * LINING, tuple(bodies))
