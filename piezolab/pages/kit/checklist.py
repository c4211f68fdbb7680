"""Steps to tick off, each caution at its step, under a heading with what belongs above them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import traitlets
from ipywidgets import VBox

from piezolab.chain import SignalChain
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.piece import STATIC, Piece, text_in
from piezolab.pages.kit.sections import Foldable, Following
from piezolab.sheets.build_steps import BuildStep


class Checklist(Piece):
    """Boxes with their words; the browser says which one was ticked."""

    _esm = STATIC / "checklist.js"
    _css = STATIC / "checklist.css"
    words = {"tick": "_ticked_by_hand"}

    #: First part of the names of its steps.
    word = traitlets.Unicode("")
    name = traitlets.Unicode("").tag(sync=True)
    #: Dicts with name, words and caution.
    steps = traitlets.List().tag(sync=True)
    ticked = traitlets.List().tag(sync=True)

    def tick(self, name: str, on: bool) -> None:
        """Tick a step, or take its tick away; an unknown one is left alone."""
        if any(step["name"] == name for step in self.steps) and on != (name in self.ticked):
            self.ticked = [*self.ticked, name] if on else [one for one in self.ticked if one != name]

    def _ticked_by_hand(self, content: dict[str, Any]) -> None:
        name = text_in(content, "name", 80)
        if name is not None:
            self.tick(name, content.get("on") is True)


@dataclass(frozen=True)
class Steps:
    """What a section of steps shows: HTML above them, and the steps."""

    above: str
    steps: Sequence[BuildStep]


class CheckSection(VBox, Following):
    """A heading, what `make` puts under it, and the steps to tick; asked anew when a change is finished and it is open.

    word: first part of the steps' names, which the browser keeps. A section without steps and words is hidden, and one
    that needs a stage where there is none.
    """

    def __init__(
        self,
        state: PageState,
        word: str,
        title: str,
        make: Callable[[SignalChain], Steps],
        folded: bool = False,
        needs_stage: bool = False,
    ) -> None:
        self._hidden: Callable[[], bool] = lambda: needs_stage and not state.chain.topology.powered
        self.head = Foldable("steps", title, folded=folded)
        self.head.lazy = True  # its heading stands though there may be no words between it and the steps
        self.list = Checklist(name=title, word=word)
        super().__init__([self.head, self.list])
        self.add_class("pz-check-section")

        def show() -> None:
            made = make(state.chain)
            self.head.content = made.above
            self.list.steps = [
                {"name": f"{word}-{n}", "words": step.words, "caution": step.caution}
                for n, step in enumerate(made.steps, 1)
            ]
            self._place()

        self._title = title
        self.head.observe(lambda _: self._place(), "opened")
        self.list.observe(lambda _: self._count(), ["ticked", "steps"])
        self._follow(state, self.head, show, "settled")
        state.observe(lambda _: self._place(), "settled")
        self._place()

    def _count(self) -> None:
        """How far one has got, beside the heading."""
        names = {step["name"] for step in self.list.steps}
        done = sum(name in names for name in self.list.ticked) if names else len(self.list.ticked)
        of = f" of {len(names)}" if names else ""
        self.head.title = f"{self._title}: {done}{of} done" if done else self._title

    def _failed(self, sentence: str) -> None:
        super()._failed(sentence)
        self.list.steps = []
        self._place()

    def _place(self) -> None:
        there = not self._hidden() and (self.head.folded or self.head.content or self.list.steps)
        self.layout.display = None if there else "none"
        self.list.layout.display = None if self.head.opened and self.list.steps else "none"


class Ticks:
    """The ticks of several lists together, as the browser keeps them."""

    def __init__(self, sections: Sequence[CheckSection]) -> None:
        self.lists = [section.list for section in sections]
        self._keep: Callable[[Mapping[str, bool] | None], None] = lambda done: None
        self._quiet = False
        for one in self.lists:
            one.observe(lambda _: self._changed(), "ticked")

    @property
    def done(self) -> dict[str, bool]:
        """Every ticked step."""
        return {name: True for one in self.lists for name in one.ticked}

    def clear(self) -> None:
        """Take all ticks away: another build begins."""
        self._put({})

    def kept_in(self, keepsake: Any) -> None:
        """Keep the ticks in the visitor's browser, and take from there what was kept."""
        self._keep = lambda done: keepsake.keep("checks", done)
        keepsake.use("checks", self._put_kept)

    def _put_kept(self, done: Mapping[str, bool]) -> None:
        self._quiet = True
        self._put(done)
        self._quiet = False

    def _put(self, done: Mapping[str, bool]) -> None:
        quiet, self._quiet = self._quiet, True
        for one in self.lists:
            one.ticked = [name for name in done if name.rpartition("-")[0] == one.word]
        self._quiet = quiet
        self._changed()

    def _changed(self) -> None:
        if not self._quiet:
            self._keep(self.done or None)
