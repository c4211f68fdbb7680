"""The level picture with what cures it below: each change is put in by one press."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from piezolab.chain import SignalChain
from piezolab.pages.how_loud_before_it_clips.cure_words import before_after, cure_words
from piezolab.pages.how_loud_before_it_clips.level_path_figure import path_figure
from piezolab.pages.kit.blocks import Buttons
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.sections import Figure, PlotSection
from piezolab.sheets.what_and_why import CHANGES
from piezolab.studies.level_cures import FITTED, STRAIGHT, THROUGH, level_cures
from piezolab.studies.more_room import Change


class LevelPathSection(PlotSection):
    """Folded at first; the cures stand below the picture, most helpful first, with what each brings and costs."""

    def __init__(self, state: PageState) -> None:
        self.cures = Buttons("cures", {name: self._presser(name) for name in (*CHANGES, FITTED, STRAIGHT, THROUGH)})
        self.found: Mapping[str, Change] = {}
        super().__init__(state, "From the disc to the input", self._draw, folded=True)
        self.children = (*self.children, self.cures)

    def _draw(self, chain: SignalChain, kept: SignalChain | None) -> Figure:
        self.found = {}
        figure = path_figure(chain, kept)
        self.found = {change.name: change for change in level_cures(chain)} if figure[0] else {}
        self.cures.show([
            {"word": name, "label": cure_words(chain, change), "note": before_after(change)}
            for name, change in self.found.items()
        ])  # fmt: skip
        return figure

    def _place(self) -> None:
        super()._place()
        self.cures.layout.display = self.plot.layout.display

    def _presser(self, name: str) -> Callable[[], None]:
        def press() -> None:
            if name in self.found:
                self._state.put(self._state.chain.but(self.found[name].changes))

        return press
