"""A search for a layout that takes long: it says how many were tried, and can be ended with the best so far."""

from __future__ import annotations

import time
from collections.abc import Callable

from piezolab.chain import SignalChain
from piezolab.studies.board.layout import Layout, Options, layout

AFTER_S = 1.0  # a shorter search says nothing


class Patience:
    """Searches as `layout` does. say: told how many layouts were tried, from a second on; every: s from one time to the
    next; clock: s."""

    def __init__(
        self, say: Callable[[int], None], every: float = 1.0, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._say, self._every, self._clock = say, every, clock
        self._next, self._enough = 0.0, False

    def __call__(self, chain: SignalChain, options: Options) -> Layout | None:
        """The board of a chain; None and LayoutError as of `layout`."""
        self._next, self._enough = self._clock() + AFTER_S, False
        return layout(chain, options, self._tried)

    def enough(self) -> None:
        """End the search that runs with the best of what was tried."""
        self._enough = True

    def _tried(self, count: int) -> bool:
        now = self._clock()
        if now >= self._next:
            self._next = now + self._every
            self._say(count)
        return self._enough
