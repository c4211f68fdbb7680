"""While a board is searched for longer than a second: how many layouts were tried, and the button that ends it."""

from __future__ import annotations

import time
from collections.abc import Callable

from ipywidgets import VBox

from piezolab.chain import SignalChain
from piezolab.pages.kit.blocks import Block, Buttons, paragraphs
from piezolab.studies.board.layout import Layout, Options
from piezolab.studies.board.patience import Patience

EVERY_S = 0.25


class LongSearch(VBox):
    """Called as `layout` is; shows itself only while it takes long."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._search = Patience(self._tell, EVERY_S, clock)
        self.said, self.end = Block("search-said"), Buttons("the search for a layout", {"end": self._search.enough})
        super().__init__([self.said, self.end])
        self._hide()

    def __call__(self, chain: SignalChain, options: Options) -> Layout | None:
        try:
            return self._search(chain, options)
        finally:  # a move drops the search, too
            self._hide()

    def _tell(self, count: int) -> None:
        self.end.show([{"word": "end", "label": "take the best so far"}])
        self.said.content = paragraphs(f"Looking for the best board; layouts tried so far: {count}.")
        self.layout.display = None

    def _hide(self) -> None:
        self.layout.display = "none"
        self.end.show([])
