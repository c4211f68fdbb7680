"""What lies side by side on the board as it is drawn: there a drop of solder or two legs make a bridge."""

from __future__ import annotations

from functools import lru_cache

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.studies.board.layout import LayoutError, Options, layout
from piezolab.studies.board_as_built import BoardAsBuilt
from piezolab.studies.faults.making import fault_table
from piezolab.studies.faults.simulate import Tone
from piezolab.studies.faults.table import FaultTable

_LEGS = "DGS"  # the order in which a transistor's nodes are listed


def table_of(chain: SignalChain, build: BoardAsBuilt, swept: bool = False) -> FaultTable:
    """The table of faults of a chain built like this; swept: with a sweep's readings, as it is where one can be
    recorded. Raises CircuitError where the chain has no operating point."""
    beside = side_by_side(chain, build.layout(chain))
    swept = swept or build.records
    return fault_table(chain, build.meter, Tone(build.tone_v), build.guarded, build.ring, beside, build.led, swept)


@lru_cache(maxsize=12)
def side_by_side(chain: SignalChain, options: Options) -> frozenset[tuple[str, str]] | None:
    """Pairs of nodes, each in alphabetical order, whose lanes are neighbours or which neighbouring legs of a transistor
    join; None where such a board cannot be drawn."""
    try:
        drawn = layout(chain, options)
    except LayoutError:
        return None
    if drawn is None:
        return None
    lanes = [lane.node for lane in drawn.lanes]
    pairs = [*zip(lanes, lanes[1:], strict=False)]
    for part in assemble(chain.values).parts:
        if part.kind == "jfet":
            legs = [part.nodes[_LEGS.index(leg)] for leg in options.legs(part)]
            pairs += zip(legs, legs[1:], strict=False)
    return frozenset(tuple(sorted(pair)) for pair in pairs if pair[0] != pair[1])
