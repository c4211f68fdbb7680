"""What a knock on the disc does, told: how long it is silent, then the volts at the gate, then what may come of it."""

from __future__ import annotations

import math

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.pages.kit.blocks import paragraphs, table
from piezolab.quantity import show
from piezolab.studies.knock import KNOCK_HZ, SHAPES, Knock, knock
from piezolab.studies.protection import Protection

_SOON_S = 0.05  # less of a gap nobody notices after a knock


#: What stands in the way, by the bars of `protection`.
_IN_THE_WAY = {
    "voltage": "the gate would still go beyond its rating",
    "current": "more would flow than the part may carry",
    "edge": "hard playing would clip in it",
    "added": "hard playing would sound rougher",
    "bass": "the lowest string would lose bass",
    "warm bass": "the lowest string would lose bass in the heat",
    "hiss": "it would hiss more",
}
_ONLY_PARTLY = "It spares the part, and only partly the silence"


def knock_words(chain: SignalChain, more: str = "") -> str:
    """Words and a table, for a knock that is an assumption and called one; more: a sentence between."""
    found = knock(chain)
    if found is None:
        return paragraphs("With no stage there is no gate to hurt, and the sound is back at once.")
    head = ("knock", "goes first", "gate at its lowest", "plays again after")
    rows = [
        (shape, way, show(float(found.gate_low_v[s, w]), "V", 2), _silence(found.silent_s[s, w]))
        for s, shape in enumerate(SHAPES)
        for w, way in enumerate(("up", "down"))
    ]
    caption = (
        f"A knock of {show(found.peak_v, 'V', 2)} at {show(KNOCK_HZ, 'Hz', 2)} on one disc: our guess at a hard one, "
        "so three shapes, both ways round."
    )
    return paragraphs(*filter(None, (_heard(found), _at_the_gate(chain, found), more))) + table(head, rows, caption)


def _silence(seconds: np.ndarray) -> str:
    """The span over how the gate breaks down or does not."""
    if np.isnan(seconds).any():
        return "does not play at rest"
    low, high = (_time(float(each)) for each in (np.min(seconds), np.max(seconds)))
    return low if low == high else f"{low.removesuffix(' s')} to {high}"


def _time(seconds: float) -> str:
    if seconds < _SOON_S:
        return "at once"
    return "over a quarter of an hour" if math.isinf(seconds) else f"{float(f'{seconds:.2g}'):g} s"


def _heard(found: Knock) -> str:
    longest, bang = float(np.max(found.silent_s)), show(float(found.output_v.max()), "V", 2)
    arrives = f"A hard knock reaches the input with up to {bang}."
    if math.isnan(longest):
        return f"{arrives} This stage does not play at rest, so there is nothing that it could silence."
    if longest < _SOON_S:
        return f"{arrives} The strings are back at once."
    return (
        f"{arrives} It can silence this stage for {_time(longest)}: the gate{' or its clamp' * (found.clamp_a > 0)} "
        "conducts for a moment, the disc is left charged, and that drains away through the gate resistor. A smaller "
        "gate resistor drains it sooner, and costs bass."
    )


def _at_the_gate(chain: SignalChain, found: Knock) -> str:
    source, drain = float(found.gate_source_v.max()), float(found.gate_drain_v.max())
    limits = " and ".join(dict.fromkeys(show(volts, "V", 2) for volts in (found.may_v, found.may_drain_v)))
    numbers = {kind.type_number for kind in assemble(chain.values).types}
    who = f"a {chain.type_number}" if len(numbers) == 1 else "the weaker of the two"
    said = (
        f"The gate comes {show(source, 'V', 2)} under its source and {show(drain, 'V', 2)} under its drain; {who} "
        f"is made for {'no more than ' if found.over_voltage else ''}{limits}."
    )
    if found.over_current:
        said += (
            f" Forwards {show(float(found.forward_a.max()), 'A', 2)} flow into it; {show(found.may_a, 'A', 2)} is its "
            "limit."
        )
    if found.over_voltage:
        said += (
            f" If it gives way there, up to {show(float(found.reverse_a.max()), 'A', 2)} and "
            f"{show(float(found.energy_j.max()), 'J', 2)} go through it backwards. No sheet says how much of that it "
            "takes: many parts live, some come out leaky or dead, and then it is weak and thin."
        )
    return said


def protection_words(chain: SignalChain, found: Protection | None) -> str:
    """What would keep the gate within its rating and what that costs; what a clamp that is there cannot do; "" where
    there is nothing to say."""
    if found is None:
        return ""
    if found.present:
        return "The clamp is not enough for such a knock." if found.needed else f"The clamp holds. {_ONLY_PARTLY}."
    if not found.needed:
        return ""
    if found.enough is None:
        missed = " and ".join(_IN_THE_WAY[bar] for bar in found.best.misses)
        return f"No clamp that we know is enough here: with the best, {missed}. Keep knocks off the disc."
    kind, changes = catalogue.clamps()[found.enough.changes["clamp_part"]], found.enough.changes
    where = "to ground" if changes["clamp"] == "pair" else "to ground and supply"
    stopper = changes.get("gate_stop", 0.0)
    behind = f", behind a stopper of {show(stopper, 'ohm', 2)}" if stopper else ""
    before_s, after_s = (float(knock(each).silent_s.max()) for each in (chain, chain.but(changes)))
    cost = max(found.enough.low_note_db, found.enough.hiss_db)
    return (
        f"A clamp keeps it within: {kind.label} ({kind.type_number}), from the gate {where}{behind}. In bass and hiss "
        f"it costs {'under 0.1' if cost < 0.1 else f'{cost:.1f}'} dB. {_ONLY_PARTLY}: "
        f"{_time(before_s)} → {_time(after_s)}."
    )
