"""What the visitor's own bare takes say of the disc, and the button that puts it into the chain."""

from __future__ import annotations

import math

from ipywidgets import VBox

from piezolab.chain import SignalChain
from piezolab.pages.did_it_do_what_was_predicted.sweep_words import pickup_words
from piezolab.pages.did_it_do_what_was_predicted.takes_state import TakesState
from piezolab.pages.kit.blocks import Buttons, paragraphs
from piezolab.pages.kit.sections import Section
from piezolab.studies.recordings.takes_fit import PickupFit, pickup_fit

SAME = 0.02  # a change so small is none
NOT_SEEN = "The takes show no corner of the bare pickup, so they say nothing of its capacitance."


class TakesIntoChain(VBox):
    """See the module; nothing for invented takes."""

    def __init__(self, state: TakesState) -> None:
        self._state = state
        self._fit: PickupFit | None = None
        self.into = Buttons("result of the bare takes", {"use": self._use})
        self.section = Section(state, "disc", "The disc, by the bare takes", self._say, follows=("settled", "heard"))
        super().__init__([self.section, self.into])

    def _say(self, chain: SignalChain) -> str:
        self._fit = None
        self.into.show([])
        heard, now = self._state.heard, self._state.compared
        if heard is None or heard.invented or isinstance(now, str):
            return ""
        self._fit = pickup_fit(now, chain)
        if self._fit is None:
            return paragraphs(NOT_SEEN)
        found = self._fit.pickup_c
        if found is not None and abs(math.log(found.value / chain.values.pickup_c)) > SAME:
            self.into.show([{"word": "use", "label": "put it into the chain: pickup capacitance"}])
        return paragraphs(pickup_words(self._fit))

    def _new(self, chain: SignalChain) -> SignalChain | None:
        if self._fit is None or self._fit.pickup_c is None:
            return None
        return chain.but(pickup_c=float(f"{self._fit.pickup_c.value:.3g}"))

    def _use(self) -> None:
        chain = self._new(self._state.chain)
        if chain is not None:
            self._state.put(chain)
