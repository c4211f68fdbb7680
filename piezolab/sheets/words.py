"""Names of nodes, parts and wires as a maker reads them."""

from __future__ import annotations

_LANES = {
    "ground": "ground",
    "pickup": "gate (pickup)",
    "supply": "supply +",
    "battery": "battery +",
    "jack": "jack tip",
    "source": "source",
    "drain": "drain",
    "gate": "gate",
    "divider": "divider",
    "tap": "tap",
    "bypass": "bypass",
}


def lane_name(node: str) -> str:
    """The lane of a node, in words; a node of a stage's own keeps its name."""
    return _LANES.get(node, node)


def part_name(name: str) -> str:
    """A part's reference without the underscore: RG, Cout, Q1."""
    return name.replace("_", "")


def wire_name(name: str) -> str:
    """A wire that leaves the board, short enough for a drawing."""
    return {
        "pickup hot": "pickup",
        "pickup screen": "screen",
        "battery +": "batt +",
        "battery -": "batt −",
        "jack tip": "tip",
        "jack sleeve": "sleeve",
    }.get(name, name)
