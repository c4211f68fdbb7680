"""Parts that stand straight across the lanes, before it is known how far along them: all at x = 0. Millimetres.

A two-lead part runs up and down the picture. A transistor's body lies along the lanes, and each of its legs has a
column of its own, so that the legs never meet whatever their order and wherever their lanes are.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from piezolab.studies.board.board_parts import HOLE, TRANSISTOR, BoardPart, Wire
from piezolab.studies.board.placed import Placed

CLEAR = 1.0  # mm of bare base between a lead or a body and foreign copper on the same face
TAPE_SPREAD = 3.81  # mm between a transistor's legs on tape


@dataclass(frozen=True)
class Ground:
    """What uprights stand on. width: of a lane's copper; aside: see `LaneRules`; one_face: leads lie on the lanes' own
    face; gaps: of each transistor, the number of the lane (from below) above which its body lies, on one face only."""

    width: float
    aside: float
    one_face: bool
    gaps: Mapping[str, int]


def body_gap(width: float, body: float = TRANSISTOR.width) -> float:
    """Distance of two lanes of a width, middle to middle, between which a body lies clear of both."""
    return width + body + 2 * CLEAR


def opened(
    order: Sequence[str], y: Mapping[str, float], parts: Sequence[BoardPart], ground: Ground
) -> dict[str, float]:
    """The lanes' heights with room for each transistor's body clear of the copper, where both lie on one face."""
    if not ground.one_face:
        return dict(y)
    found, shift = {}, 0.0
    body = {part.name: part.size.width for part in parts if part.name in ground.gaps}
    wanted = {gap: body_gap(ground.width, body[name]) for name, gap in ground.gaps.items()}
    for n, lane in enumerate(order):
        if n and n - 1 in wanted:
            shift += max(wanted[n - 1] - (y[lane] - y[order[n - 1]]), 0.0)
        found[lane] = round(y[lane] + shift, 6)
    return found


def uprights(part: BoardPart, order: Sequence[str], y: Mapping[str, float], ground: Ground) -> tuple[Placed, ...]:
    """The ways in which a part may stand; none where its leads are too short for these lanes."""
    if part.size.shape == "half-round":
        return _transistor(part, order, y, ground)
    (low, high) = sorted(part.lanes, key=y.__getitem__)
    apart = y[high] - y[low]
    inset = min(max((apart - part.size.pitch) / 2, -ground.aside), ground.aside)
    if not part.size.pitch - 0.1 <= apart - 2 * inset <= part.size.reach:
        return ()
    at = {low: round(y[low] + inset, 6), high: round(y[high] - inset, 6)}
    leads = tuple((0.0, at[lane]) for lane in part.lanes)
    centre = (0.0, (at[low] + at[high]) / 2)
    size = part.size
    return (Placed(part.name, part.kind, part.lanes, part.leads, leads, centre, size.shape, size.length, size.width),)


def _transistor(
    part: BoardPart, order: Sequence[str], y: Mapping[str, float], ground: Ground
) -> tuple[Placed, ...]:
    if ground.one_face:
        gap, spread = ground.gaps[part.name], TAPE_SPREAD
        middle = round((y[order[gap]] + y[order[gap + 1]]) / 2, 6)
    else:
        low, middle, high = sorted(y[lane] for lane in part.lanes)
        if max(high - middle, middle - low) > part.size.reach:
            middle = round(round((low + high) / 2 / HOLE) * HOLE, 6)
        spread = HOLE
    joints = [
        round(y[lane] + (ground.aside if y[lane] < middle else -ground.aside), 6) for lane in part.lanes
    ]
    if max(abs(joint - middle) for joint in joints) > part.size.reach:
        return ()
    found = []
    for flat in (-1, 1):
        leads = tuple((-flat * spread * (n - 1), joint) for n, joint in enumerate(joints))
        found.append(
            Placed(
                part.name, part.kind, part.lanes, part.leads, leads, (0.0, middle), "half-round", part.size.length,
                part.size.width, flat,
            )
        )  # fmt: skip
    return tuple(found)


def gaps_of(order: Sequence[str], parts: Sequence[BoardPart]) -> list[dict[str, int]]:
    """The choices of gaps for the transistors' bodies: each just above or just below its middle lane."""
    level = {lane: n for n, lane in enumerate(order)}
    choices: list[dict[str, int]] = [{}]
    for part in parts:
        if part.size.shape == "half-round":
            low, middle, high = sorted(level[lane] for lane in part.lanes)
            gaps = dict.fromkeys(min(max(gap, low), max(high - 1, 0)) for gap in (middle - 1, middle))
            choices = [{**choice, part.name: gap} for choice in choices for gap in gaps]
    return choices


def upright_wire(wire: Wire, y: Mapping[str, float]) -> Placed:
    """The joint of a wire that leaves the board; the wire itself has its cover on."""
    at = (0.0, y[wire.lane])
    return Placed(wire.name, "wire", (wire.lane,), ("",), (at,), at, "wire", 1.8, 1.8)
