"""The drawn chain, each part touchable: its main fields stand in one panel below, the rest behind "more"."""

from __future__ import annotations

from ipywidgets import VBox

from piezolab.pages.kit.blocks import Buttons, PressedTable
from piezolab.pages.kit.controls import Controls, Group
from piezolab.pages.kit.describe import keys_of
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.start.glance import GROUPS_OF, MAIN, picture


class PartPanels(VBox):
    """The picture of the chain and a panel for each of its parts; `opened` names the one that is open, "" for none."""

    def __init__(self, state: PageState) -> None:
        self._state, self.opened = state, ""
        self.glance = PressedTable("glance", {name: self._turner(name) for name in GROUPS_OF}, title="Your chain")
        self.panels = {name: Controls(state, _groups(name), f"the {name}") for name in GROUPS_OF}
        self.shut = Buttons("this panel", {"shut": lambda: self._open("")})
        self.shut.show([{"word": "shut", "label": "done"}])
        self.panel = VBox([*self.panels.values(), self.shut]).add_class("pz-part-panel")
        super().__init__([self.glance, self.panel])
        state.observe(lambda _: self._draw(), "chain")
        self._open("")

    def _turner(self, name: str):
        return lambda: self._open("" if self.opened == name else name)

    def _open(self, name: str) -> None:
        self.opened = name
        self.panel.layout.display = None if name else "none"
        for word, panel in self.panels.items():
            panel.layout.display = None if word == name else "none"
        self._draw()

    def _draw(self) -> None:
        self.glance.content = picture(self._state.chain, self.opened)


def _groups(name: str) -> list[Group]:
    """The main fields, then all others."""
    rest = tuple(key for key in keys_of(*GROUPS_OF[name]) if key not in _EVERY_MAIN)
    return [Group(MAIN[name]), *([Group(rest, "more")] if rest else [])]


_EVERY_MAIN = {key for keys in MAIN.values() for key in keys}
