"""Words for what feeds the board: a battery in its clip, or an adapter in its socket."""

from __future__ import annotations

from html import escape

from piezolab.chain import SignalChain
from piezolab.studies.faults.knowledge import knowledge


def fed(words: str, chain: SignalChain) -> str:
    """Words of the fault finder, plain or as HTML, with an adapter's in place of a battery's where one feeds the
    chain."""
    if chain.supply != "adapter":
        return words
    for battery, adapter in knowledge().texts["adapter"]["said"]:
        words = words.replace(battery, adapter).replace(escape(battery), escape(adapter))
    return words
