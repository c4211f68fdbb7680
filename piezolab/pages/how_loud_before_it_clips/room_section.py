"""What gives more room: each cure with what it brings and costs, put in by one press."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from ipywidgets import VBox

from piezolab.chain import SignalChain
from piezolab.pages.how_loud_before_it_clips.cure_words import before_after, cure_words
from piezolab.pages.kit.blocks import Buttons, guard, paragraphs
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.sections import Foldable, Following
from piezolab.sheets.what_and_why import CHANGES
from piezolab.studies.judging.judgement import judgement
from piezolab.studies.judging.wish import ENOUGH_DB
from piezolab.studies.level_cures import FITTED, STRAIGHT, THROUGH, level_cures
from piezolab.studies.more_room import Change

LOUD = "Volume down, headphones off before you try how loud it gets: a knock on a disc can give tens of volts."


class RoomSection(VBox, Following):
    """The cures, most helpful first, as buttons under a word on them."""

    def __init__(self, state: PageState) -> None:
        self.head = Foldable("room", "What gives more room?")
        self.cures = Buttons("cures", {name: self._presser(name) for name in (*CHANGES, FITTED, STRAIGHT, THROUGH)})
        self.found: Mapping[str, Change] = {}
        super().__init__([self.head, self.cures])
        self._follow(state, self.head, self._tell, "settled")

    def _tell(self) -> None:
        chain, self.found = self._state.chain, {}
        self.found = {change.name: change for change in level_cures(chain)}
        self.head.content = guard(LOUD) + room_words(chain)
        self.cures.show([
            {"word": name, "label": cure_words(chain, change), "note": before_after(change)}
            for name, change in self.found.items()
        ])  # fmt: skip

    def _failed(self, sentence: str) -> None:
        super()._failed(sentence)
        self.cures.show([])

    def _presser(self, name: str) -> Callable[[], None]:
        def press() -> None:
            if name in self.found:
                self._state.put(self._state.chain.but(self.found[name].changes))

        return press


def room_words(chain: SignalChain) -> str:
    """What stands over the cures, or why there are none."""
    if level_cures(chain):
        return paragraphs("Computed for this chain, one change at a time; a press puts it in. Now → then.")
    room = judgement(chain).edges.headroom_db
    if ENOUGH_DB <= room < math.inf:
        return paragraphs(
            f"Hard playing has {room:.1f} dB of room already: that is enough, and nothing needs it. "
            "Harsh all the same? Nothing computed here explains it. Listen whether soft notes buzz, too: "
            "then look for a loose disc, a loose solder joint or a string that touches wood."
        )
    return paragraphs("No usual change, one at a time, gives this chain more room without costing more elsewhere.")
