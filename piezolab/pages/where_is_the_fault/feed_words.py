"""Words for what feeds the board: a battery in its clip, an adapter in its socket, or nothing."""

from __future__ import annotations

from html import escape

from piezolab.chain import SignalChain
from piezolab.studies.faults.knowledge import knowledge


def fed(words: str, chain: SignalChain) -> str:
    """Words of the fault finder, plain or as HTML, with others in place of a battery's where an adapter or nothing
    feeds the chain."""
    feed = "adapter" if chain.supply == "adapter" else "unpowered"
    if feed == "unpowered" and chain.topology.powered:
        return words
    for battery, other in knowledge().texts[feed]["said"]:
        words = words.replace(battery, other).replace(escape(battery), escape(other))
    return words
