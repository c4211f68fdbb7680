"""The drawer: what is in it is typed as lists, what is wished goes beside it, and builds to choose from come out."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from ipywidgets import VBox

from piezolab.chain import ChainError
from piezolab.circuit.errors import CircuitError
from piezolab.pages.kit.at_rest import Dropped
from piezolab.pages.kit.blocks import Buttons, PressedTable
from piezolab.pages.kit.form import Form
from piezolab.pages.kit.keepsake import Keepsake
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.what_shall_i_build_from_my_drawer.drawer_answer import answer_html, found_line, offered
from piezolab.pages.what_shall_i_build_from_my_drawer.front_figure import FrontFigure
from piezolab.pages.what_shall_i_build_from_my_drawer.typed_stock import FIELDS, drawer_of, wish_of
from piezolab.studies.choosing.drawer import Drawer, DrawerTransistor
from piezolab.studies.choosing.offers import search
from piezolab.studies.choosing.one_build import Build, as_chain, surroundings
from piezolab.studies.judging.wish import Wish

MOST_BUILDS = 8
LOST = "The search could not be made for this chain"


class DrawerPanel(VBox):
    """The form, the answer with a button for each build, and the front. `wished` is called when drawer or wishes
    change."""

    def __init__(self, state: PageState, wished: Callable[[Wish, Drawer], None]) -> None:
        self._state, self._wished = state, wished
        self._keepsake: Keepsake | None = None
        self.bag: tuple[DrawerTransistor, ...] = ()
        self.bagged: Callable[[], None] = lambda: None
        self.drawer, self.wish, self.found = Drawer(), Wish(), None
        self._searched = state.chain
        self.form = Form("Your drawer and your wishes", FIELDS, "look for builds", self._asked, "more parts and wishes")
        self.progress = Buttons("the search", {"stop": self._stop})
        does = {f"build-{n}": self._doer(n) for n in range(MOST_BUILDS)}
        self.answer = PressedTable("answer", {**does, "nearest": self._use_nearest})
        self.answer.spoken = True
        self.front = FrontFigure(self._put, self._beside)
        super().__init__([self.form, self.progress, self.answer])  # the front once there is one
        state.observe(lambda _: self._chain_moved(), "settled")

    def kept_in(self, keepsake: Keepsake) -> None:
        """Keep the lists in the visitor's browser, and take from there what was kept, the measured transistors too."""
        self._keepsake = keepsake

        def bag(rows: Sequence[Mapping[str, Any]]) -> None:
            self.bag = tuple(DrawerTransistor(**row) for row in rows)
            self.bagged()

        keepsake.use("bag", bag)
        keepsake.use("drawer", self.form.fill)

    def stock(self) -> tuple[Drawer, Wish]:
        """Drawer and wish as they are typed now, searched for or not. Raises FieldError."""
        return drawer_of(self.form.values, self.bag), wish_of(self.form.values)

    # -- searching ----------------------------------------------------------------------------------------------
    def _asked(self, texts: Mapping[str, str]) -> str:
        self.wish, self.drawer = wish_of(texts), drawer_of(texts, self.bag)
        if self._keepsake is not None:
            self._keepsake.keep("drawer", dict(texts))
        self._wished(self.wish, self.drawer)
        self.front.show((), self.drawer)
        self._told(0.0)
        self._state.at_rest.put(self, self._search)
        return ""

    def _told(self, part: float) -> None:
        if self._state.at_rest.at_once:
            return
        self.progress.show([{"word": "stop", "label": f"stop looking ({100 * part:.0f} % done)"}])

    def _stop(self) -> None:
        self._state.at_rest.drop(self)
        self.progress.show([])
        self.answer.old = self.found is not None
        self.form.said = "Stopped. What stands below, if anything, is of the search before."

    def _search(self) -> None:
        chain, drawer = self._state.chain, self.drawer
        try:
            found = search(chain, drawer, self.wish, self._told)
        except Dropped:
            raise
        except (ChainError, CircuitError) as error:
            self.progress.show([])
            self.found, self.answer.content, self.form.said = None, "", f"{LOST}: {error}"
            return
        self.found, self._searched = found, chain
        self.progress.show([])
        self.answer.old = False
        self.answer.content = answer_html(found, drawer, chain)
        self.front.show(found.front, drawer)
        self.children = (self.form, self.progress, self.answer, self.front)
        if self._keepsake is not None:
            self._keepsake.keep("found", found_line(found.builds, drawer))
            self._keepsake.keep("offers", offered(found.builds, drawer, chain) or None)

    def _chain_moved(self) -> None:
        """What was found is of another chain; what it asked of the drawer's surroundings may no longer hold."""
        if self.found is not None and not self._same_surroundings():
            self.answer.old = True

    def _same_surroundings(self) -> bool:
        """Whether only the stage, which the drawer gives, is another one."""
        return surroundings(self._state.chain) == surroundings(self._searched)

    # -- what is done with a build ------------------------------------------------------------------------------
    def _doer(self, n: int) -> Callable[[], None]:
        def use() -> None:
            if self.found is not None and n < len(self.found.builds):
                self._put(self.found.builds[n])

        return use

    def _use_nearest(self) -> None:
        if self.found is not None and self.found.nearest is not None:
            self._put(self.found.nearest)

    def _put(self, build: Build) -> None:
        self._state.put(as_chain(self._state.chain, self.drawer, build))

    def _beside(self, build: Build) -> None:
        """As the kept curve: it is drawn dashed, and played in turns with the chain."""
        self._state.kept = as_chain(self._state.chain, self.drawer, build)
