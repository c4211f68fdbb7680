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


def lane_name(node: str, adapter: bool = False) -> str:
    """The lane of a node, in words; a node of a stage's own keeps its name. adapter: whether one feeds the board."""
    return fed_by(_LANES.get(node, node), adapter)


def fed_by(words: str, adapter: bool) -> str:
    """Names of a battery's wires and contacts, where an adapter's socket stands in its place."""
    return words.replace("battery clip", "socket").replace("battery", "socket") if adapter else words


def part_name(name: str) -> str:
    """A part's reference without the underscore: RG, Cout, Q1."""
    return name.replace("_", "")


def wire_name(name: str, adapter: bool = False) -> str:
    """A wire that leaves the board, short enough for a drawing."""
    if adapter and name.startswith("battery"):
        return fed_by(name, adapter).replace("-", "−")
    return {
        "pickup hot": "pickup",
        "pickup screen": "screen",
        "battery +": "batt +",
        "battery -": "batt −",
        "jack tip": "tip",
        "jack sleeve": "sleeve",
    }.get(name, name)
