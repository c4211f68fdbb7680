"""The chain as a list that people read: what goes where, with its value."""

from __future__ import annotations

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.chain.parameters import all_parameters
from piezolab.chain.parts import Part
from piezolab.quantity import letter_code, show

_HEADS = {"board": "On the board", "supply": "Supply"}
_BEFORE = ("tuning", "pickup_c", "pickup_r", "discs", "resonance", "lead_m")
_AFTER = ("cable_m", "pad", "input", "input_r", "input_c")


def parts_list(chain: SignalChain) -> str:
    """A readable list of the whole chain, one thing to a line."""
    lines = ["Instrument and pickup", *_settings(chain, _BEFORE)]
    lines.append(f"Stage: {chain.topology.title}")
    parts = assemble(chain.values).parts
    for where, head in _HEADS.items():
        found = [f"  {p.label} {p.name.replace('_', '')}: {_value(p, chain)}" for p in parts if p.where == where]
        lines += [f"{head}:", *found] if found else []
    return "\n".join([*lines, "Cable and input", *_settings(chain, _AFTER)])


def _settings(chain: SignalChain, keys: tuple[str, ...]) -> list[str]:
    table = all_parameters()
    lines = []
    for key in keys:
        value = chain.values[key]
        if value is not None:
            lines.append(f"  {table[key].label}: {table[key].show(value)}")
    return lines


def _value(part: Part, chain: SignalChain) -> str:
    if part.kind == "jfet":
        key = part.key or "jfet"
        measured = "your own, measured" if chain.measured(key) else "typical, not yours"
        return f"{catalogue.transistors()[chain[key]].type_number} ({measured})"
    if part.kind == "clamp":
        return catalogue.clamps()[chain.clamp_part].type_number
    value = float(part.value)
    if part.unit in ("ohm", "F"):
        short = letter_code(value, part.unit)
        return short if len(short) <= 6 else show(value, part.unit)
    return show(value, part.unit)
