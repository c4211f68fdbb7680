"""Which leads pass over copper that is not theirs, where both lie on one face. Millimetres."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from piezolab.studies.board.lanes import Lane
from piezolab.studies.board.placed import Placed
from piezolab.studies.board.upright import CLEAR


@dataclass(frozen=True)
class Crossing:
    """A part, the number of the lead that wants a sleeve (-1: the body wants card under it), and the node below."""

    part: str
    lead: int
    node: str


def crossings(lanes: Sequence[Lane], parts: Sequence[Placed], width: float) -> tuple[Crossing, ...]:
    """Every lead and body that comes nearer than `CLEAR` to the full width of a lane of another node."""
    found: dict[Crossing, None] = {}
    for part in parts:
        if part.shape == "wire":
            continue
        for lane in lanes:
            for (left, y), (right, _) in lane.strips:
                copper = (left - CLEAR, y - width / 2 - CLEAR, right + CLEAR, y + width / 2 + CLEAR)
                near = [
                    (role, n) for rect, role, n in part.rects
                    if min(rect[2], copper[2]) - max(rect[0], copper[0]) > 0.02
                    and min(rect[3], copper[3]) - max(rect[1], copper[1]) > 0.02
                ]  # fmt: skip
                leads = {n for role, n in near if role == "lead" and part.lanes[n] != lane.node}
                found |= {Crossing(part.name, n, lane.node): None for n in sorted(leads)}
                if not leads and lane.node not in part.lanes and ("body", -1) in near:
                    found[Crossing(part.name, -1, lane.node)] = None
    return tuple(found)
