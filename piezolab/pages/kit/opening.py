"""On which chain a page opens, and whose it is.

In this order: the chain in the address, the lesson's, this browser's own, the page's example. Outside a served page
there is no address, and it is the default chain. A chain becomes this browser's own by the button, or by a change on
the home page; from then on its changes are kept, too. It is kept as a cookie, so that the server can hand it to the
page before anything is drawn.
"""

from __future__ import annotations

from typing import Any

import traitlets

from piezolab.pages.kit.examples import MOST_OWN
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.piece import STATIC, Piece


class Opening(Piece):
    """Says whose chain this is, and offers to make it one's own, to forget that, or to go back to the example."""

    _esm = STATIC / "opening.js"
    words = {"mine": "_mine", "back": "_back", "forget": "_forget", "kept": "_kept"}

    said = traitlets.Unicode("").tag(sync=True)
    offers = traitlets.List().tag(sync=True)
    #: What the browser is to keep; "" for nothing; None while it is to be left as it is.
    kept = traitlets.Unicode(None, allow_none=True).tag(sync=True)

    def __init__(self, state: PageState, *, every_change: bool = False) -> None:
        """every_change: whatever is changed here is this browser's own at once, as on the home page."""
        super().__init__()
        self._state, self._every, self._was_example = state, every_change, False
        self._holds: bool | None = None  # whether the browser kept what it was given; None until it has said so
        state.observe(self._moved, "settled")
        self._show()

    def _moved(self, _change: Any = None) -> None:
        if self._every and not self._state.untouched:
            self._state.mine = True
        self._show()

    def _show(self) -> None:
        state = self._state
        example, length = state.example, len(state.whole_query)
        self._was_example = self._was_example or state.untouched
        if state.mine and length <= MOST_OWN:
            self.kept = state.whole_query
        if state.mine:
            self.said = self._yours(length)
            offers = ["back", "forget"] if example else ["forget"]
        elif state.untouched:
            self.said = f"Example: {example.name}."
            offers = ["mine"]
        elif example is not None:
            self.said = f"Changed from the example: {example.name}." if self._was_example else ""
            offers = ["mine", "back"]
        else:
            self.said, offers = "", ["mine"]
        self.offers = offers

    def _yours(self, length: int) -> str:
        """Whose it is, and whether it is kept: that is said only once the browser has told so."""
        if length > MOST_OWN:
            return f"Yours, but this browser cannot keep it: {length} characters; allowed are up to {MOST_OWN}."
        if self._holds is None:
            return "Yours."
        return "Yours: this browser keeps it." if self._holds else (
            "Yours, but this browser keeps no cookies: copy the link."
        )

    def _kept(self, content: dict[str, Any]) -> None:
        if content.get("query") == self.kept and self.kept:
            self._holds = content.get("done") is True
            self._show()

    def _mine(self, _content: Any) -> None:
        self._state.mine = True
        self._show()

    def _back(self, _content: Any) -> None:
        state = self._state
        if state.example is not None:
            state.mine = False
            state.put(state.example.chain)

    def _forget(self, _content: Any) -> None:
        self._state.mine = False
        self.kept = ""
        self._show()
