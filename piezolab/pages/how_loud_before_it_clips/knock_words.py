"""What a knock on the disc does, told: how long it is silent, then the volts at the gate, then what may come of it."""

from __future__ import annotations

import math

import numpy as np

from piezolab.chain import SignalChain
from piezolab.pages.kit.blocks import paragraphs, table
from piezolab.quantity import show
from piezolab.studies.knock import KNOCK_HZ, SHAPES, Knock, knock

_SOON_S = 0.05  # less of a gap nobody notices after a knock


def knock_words(chain: SignalChain) -> str:
    """Words and a table, for a knock that is an assumption and called one."""
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
    return paragraphs(_heard(found), _at_the_gate(chain, found)) + table(head, rows, caption)


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
        f"{arrives} It can silence this stage for {_time(longest)}: the gate conducts for a moment, the disc is left "
        "charged, and that drains away through the gate resistor. A smaller gate resistor drains it sooner, and "
        "costs bass."
    )


def _at_the_gate(chain: SignalChain, found: Knock) -> str:
    source, drain = float(found.gate_source_v.max()), float(found.gate_drain_v.max())
    limits = " and ".join(dict.fromkeys(show(volts, "V", 2) for volts in (found.may_v, found.may_drain_v)))
    said = (
        f"The gate comes {show(source, 'V', 2)} under its source and {show(drain, 'V', 2)} under its drain; a "
        f"{chain.jfet} is made for {'no more than ' if found.over_voltage else ''}{limits}."
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
            "takes: many parts live, some come out leaky or dead, and then it is weak and thin. Keep knocks off the "
            "disc, and a spare at hand."
        )
    return said
