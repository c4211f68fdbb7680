"""One short line under each question: what its chapter would say of the chain, or how far its work has got.

Worked out once the hand rests, a question at a time; what this browser keeps of drawer, build and search comes from its
own store.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from piezolab.circuit.errors import CircuitError
from piezolab.pages.kit.build_progress import progress_words
from piezolab.pages.kit.keepsake import Keepsake
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.short_answers import ANSWERS
from piezolab.sheets.sheet_data import SheetData
from piezolab.studies.board_as_built import BoardAsBuilt, read_build

DRAWER, BUILD, FAULT = "what-shall-i-build-from-my-drawer", "how-do-i-build-it-and-check-it", "where-is-the-fault"
TAKES = "did-it-do-what-was-predicted"

NOT_YET = {
    DRAWER: "nothing found yet",
    BUILD: "no step done yet",
    FAULT: "no search open",
    TAKES: "compares two recordings",
}


class Answers:
    """The lines by address word of the chapter; `changed` is called when all that waited are there."""

    def __init__(self, state: PageState, changed: Callable[[], None]) -> None:
        self._state, self._changed = state, changed
        self.lines = dict(NOT_YET)
        self._ticks: Mapping[str, bool] = {}
        self._build = BoardAsBuilt()
        state.observe(lambda _: self._wait(), "settled")

    def kept_in(self, keepsake: Keepsake) -> None:
        """Take from the browser what the last three lines are about."""
        keepsake.use("found", self._found)
        keepsake.use("fault", self._search)
        keepsake.use("build", self._built)
        keepsake.use("checks", self._ticked)
        self._wait()

    def _wait(self) -> None:
        for slug in (*ANSWERS, BUILD):
            self._state.at_rest.put((self, slug), lambda slug=slug: self._work(slug))
        self._state.at_rest.put((self, "all"), self._changed)

    def _work(self, slug: str) -> None:
        chain = self._state.chain
        try:
            said = progress_words(self._ticks, SheetData(chain, self._build)) if slug == BUILD else ANSWERS[slug](chain)
        except CircuitError:
            said = ""  # the chapter says why
        self.lines[slug] = said or NOT_YET.get(slug, "")

    def _found(self, text: str) -> None:
        self.lines[DRAWER] = f"last found: {text}"
        self._wait()

    def _search(self, texts: Mapping[str, str]) -> None:
        readings = sum(name.startswith("reading ") for name in texts)
        said = [f"{readings} reading{'' if readings == 1 else 's'}"] if readings else []
        said += ["what you hear"] if texts.get("heard") else []
        self.lines[FAULT] = f"a search is open: {' and '.join(said)}" if said else NOT_YET[FAULT]
        self._wait()

    def _built(self, texts: Mapping[str, str]) -> None:
        self._build, _ = read_build(texts)  # the keepsake has checked them
        self._wait()

    def _ticked(self, done: Mapping[str, bool]) -> None:
        self._ticks = done
        self._wait()
