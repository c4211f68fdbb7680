"""Plain parts of a page: a block of text or drawing, and a row of buttons."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from html import escape
from typing import Any

import traitlets

from piezolab.pages.kit.piece import STATIC, Piece, text_in

#: temml: TeX to MathML (MIT). A served page has it as a static file of the server.
TYPESETTER_FILE = next(STATIC.glob("temml-*.min.js"))


class Block(Piece):
    """HTML made by the package; it never holds text of a visitor that was not escaped.

    kind: class of the block in the page's style; title: heading, under which a `folded` block is folded away; spoken: a
    screen reader is told when the text has come to rest. TeX between dollar signs is set as formulas in the kind
    `maths` alone, which holds no text of a visitor.
    """

    _esm = STATIC / "block.js"
    words = {"formulas": "_send_typesetter"}

    content = traitlets.Unicode("").tag(sync=True)
    kind = traitlets.Unicode("").tag(sync=True)
    title = traitlets.Unicode("").tag(sync=True)
    folded = traitlets.Bool(False).tag(sync=True)
    spoken = traitlets.Bool(False).tag(sync=True)
    #: What it says is of an earlier chain.
    old = traitlets.Bool(False).tag(sync=True)

    def __init__(self, kind: str, content: str = "", **kwargs: Any) -> None:
        super().__init__(kind=kind, content=content, **kwargs)

    def _send_typesetter(self, _content: dict[str, Any]) -> None:
        """Send temml to a front end that has no server of ours to fetch it from."""
        self.send({"library": "temml"}, buffers=[TYPESETTER_FILE.read_bytes()])


class Look(Piece):
    """Brings the pages' style along, and says in the element whether something waits; shows nothing."""

    _esm = STATIC / "look.js"
    _css = STATIC / "look.css"

    #: Whether some of the page is still to be worked out.
    waiting = traitlets.Bool(False).tag(sync=True)


class Buttons(Piece):
    """A row of buttons. Each has a word; pressing it calls what stands under that word."""

    _esm = STATIC / "buttons.js"
    words = {"press": "_pressed"}

    buttons = traitlets.List().tag(sync=True)
    name = traitlets.Unicode("").tag(sync=True)

    def __init__(self, name: str, does: Mapping[str, Callable[[], None]]) -> None:
        super().__init__(name=name)
        self._does = dict(does)

    def show(self, buttons: Sequence[Mapping[str, Any]]) -> None:
        """What the buttons look like now: dicts with word, label and, if wanted, note (a line
        below the label), off (not to be pressed), held
        (pressed in: True or False for a button that toggles), only ("narrow": on phones only)."""
        shown = [dict(button) for button in buttons]
        if shown != self.buttons:
            self.buttons = shown

    def press(self, word: str) -> None:
        """Do what a button does, if it is shown and can be pressed."""
        if any(button["word"] == word and not button.get("off") for button in self.buttons):
            self._does[word]()

    def _pressed(self, content: dict[str, Any]) -> None:
        word = text_in(content, "button", 40)
        if word in self._does:
            self.press(word)


class PressedTable(Block):
    """A block whose table has buttons in its rows, made by `row_button`; pressing one calls what stands under its
    word."""

    words = {**Block.words, "press": "_pressed"}

    def __init__(self, kind: str, does: Mapping[str, Callable[[], None]], title: str = "") -> None:
        super().__init__(kind, title=title)
        self._does = dict(does)

    def press(self, word: str) -> None:
        """Do what a button does, if it is shown."""
        if f'data-press="{word}"' in self.content:
            self._does[word]()

    def _pressed(self, content: dict[str, Any]) -> None:
        word = text_in(content, "button", 40)
        if word in self._does:
            self.press(word)


def paragraphs(*sentences: str) -> str:
    """Paragraphs of plain text, escaped; empty ones left out."""
    return "".join(f"<p>{escape(sentence)}</p>" for sentence in sentences if sentence)


def guard(sentence: str) -> str:
    """A caution, plain text, escaped; it stands right at what it guards, once on a page."""
    return f'<p class="pz-guard">{escape(sentence)}</p>' if sentence else ""


def bullets(sentences: Sequence[str], kind: str = "") -> str:
    """A list of plain texts, escaped; nothing for an empty one."""
    if not sentences:
        return ""
    inside = "".join(f"<li>{escape(sentence)}</li>" for sentence in sentences)
    return f'<ul class="{escape(kind)}">{inside}</ul>'


class Html(str):
    """HTML made by the package, which `table` takes as it is."""

    __slots__ = ()


def row_button(word: str, label: str, whole: str) -> Html:
    """A button for a cell of a `PressedTable`; whole: its name for who does not see the row, beginning as `label`."""
    return Html(
        f'<button type="button" class="pz-button" data-press="{escape(word)}" aria-label="{escape(whole)}">'
        f"{escape(label)}</button>"
    )


def _cell(text: str) -> str:
    """The text escaped; a line does not end between a number and its unit."""
    return str(text) if isinstance(text, Html) else _BEFORE_UNIT.sub("\u00a0", escape(text))


_BEFORE_UNIT = re.compile(r"(?<=\d) (?=[fpnµmkMG]?(?:Ω|V|A|F|W|Hz|dB|dBu|%|m|s|h|°C|mm|cm)(?![\w]))")


def table(head: Sequence[str], rows: Sequence[Sequence[str]], caption: str = "") -> str:
    """A table of plain texts, escaped; the first column names the rows."""
    # A heading cell without words is no heading.
    above = "".join(f'<th scope="col">{escape(cell)}</th>' if cell else "<td></td>" for cell in head)
    body = "".join(
        f'<tr><th scope="row">{escape(row[0])}</th>' + "".join(f"<td>{_cell(cell)}</td>" for cell in row[1:]) + "</tr>"
        for row in rows
    )
    told = f"<caption>{escape(caption)}</caption>" if caption else ""
    return f'<div class="pz-scroll"><table>{told}<thead><tr>{above}</tr></thead><tbody>{body}</tbody></table></div>'
