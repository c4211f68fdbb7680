"""Titled sections below the controls, worked out anew whenever a change is finished and the hand rests.

A folded section is worked out only once it is opened: what nobody looks at costs nothing. What cannot be worked out
for a chain is said in its own section; the rest of the page goes on.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import traitlets
from ipywidgets import VBox

from piezolab.chain import SignalChain
from piezolab.circuit.errors import CircuitError
from piezolab.pages.kit.at_rest import Dropped
from piezolab.pages.kit.blocks import Block, guard, paragraphs
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.plot import Plot

#: Traces, layout, narrow layout and the text alternative, as `Plot.set` takes them.
Figure = tuple[Sequence[Mapping[str, Any]], Mapping[str, Any], Mapping[str, Any], str]

_log = logging.getLogger(__name__)


class Foldable(Block):
    """A block that the browser tells when it is opened and closed; it keeps its heading while it is empty.

    opened: whether it is open; never true from the start where it is folded.
    """

    words = {"fold": "_turned"}

    lazy = traitlets.Bool(True).tag(sync=True)
    opened = traitlets.Bool(False)

    def __init__(self, kind: str, title: str, *, folded: bool = False) -> None:
        super().__init__(kind, title=title, folded=folded, lazy=folded)
        self.opened = not folded

    def _turned(self, content: dict[str, Any]) -> None:
        if self.folded:
            self.opened = content.get("open") is True


class Following:
    """What every kind of section does: follow the page's state while open, and catch up when opened."""

    def _follow(
        self, state: PageState, head: Foldable, show: Callable[[], None], *names: str
    ) -> None:
        self._state, self._head, self._show = state, head, show
        self._stale = True
        state.observe(lambda _: self._changed(), list(names))
        head.observe(lambda _: self._catch_up(), "opened")
        self._catch_up()

    def _changed(self) -> None:
        self._stale = True
        self._catch_up()

    def refresh(self) -> None:
        """Work it out anew, for something else than the chain that changed."""
        self._changed()

    def _catch_up(self) -> None:
        if self._stale and self._head.opened:
            self._state.at_rest.put(self, self._work)

    def _work(self) -> None:
        if not self._head.opened:  # it was shut while it waited
            return
        self._stale = False
        try:
            self._show()
        except Dropped:  # another chain came first
            self._stale = True
            raise
        except CircuitError as error:
            self._failed(f"This could not be worked out for this chain: {error}")
        except Exception:  # one section's mistake must not stop those after it
            _log.exception("section %r", self._head.title)
            self._failed("Something went wrong in this section. The rest of the page goes on; undo takes you back.")

    def _failed(self, sentence: str) -> None:
        self._head.content = paragraphs(sentence)


class Section(Foldable, Following):
    """Text, a list or a table made from the chain.

    kind: class of the block in the page's style; make: HTML from the chain, everything of a visitor's escaped; an
    empty text hides an unfolded section; follows: names of what moves it in the state; care: what to mind where one
    does what the section says.
    """

    def __init__(
        self,
        state: PageState,
        kind: str,
        title: str,
        make: Callable[[SignalChain], str],
        folded: bool = False,
        follows: Sequence[str] = ("settled",),
        care: str = "",
    ) -> None:
        Foldable.__init__(self, kind, title, folded=folded)

        def show() -> None:
            said = make(state.chain)
            self.content = said and guard(care) + said

        self._follow(state, self, show, *follows)


class FoldedParts(VBox):
    """Parts of a page under a heading that is shut at first; `about` stands between heading and parts."""

    def __init__(self, title: str, parts: Sequence[Any], about: str = "") -> None:
        self.head = Foldable("parts-head", title, folded=True)
        self.head.content = about
        self.inside = VBox(list(parts))
        super().__init__([self.head, self.inside])
        self.head.observe(lambda _: self._place(), "opened")
        self._place()

    def _place(self) -> None:
        self.inside.layout.display = None if self.head.opened else "none"


class PlotSection(VBox, Following):
    """A figure made from the chain and the kept chain (or None), under a heading.

    draw: see `Figure`; height_px: before it is drawn, and where the layout names none; care: as of `Section`.
    """

    def __init__(
        self,
        state: PageState,
        title: str,
        draw: Callable[[SignalChain, SignalChain | None], Figure],
        height_px: int = 300,
        folded: bool = False,
        care: str = "",
    ) -> None:
        self.head = Foldable("plot-head", title, folded=folded)
        self.head.lazy = True  # its heading stands though there is no text under it
        self.plot = Plot(height_px=height_px)
        self.care = Block("care", guard(care))
        super().__init__([self.head, self.care, self.plot])
        self.add_class("pz-plot-section")

        def show() -> None:
            traces, layout, narrow, label = draw(state.chain, state.kept)
            self.head.content = "" if traces else paragraphs(label)  # why there is nothing to draw
            self.plot.set(traces, layout, narrow=narrow, label=label)
            self._place()

        self.head.observe(lambda _: self._place(), "opened")
        self._follow(state, self.head, show, "settled", "kept")
        self._place()

    def _failed(self, sentence: str) -> None:
        super()._failed(sentence)
        self._place()

    def _place(self) -> None:
        """The figure is there while its section is open and could be worked out."""
        there = self.head.opened and self.plot.revision and not self.head.content
        self.plot.layout.display = self.care.layout.display = None if there else "none"
