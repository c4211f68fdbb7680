"""One click against a thin stage: the preferred value of the part that makes it thin."""

from __future__ import annotations

import math

from ipywidgets import VBox

from piezolab.pages.kit.blocks import Buttons
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.worth_words import put_label
from piezolab.studies.judging.judgement import judgement


class ThinRemedy(VBox):
    """A button while the chain's stage is thin and one part of it is to blame; else nothing."""

    def __init__(self, state: PageState) -> None:
        self._state, self._changes = state, {}
        self.buttons = Buttons("against the thin sound; undo takes it back", {"put": self._put})
        super().__init__([self.buttons])
        state.observe(lambda _: self._show(), "settled")
        self._show()

    def _put(self) -> None:
        if self._changes:
            self._state.put(self._state.chain.but(self._changes))

    def _show(self) -> None:
        judged = judgement(self._state.chain)
        thin = judged.thin if judged.works else None
        found = thin is not None and not math.isnan(thin.does)
        self._changes = {thin.key: thin.does} if found else {}
        self.buttons.show([{"word": "put", "label": put_label(thin)}] if found else [])
