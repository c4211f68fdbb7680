"""Names of strings, nodes, parts and wires as a maker reads them."""

from __future__ import annotations

from piezolab.chain import SignalChain
from piezolab.pitch import Note, parse_tuning

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


def whose_part(chain: SignalChain) -> str:
    """Which transistors a band of readings holds for."""
    return "your transistor as measured" if chain.transistor_measured else "98 of 100 transistors of the type"


def lowest(chain: SignalChain) -> Note:
    """The lowest string."""
    return min(parse_tuning(chain.tuning), key=lambda note: note.frequency_hz)


def your_note(chain: SignalChain) -> str:
    """The lowest string in words: your low D (147 Hz)."""
    note = lowest(chain)
    low = "low " if len(parse_tuning(chain.tuning)) > 1 else ""
    return f"your {low}{note.display.rstrip('0123456789')} ({note.frequency_hz:.0f} Hz)"


def louder_words(level_db: float) -> str:
    """25 dB louder, 3 dB quieter."""
    size = abs(level_db)
    number = f"{size:.1f}" if size < 9.95 else f"{size:.0f}"
    return f"{number.removesuffix('.0')} dB {'louder' if level_db > 0 else 'quieter'}"


def in_brackets(name: str) -> str:
    """audio interface, line socket -> audio interface (line socket), to stand inside a sentence."""
    first, comma, rest = name.partition(", ")
    return f"{first} ({rest})" if comma else name
