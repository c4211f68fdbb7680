"""What the maker chooses beside the chain: board, switch, meter, currency. The sheet of a chain with these."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from piezolab.chain import SignalChain
from piezolab.pages.how_do_i_build_it_and_check_it.long_search import LongSearch
from piezolab.pages.kit.keepsake import Keepsake
from piezolab.pages.kit.option_form import OptionForm
from piezolab.pages.kit.page_state import PageState
from piezolab.sheets.build_steps import light_words
from piezolab.sheets.sheet_data import SheetData
from piezolab.studies.board_as_built import BoardAsBuilt, read_build
from piezolab.studies.build_options import SHEET_KEYS

FIRST = ("method",)  # the others are folded


class Settings:
    """The form, what it says now, and the sheets made with it; `widget` stands beside the chapter's controls."""

    def __init__(self, state: PageState) -> None:
        self._state = state
        self._keep: Callable[[Mapping[str, str] | None], None] = lambda texts: None
        self.widget = OptionForm(
            "Your build", SHEET_KEYS, FIRST, "use these", self._use,
            "size, switch, LED, meter, print",
        )
        self.build = BoardAsBuilt()
        self.search = LongSearch()
        self._sheets: list[SheetData] = []

    def sheet(self, chain: SignalChain) -> SheetData:
        """The chain's sheet with these settings; the last few are kept."""
        for made in self._sheets:
            if made.chain == chain:
                return made
        self._sheets = [*self._sheets[-3:], SheetData(chain, self.build, search=self.search)]
        return self._sheets[-1]

    def kept_in(self, keepsake: Keepsake) -> None:
        """Keep what was chosen in the visitor's browser, and take from there what was kept."""
        self._keep = lambda texts: keepsake.keep("build", texts)
        keepsake.use("build", self._given)

    def _use(self, build: BoardAsBuilt) -> str:
        self._keep(build.texts or None)
        self._take(build)
        light = light_words(self.sheet(self._state.chain))
        return f"Board, readings and prices below are for these. {light}".strip()

    def _given(self, texts: Mapping[str, str]) -> None:
        build, _ = read_build(texts)  # the keepsake has checked them
        self.widget.show(build)
        self._take(build)

    def _take(self, build: BoardAsBuilt) -> None:
        self.build, self._sheets = build, []
        self._state.settled += 1
