"""The section on a knock: what it does, and a button that puts in what protects against it."""

from __future__ import annotations

from ipywidgets import VBox

from piezolab.pages.how_loud_before_it_clips.knock_words import knock_words, protection_words
from piezolab.pages.kit.blocks import Buttons
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.sections import Foldable, Following
from piezolab.pages.kit.ways import onward
from piezolab.studies.protection import Protection, protection

SILENT = "Silent, weak or rough since a knock, and not back after that time? Find out what broke."


class KnockSection(VBox, Following):
    """Folded at first; the knock is told as soon as it is known, the protection when that is."""

    def __init__(self, state: PageState) -> None:
        self.head = Foldable("knock", "What does a knock do?", folded=True)
        self.buttons = Buttons("protection", {"clamp": self._put_in})
        self.found: Protection | None = None
        super().__init__([self.head, self.buttons])
        self.head.observe(lambda _: self._offer(), "opened")
        self._follow(state, self.head, self._tell, "settled")

    def _tell(self) -> None:
        chain, self.found = self._state.chain, None
        self._offer()
        onwards = onward("where-is-the-fault", self._state.carried, SILENT) if chain.topology.powered else ""
        self.head.content = knock_words(chain) + onwards
        self.found = protection(chain)
        self.head.content = knock_words(chain, protection_words(chain, self.found)) + onwards
        self._offer()

    def _offer(self) -> None:
        there = self.head.opened and self.found is not None and self.found.enough is not None
        self.buttons.show([{"word": "clamp", "label": "put the clamp in"}] if there else [])

    def _put_in(self) -> None:
        if self.found is not None and self.found.enough is not None:
            self._state.put(self._state.chain.but(self.found.enough.changes))
