"""Where the parts of a stage with one transistor stand in the schematic, and the wires between them.

Found by the names that `chain.stages.common_parts` gives its parts, whichever stage they come from. The grid: one unit
is half the length of a resistor with its leads; y = 0 is the ground rail, which the schematic draws under whatever ends
there, as it draws the supply rail above. A transistor's drain stands 2 above its source, its gate 1.5 aside and 0.5
above the source. The signal comes in at the leftmost point of the node `pickup` and leaves at the rightmost of `jack`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from piezolab.chain.parts import Part
from piezolab.sheets.drawing import Point

Places = dict[str, tuple[Point, ...]]
Wires = tuple[tuple[Point, ...], ...]

_ALWAYS = frozenset({"Q1", "R_G", "C_out", "R_bleed"})
_LADDER = ("R_S", "R_S1", "R_S2", "R_S3")
_CLAMPS = ("D_pair", "D_low", "D_high")
_FOR_CLAMPS = 2.0
_NAMES = _ALWAYS | {"R_1", "R_2", "C_div", "R_stop", "R_D", "C_S", *_CLAMPS, *_LADDER}


def places_and_wires(parts: Sequence[Part]) -> tuple[Places, Wires] | None:
    """Places by part name, one point for each lead in the order of its nodes, and wires; None where the parts are not
    those of such a stage. Names decide: whether the wires join what the nodes say is for the caller to see."""
    found = {part.name: part for part in parts}
    if not _ALWAYS <= found.keys() <= _NAMES:
        return None
    grid = _grid(found)
    places: Places = {
        "Q1": ((grid.line_x, grid.drain_y), (grid.gate_x, grid.gate_y), (grid.line_x, grid.source_y)),
        "R_G": ((1, grid.gate_y), (1, grid.foot)),
    }
    wires = (
        *_gate(found, grid, places),
        *_drain(found, grid, places),
        *_source(found, grid, places),
        *_output(found, grid, places),
    )
    fitting = all(part.name in places and len(places[part.name]) == len(part.nodes) for part in parts)
    return (places, wires) if fitting else None


@dataclass(frozen=True)
class _Grid:
    """stop_end: where a stopper ends; clamp_x: where clamps hang on the gate; line_x: the column of drain, source and
    what hangs on them; foot: the gate resistor's lower end; top_y: the highest point."""

    stop_end: float
    gate_x: float
    line_x: float
    clamp_x: float
    source_y: float
    top_y: float

    @property
    def gate_y(self) -> float:
        return self.source_y + 0.5

    @property
    def drain_y(self) -> float:
        return self.source_y + 2

    @property
    def foot(self) -> float:
        return self.gate_y - 2


def _grid(found: Mapping[str, Part]) -> _Grid:
    divided, stopped = "R_1" in found, "R_stop" in found
    ladder = sum(name in found for name in _LADDER)
    source_y = float(max(2 * ladder, 4 if divided else 2))
    gate_x = 6.0 if divided else 4.5 if stopped else 2.5
    if divided and "C_div" not in found:
        gate_x = 5.5 if stopped else 4.5
    stop_end = gate_x
    if any(name in found for name in _CLAMPS):
        gate_x += _FOR_CLAMPS
    top_y = source_y + 2 + (2 if "R_D" in found else 1)
    return _Grid(stop_end, gate_x, gate_x + 1.5, (stop_end + gate_x) / 2, source_y, top_y)


def _gate(found: Mapping[str, Part], grid: _Grid, places: Places) -> Wires:
    """Stopper, and where the gate resistor returns to."""
    gate_y, foot, top_y = grid.gate_y, grid.foot, grid.top_y
    end = grid.stop_end
    if "R_stop" in found:
        end -= 2
        places["R_stop"] = ((end, gate_y), (grid.stop_end, gate_y))
    wires: list[tuple[Point, ...]] = [((0, gate_y), (1, gate_y), (end, gate_y)), *_clamps(found, grid, places)]
    if "R_1" in found:
        places["R_1"] = ((3, top_y), (3, top_y - 2))
        places["R_2"] = ((3, foot), (3, foot - 2))
        wires += [((3, top_y - 2), (3, foot)), ((1, foot), (3, foot)), ((3, foot - 2), (3, 0))]
        if "C_div" in found:
            places["C_div"] = ((4.8, foot), (4.8, foot - 2))
            wires += [((3, foot), (4.8, foot)), ((4.8, foot - 2), (4.8, 0))]
    elif found["R_G"].nodes[1] != "tap":
        wires.append(((1, foot), (1, 0)))
    return tuple(wires)


def _clamps(found: Mapping[str, Part], grid: _Grid, places: Places) -> Wires:
    """A clamp between the gate and ground, and one to the supply; the gate's wire to them."""
    x, y = grid.clamp_x, grid.gate_y
    if x == grid.gate_x:
        return ()
    wires: list[tuple[Point, ...]] = [((grid.stop_end, y), (x, y), (grid.gate_x, y))]
    for name in ("D_pair", "D_low"):
        if name in found:
            places[name] = ((x, y), (x, y - 2)) if name == "D_pair" else ((x, y - 2), (x, y))
            wires.append(((x, y - 2), (x, 0)))
    if "D_high" in found:
        places["D_high"] = ((x, y), (x, y + 2))
        wires.append(((x, y + 2), (x, grid.top_y)))
    return tuple(wires)


def _drain(found: Mapping[str, Part], grid: _Grid, places: Places) -> Wires:
    top, drain = (grid.line_x, grid.top_y), (grid.line_x, grid.drain_y)
    if "R_D" not in found:
        return ((top, drain),)
    places["R_D"] = (top, drain)
    return ()


def _source(found: Mapping[str, Part], grid: _Grid, places: Places) -> Wires:
    """The source resistor's pieces one below the other, the tap to the gate resistor, and the bypass."""
    x, height = grid.line_x, grid.source_y
    bypassed = found["C_S"].nodes[0] if "C_S" in found else ""
    wires: list[tuple[Point, ...]] = []
    for name in _LADDER:
        if name not in found:
            continue
        places[name] = ((x, height), (x, height - 2))
        height -= 2
        lower = found[name].nodes[1]
        if lower == "tap":
            wires.append(((1, grid.foot), (1, height), (x, height)))
        if lower == bypassed:
            wires += _bypass(places, x, height)
    if height > 0:
        wires.append(((x, height), (x, 0)))
    if bypassed == "source":
        wires += _bypass(places, x, grid.source_y)
    return tuple(wires)


def _bypass(places: Places, line_x: float, height: float) -> Wires:
    x = line_x + 2.2
    places["C_S"] = ((x, height), (x, height - 2))
    wires: Wires = (((line_x, height), (x, height)),)
    return (*wires, ((x, height - 2), (x, 0))) if height > 2 else wires


def _output(found: Mapping[str, Part], grid: _Grid, places: Places) -> Wires:
    """Output capacitor, from the drain where it hangs there, else from the source; bleed resistor; the jack's wire."""
    line_x, bypassed = grid.line_x, "C_S" in found
    at_drain = found["C_out"].nodes[0] == found["Q1"].nodes[0]
    y = grid.drain_y if at_drain else grid.source_y
    x = line_x + (3 if bypassed and not at_drain else 1.5)
    places["C_out"] = ((x, y), (x + 2, y))
    bleed_x = max(x + 2.5, line_x + 4.3 if bypassed else 0)
    places["R_bleed"] = ((bleed_x, y), (bleed_x, y - 2))
    wires: Wires = (((line_x, y), (x, y)), ((x + 2, y), (bleed_x, y), (bleed_x + 1.5, y)))
    return (*wires, ((bleed_x, y - 2), (bleed_x, 0))) if y > 2 else wires
