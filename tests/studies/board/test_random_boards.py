"""Random chains on every kind of board with both common orders of legs, each judged by its picture alone.

`PIEZOLAB_LONG=1` judges 1,000 chains on every kind of board with both orders; what such a run found is written down in
`random_boards.txt`. Else a seeded 30 of them, each on one kind with one order.
"""

from __future__ import annotations

import os
from collections import Counter
from itertools import product

import numpy as np

from piezolab.chain import SignalChain
from piezolab.sheets.layout_svg import layout_svg
from piezolab.studies.board.layout import METHODS, LayoutError, Options, layout
from tests.chain.strategies import random_chain
from tests.studies.board.inspector import faults_of

LONG = bool(os.environ.get("PIEZOLAB_LONG"))
PINS = ("D G S", "D S G")


def drawn(count: int) -> list[SignalChain]:
    """As many random chains, the same in every run."""
    rng = np.random.default_rng(15)
    return [random_chain(rng) for _ in range(count)]


def judge(chain: SignalChain, method: str, pins: str, counted: Counter) -> None:
    """Judge one board and count what it is like."""
    try:
        found = layout(chain, Options(method=method, pins=pins))
    except LayoutError:
        counted[f"{method}: refused"] += 1
        return
    if found is None:
        counted["nothing to build"] += 1
        return
    assert faults_of(layout_svg(found), chain, method, pins) == [], (chain, method, pins)
    counted[f"{method}: boards"] += 1
    counted[f"{method}: leads over another lane than the guard"] += sum(
        crossing.node != found.guard for crossing in found.crossings
    )
    counted[f"{method}: leads over the guard"] += sum(crossing.node == found.guard for crossing in found.crossings)
    counted[f"{method}: guards wanted"] += found.wants_guard
    counted[f"{method}: guards"] += bool(found.guard)
    counted[f"{method}: leads lengthened"] += len(found.lengthened)


def test_random_boards_are_sound() -> None:
    counted: Counter = Counter()
    ways = list(product(METHODS, PINS))
    for n, chain in enumerate(drawn(1000 if LONG else 30)):
        for method, pins in ways if LONG else (ways[n % len(ways)],):
            judge(chain, method, pins, counted)
    for method in METHODS:
        assert counted[f"{method}: boards"] >= 2 and counted[f"{method}: refused"] == 0, counted
        over = counted[f"{method}: leads over another lane than the guard"]  # each with its sleeve: the inspector looks
        assert over <= (0.01 * counted["tape: boards"] if method == "tape" else 0), counted
    if LONG:
        assert counted["tape: guards"] == counted["tape: guards wanted"] > 0, counted
