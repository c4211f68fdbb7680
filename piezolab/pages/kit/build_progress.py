"""How far a build has got: the same words on its own page and on the home page."""

from __future__ import annotations

from collections.abc import Callable, Collection

from piezolab.chain import SignalChain
from piezolab.circuit.errors import CircuitError
from piezolab.pages.kit.blocks import Block, paragraphs
from piezolab.pages.kit.checklist import Ticks
from piezolab.pages.kit.page_state import PageState
from piezolab.sheets.sheet_data import SheetData
from piezolab.sheets.step_counts import step_counts, steps_done


def progress_words(done: Collection[str], sheet: SheetData) -> str:
    """How many steps of the build are ticked; "" where none is. Raises CircuitError as `step_counts`."""
    if not done:
        return ""
    counts = step_counts(sheet)
    return f"{steps_done(done, counts)} of {sum(counts.values())} steps done"


class Progress(Block):
    """The heading of the steps, with how many are done; worked out when the hand rests, and only where some are."""

    def __init__(self, state: PageState, ticks: Ticks, sheet: Callable[[SignalChain], SheetData]) -> None:
        super().__init__("progress", title="Step by step")
        self._state, self._ticks, self._sheet = state, ticks, sheet
        for one in ticks.lists:
            one.observe(lambda _: self._wait(), "ticked")
        state.observe(lambda _: self._wait(), "settled")

    def _wait(self) -> None:
        self._state.at_rest.put(self, self._work)

    def _work(self) -> None:
        try:
            said = progress_words(self._ticks.done, self._sheet(self._state.chain))
        except CircuitError:
            said = ""  # what is wrong with the chain is said above
        self.content = paragraphs(f"{said[:1].upper()}{said[1:]}." if said else "")
