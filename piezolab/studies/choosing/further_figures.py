"""Figures of builds that only some wishes ask for: how long the battery serves, how many pieces, what they cost."""

from __future__ import annotations

import math

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.values import Values
from piezolab.studies.choosing.wirings import CAPACITORS, Wiring
from piezolab.studies.fading_battery import lives
from piezolab.studies.judging.outlay import PiecePrices, outlay
from piezolab.studies.judging.wish import Wish


def further(
    chain: SignalChain,
    values: Values,
    wish: Wish,
    shape: tuple[int, ...],
    built: tuple[Wiring, np.ndarray] | None = None,
) -> dict[str, np.ndarray]:
    """What the wish asks for of `life_h` (h), `parts` and `cost`, each of the batch's shape; with prices both of these.

    chain: gives supply and stage; built: wiring and rows of the builds (as of `worst_case.batch`) where their pieces
    are the drawer's; else each value is one piece.
    """
    found: dict[str, np.ndarray] = {}
    if wish.life_h is not None:
        arrays = {key: each for key, each in values.as_dict().items() if isinstance(each, np.ndarray)}
        flat = values.but(**{key: np.broadcast_to(each, shape).ravel() for key, each in arrays.items()})
        life = lives(chain, flat, math.prod(shape))
        found["life_h"] = np.full(shape, np.inf) if life is None else life.reshape(shape)
    if wish.parts is None and wish.cost is None and wish.prices is None:
        return found
    parts, cost = outlay(chain, wish.prices) if built is None else _of_pieces(*built, wish.prices)
    return {**found, "parts": np.broadcast_to(parts, shape), "cost": np.broadcast_to(cost, shape)}


def _of_pieces(wiring: Wiring, rows: np.ndarray, prices: PiecePrices | None) -> tuple[np.ndarray, np.ndarray]:
    """Pieces and cost of builds, each (N,)."""
    prices = prices or PiecePrices.demonstration()
    parts, cost = np.zeros(len(rows)), np.zeros(len(rows))
    if wiring.powered:
        parts, cost = parts + wiring.transistors, cost + wiring.transistors * prices.transistor
    for k, slot in enumerate(wiring.slots, 1):
        kind = "capacitor" if slot.key in CAPACITORS else "resistor"
        parts += np.array([len(takes) for takes in slot.takes])[rows[:, k]]
        cost += np.array([sum(prices.of(kind, piece) for piece in takes) for takes in slot.takes])[rows[:, k]]
    return parts, cost
