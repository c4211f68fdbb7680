"""The whole chain at a glance: one picture for each thing that the signal passes, with the values that matter."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.parameters import all_parameters
from piezolab.pitch import parse_tuning
from piezolab.quantity import show

# Plain line drawings of our own, 64 by 44 units.
_PICTURES = {
    "instrument": '<path d="M6 30c0-9 8-12 15-8 5-5 16-4 16 5l21-3v4l-21 3c0 8-11 10-16 5-7 4-15 1-15-6z"/>'
    '<circle cx="27" cy="29" r="4"/>',
    "pickup": '<circle cx="32" cy="22" r="18"/><circle cx="32" cy="22" r="12" stroke-dasharray="3 3"/>'
    '<path d="M44 22h16M50 22v14h10"/>',
    "lead": '<path d="M4 22c10-18 18 18 28 0s18 18 28 0"/>'
    '<circle cx="4" cy="22" r="2"/><circle cx="60" cy="22" r="2"/>',
    "stage": '<path d="M4 22h18M22 10v24M22 14h18V4M22 30h18v10M12 18l6 4-6 4"/>',
    "none": '<path d="M4 22h56"/><path d="M26 14l12 16M38 14L26 30" stroke-dasharray="2 3"/>',
    "cable": '<path d="M2 22h8v-5h12v10H10v-5M22 22c8 0 6 14 14 14s4-28 12-28 6 14 14 14"/>',
    "input": '<rect x="8" y="5" width="48" height="34" rx="3"/><circle cx="22" cy="22" r="7"/>'
    '<path d="M38 14h10M38 22h10M38 30h10"/>',
}


@dataclass(frozen=True)
class Stop:
    """One thing on the way: picture, name, and lines of values."""

    picture: str
    name: str
    lines: tuple[str, ...]


def stops(chain: SignalChain) -> tuple[Stop, ...]:
    """What the signal passes, in order."""
    values = chain.values
    discs = all_parameters()["discs"].show(chain.discs)
    strings = " ".join(note.display for note in parse_tuning(chain.tuning))
    disc = (f"{show(values.pickup_c, 'F')}, {discs}",)
    found = [
        Stop("instrument", "instrument", (strings,)),
        Stop("pickup", "pickup", disc),
        Stop("lead", "lead", (show(values.lead_m, "m"),)),
    ]
    if chain.topology.powered:
        where = chain.type_number + (", measured" if chain.transistor_measured else ", typical")
        lines = (chain.topology.title, where)
        found.append(Stop("stage", "stage", lines))
    else:
        found.append(Stop("none", "stage", ("none",)))
    found.append(Stop("cable", "cable", (show(values.cable_m, "m"),)))
    kinds = " and ".join(catalogue.inputs()[kind].label for kind in chain.input)
    found.append(Stop("input", "input", (kinds, show(values.input_r, "ohm"))))
    return tuple(found)


#: Parts of the chain by the name of their stop: what their panel holds.
GROUPS_OF = {
    "instrument": ("instrument",),
    "pickup": ("pickup",),
    "lead": ("lead",),
    "stage": ("stage", "supply"),
    "cable": ("cable",),
    "input": ("input", "room"),
}
#: Keys that a panel shows first; the rest stands behind "more".
MAIN = {
    "instrument": ("tuning", "play_v"),
    "pickup": ("pickup_c", "discs", "pickup_r"),
    "lead": ("lead_m", "lead_c"),
    "stage": ("stage", "jfet", "gate_r"),
    "cable": ("cable_m", "cable_c"),
    "input": ("input", "input_r", "pad"),
}


def picture(chain: SignalChain, opened: str = "") -> str:
    """The stops as HTML, each a button that opens its panel; opened: the one that is open."""
    items = []
    for stop in stops(chain):
        lines = "".join(f"<span>{escape(line)}</span>" for line in stop.lines)
        drawing = (
            '<svg viewBox="0 0 64 44" aria-hidden="true" fill="none" stroke="currentColor" stroke-width="2" '
            f'stroke-linejoin="round" stroke-linecap="round">{_PICTURES[stop.picture]}</svg>'
        )
        is_open = "true" if stop.name == opened else "false"
        items.append(
            f'<li><button type="button" data-press="{escape(stop.name)}" aria-expanded="{is_open}">'
            f"{drawing}<strong>{escape(stop.name)}</strong>{lines}</button></li>"
        )
    return f'<ol class="pz-stops">{"".join(items)}</ol>'
