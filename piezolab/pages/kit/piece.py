"""What all our own widgets have in common: nothing that a browser says is taken on trust.

A synced trait of a stock widget takes any value a browser sends, a slider's own minimum and maximum included. A piece
takes no state from the browser at all; it takes messages, each with a known word, and checks what they carry.
Widgets of our own rather than stacks of stock ones: one model for a whole panel instead of three for each control,
real labels for screen readers, and a slider that sends its newest value only when the last one has been dealt with.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, ClassVar

import anywidget
from ipywidgets import Layout

STATIC = Path(__file__).parent / "static"


def script(name: str) -> str:
    """The script of a piece, a file of `STATIC`, with what such scripts share before it."""
    return "".join((STATIC / each).read_text(encoding="utf-8") for each in ("elements.js", name))


#: Longest text in one message, characters; a link has 4000 at most.
MOST_TEXT = 8000


class Piece(anywidget.AnyWidget):
    """A part of a page with its own drawing in the browser.

    A subclass lists in `words` the messages it takes, word -> method name. The method gets the message; what it
    needs it takes with `text_in` and the like. A message with any other word is dropped.
    """

    words: ClassVar[Mapping[str, str]] = {}

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.on_msg(self._heard)

    def set_state(self, sync_data: Mapping[str, Any]) -> None:
        """Ignore state from the browser: it could say anything."""

    def _heard(self, _widget: Any, content: Any, _buffers: Any) -> None:
        if not isinstance(content, dict):
            return
        word = content.get("word")
        method = self.words.get(word) if isinstance(word, str) else None
        if method:
            getattr(self, method)(content)


# A front end may also send a stock layout's state back as it understands it, older ones with words that the kernel's
# own class refuses: an error for each of them. No page wants any.
Layout.set_state = Piece.set_state


def text_in(content: Mapping[str, Any], key: str, most: int = MOST_TEXT) -> str | None:
    """The text under `key`, or None where there is none or it is too long."""
    text = content.get(key)
    return text if isinstance(text, str) and len(text) <= most else None


def number_in(content: Mapping[str, Any], key: str) -> int:
    """The whole number under `key` from 0 to 2**31, else 0."""
    number = content.get(key)
    return number if type(number) is int and 0 <= number < 2**31 else 0
