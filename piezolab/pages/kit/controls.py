"""A panel of controls, one for each parameter, made from the table of parameters.

Each has its label, a plain hint, a slider over preferred values and an exact entry that takes whatever the package can
read. Whatever comes from the browser is text, whichever way it was set, and the package reads it: a slider's own limits
decide nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import traitlets

from piezolab.chain.parameters import all_parameters
from piezolab.chain.stages import all_stages
from piezolab.pages.kit.describe import item, keys_of, standing, title_of
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.piece import Piece, number_in, script, text_in


@dataclass(frozen=True)
class Group:
    """Controls that stand together; with a title they are folded away under it."""

    keys: tuple[str, ...]
    title: str = ""


class Controls(Piece):
    """One panel; see the module. Only controls that mean something for the chain are shown."""

    _esm = script("controls.js")
    words = {"enter": "_entered", "ready": "_ready"}

    groups = traitlets.List().tag(sync=True)
    name = traitlets.Unicode("").tag(sync=True)

    def __init__(self, state: PageState, groups: Sequence[Group], name: str) -> None:
        table = all_parameters()
        self._state = state
        self._keys = tuple(key for group in groups for key in group.keys)
        self._told: dict[str, dict[str, Any]] = {}
        self._messages: dict[str, str] = {}
        self._only: tuple[str, ...] | None = None
        about = [{"title": group.title, "items": [item(table[key]) for key in group.keys]} for group in groups]
        super().__init__(groups=about, name=name)
        state.observe(self._follow, "chain")

    def states(self) -> dict[str, dict[str, Any]]:
        """What each control shows now, by key."""
        table = all_parameters()
        found = {
            key: {**standing(table[key], self._state.chain), "message": self._messages.get(key, "")}
            for key in self._keys
        }
        if self._only is not None:
            for key in found:
                found[key]["applies"] = found[key]["applies"] and key in self._only
        return found

    def show_only(self, keys: Sequence[str]) -> None:
        """Show only some of the controls; the others cannot be set either."""
        if self._only != tuple(keys):
            self._only = tuple(keys)
            self._tell()

    def enter(self, key: str, text: str, *, live: bool = False) -> str:
        """Set a control as the browser does; returns "" or why the entry was refused."""
        if key not in self._keys or (self._only is not None and key not in self._only):
            return "This panel has no such control."
        message = self._state.enter(key, text, live=live)
        self._messages = {key: message} if message else {}
        return message

    def _follow(self, _change: Any) -> None:
        self._messages = {}
        self._tell()

    def _tell(self, always: Iterable[str] = (), **more: Any) -> None:
        states = self.states()
        changed = {key: state for key, state in states.items() if key in always or self._told.get(key) != state}
        self._told = states
        if changed or more:
            self.send({"states": changed, **more})

    def _ready(self, _content: Any) -> None:
        self._tell(always=self._keys)
        self._state.at_rest.go()  # a panel is drawn when every part of the page is there

    def _entered(self, content: dict[str, Any]) -> None:
        key, text = text_in(content, "key", 40), text_in(content, "text")
        if key in self._keys:
            if text is None:
                self._messages = {key: f"{all_parameters()[key].label}: the entry is no text that can be read."}
            else:
                self.enter(key, text, live=content.get("live") is True)
            self._tell(always=(key,), seen=number_in(content, "number"))
        else:
            self._tell(seen=number_in(content, "number"))


def folded_groups(without: Iterable[str] = ()) -> list[Group]:
    """All controls but those of the chapter itself, folded by part of the chain, in signal order."""
    places = {
        "the instrument and its strings": ("instrument",),
        "more about " + title_of("pickup"): ("pickup", "lead"),
        "more about " + title_of("stage"): ("stage",),
        "more about " + title_of("supply"): ("supply",),
        "more about " + title_of("cable"): ("cable",),
        "more about " + title_of("input"): ("input",),
        "more about " + title_of("room"): ("room",),
    }
    groups = [Group(keys_of(*names, without=without), title) for title, names in places.items()]
    return [group for group in groups if group.keys]


def with_rest_controls(own: Sequence[str]) -> tuple[str, ...]:
    """Beside the source resistor what stands for it in stages that have another; a chain's stage shows its own only."""
    if "source_r" not in own:
        return tuple(own)
    others = dict.fromkeys(stage.rest_key for stage in all_stages().values() if stage.has(stage.rest_key))
    at = own.index("source_r") + 1
    return (*own[:at], *(key for key in others if key not in own), *own[at:])
