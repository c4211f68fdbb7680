"""What a stage takes: how many pieces are soldered in, and what they cost.

Counted are the stage's own resistors, capacitors and transistors; what every stage has beside them (supply parts,
board, jack, box) is the same for all that are compared.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.chain.stages.common_parts import absent
from piezolab.studies.board.board_parts import film
from piezolab.studies.prices import PriceError, read_prices

PRICED = ("resistor", "film", "electrolytic", "transistor")


@dataclass(frozen=True)
class PiecePrices:
    """Price of one piece each, in whatever currency."""

    resistor: float
    film: float
    electrolytic: float
    transistor: float

    @classmethod
    def demonstration(cls) -> PiecePrices:
        """The invented ones. Raises PriceError where their file is not as shipped."""
        return cls.read()

    @classmethod
    def read(cls, path: Path | None = None) -> PiecePrices:
        """Those of a file. Raises PriceError, too where one of PRICED is not in it."""
        found = read_prices(path).of
        lacking = [kind for kind in PRICED if kind not in found]
        if lacking:
            raise PriceError(f"prices: none of a {lacking[0]} in the file; allowed are those of {', '.join(PRICED)}.")
        return cls(**{kind: float(found[kind]) for kind in PRICED})

    def of(self, kind: str, value: float) -> float:
        """Of a resistor, a capacitor (F) or a transistor (`jfet`)."""
        if kind == "capacitor":
            return self.film if film(value) else self.electrolytic
        return self.resistor if kind == "resistor" else self.transistor


def outlay(chain: SignalChain, prices: PiecePrices | None = None) -> tuple[int, float]:
    """Pieces of a chain's stage, and what they cost; nothing with no stage."""
    if not chain.topology.powered:
        return 0, 0.0
    prices = prices or PiecePrices.demonstration()
    own = [
        part for part in assemble(chain.values).where("board")
        if part.kind in ("resistor", "capacitor", "jfet") and part.key != "pad" and not absent(part.value)
    ]  # fmt: skip
    return len(own), sum(prices.of(part.kind, 0.0 if part.kind == "jfet" else float(part.value)) for part in own)
