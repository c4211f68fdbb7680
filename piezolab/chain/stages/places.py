"""Where the parts of a single-transistor stage stand in the schematic, and the wires between them.

Grid: one unit is half the length of a resistor with its leads. y = 0 is the ground rail, which the schematic itself
draws under whatever ends there; it also draws the supply rail above the stage. The signal comes in at the leftmost
point of the node `pickup` and leaves at the rightmost point of the node `jack`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from piezolab.chain.parts import Part, Point

Wires = tuple[tuple[Point, ...], ...]


def placed(parts: Sequence[Part], out: str) -> tuple[Part, ...]:
    """The parts with their places; the output capacitor hangs on the transistor's `out`, its drain or source."""
    places, _ = plan(parts, out)
    return tuple(replace(part, place=places[part.name]) for part in parts)


def plan(parts: Sequence[Part], out: str) -> tuple[dict[str, tuple[Point, ...]], Wires]:
    """Places by part name, and wires, for the parts that `transistor` can make."""
    found = {part.name: part for part in parts}
    ladder = [name for name in ("R_S", "R_S1", "R_S2", "R_S3") if name in found]
    divided, stopped, bypassed = "R_1" in found, "R_stop" in found, "C_S" in found
    tapped = found["R_G"].nodes[1] == "tap"

    # heights
    source_y = float(max(2 * len(ladder), 4 if divided else 2))
    gate_y, drain_y = source_y + 0.5, source_y + 2
    top_y = drain_y + (2 if "R_D" in found else 1)
    # columns
    gate_x = 6.0 if divided else 4.5 if stopped else 2.5
    if divided and "C_div" not in found:
        gate_x = 5.5 if stopped else 4.5
    line_x = gate_x + 1.5  # drain, source and what hangs on it

    places: dict[str, tuple[Point, ...]] = {
        "Q1": ((line_x, drain_y), (gate_x, gate_y), (line_x, source_y)),
        "R_G": ((1, gate_y), (1, gate_y - 2)),
    }
    wires: list[tuple[Point, ...]] = []

    # gate
    if stopped:
        start = gate_x - 2
        places["R_stop"] = ((start, gate_y), (gate_x, gate_y))
        wires.append(((0, gate_y), (1, gate_y), (start, gate_y)))
    else:
        wires.append(((0, gate_y), (1, gate_y), (gate_x, gate_y)))
    foot = gate_y - 2
    if divided:
        places["R_1"] = ((3, top_y), (3, top_y - 2))
        places["R_2"] = ((3, foot), (3, foot - 2))
        wires += [((3, top_y - 2), (3, foot)), ((1, foot), (3, foot)), ((3, foot - 2), (3, 0))]
        if "C_div" in found:
            places["C_div"] = ((4.8, foot), (4.8, foot - 2))
            wires += [((3, foot), (4.8, foot)), ((4.8, foot - 2), (4.8, 0))]
    elif not tapped:
        wires.append(((1, foot), (1, 0)))

    # drain
    if "R_D" in found:
        places["R_D"] = ((line_x, top_y), (line_x, drain_y))
    else:
        wires.append(((line_x, top_y), (line_x, drain_y)))

    # source
    height = source_y
    for name in ladder:
        places[name] = ((line_x, height), (line_x, height - 2))
        height -= 2
        lower = found[name].nodes[1]
        if lower == "tap":
            wires.append(((1, foot), (1, height), (line_x, height)))
        if bypassed and found["C_S"].nodes[0] == lower:
            wires += _bypass(places, line_x, height)
    if height > 0:
        wires.append(((line_x, height), (line_x, 0)))
    if bypassed and found["C_S"].nodes[0] == "source":
        wires += _bypass(places, line_x, source_y)

    # output
    out_y = drain_y if out == "drain" else source_y
    out_x = line_x + (3 if bypassed and out == "source" else 1.5)
    places["C_out"] = ((out_x, out_y), (out_x + 2, out_y))
    bleed_x = max(out_x + 2.5, line_x + 4.3 if bypassed else 0)
    places["R_bleed"] = ((bleed_x, out_y), (bleed_x, out_y - 2))
    wires += [
        ((line_x, out_y), (out_x, out_y)),
        ((out_x + 2, out_y), (bleed_x, out_y), (bleed_x + 1.5, out_y)),
    ]
    if out_y > 2:
        wires.append(((bleed_x, out_y - 2), (bleed_x, 0)))
    return places, tuple(wires)


def _bypass(places: dict[str, tuple[Point, ...]], line_x: float, height: float) -> list[tuple[Point, ...]]:
    x = line_x + 2.2
    places["C_S"] = ((x, height), (x, height - 2))
    wires: list[tuple[Point, ...]] = [((line_x, height), (x, height))]
    if height > 2:
        wires.append(((x, height - 2), (x, 0)))
    return wires
