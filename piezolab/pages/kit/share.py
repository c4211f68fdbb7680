"""The share row: full link, bare text, parts list, QR code; a place to open what others share."""

from __future__ import annotations

import io
from typing import Any

import traitlets

from piezolab.chain.link import MOST_CHARACTERS
from piezolab.pages.kit.address import Address
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.parts_list import parts_list
from piezolab.pages.kit.piece import Piece, script, text_in


class Share(Piece):
    """See the module."""

    _esm = script("share.js")
    words = {"open": "_opened", "rest": "_opened_rest", "leave": "_left", "qr": "_asked_for_qr"}

    link = traitlets.Unicode("").tag(sync=True)
    text = traitlets.Unicode("").tag(sync=True)
    parts = traitlets.Unicode("").tag(sync=True)
    #: Inline SVG, or empty; `qr_said` says why there is none.
    qr = traitlets.Unicode("").tag(sync=True)
    qr_said = traitlets.Unicode("").tag(sync=True)
    said = traitlets.List().tag(sync=True)
    #: Whether a text that is partly wrong waits for a yes or a no.
    asks = traitlets.Bool(False).tag(sync=True)

    def __init__(self, state: PageState, address: Address) -> None:
        super().__init__()
        self._state, self._address = state, address
        self._qr_wanted, self._waiting = False, ""
        state.observe(self._follow, "settled")
        address.observe(self._follow, "base")
        self._follow()

    def _follow(self, _change: Any = None) -> None:
        # Links at once: whoever moves a control and goes on, or copies, means the chain on the screen.
        with self.hold_sync():
            self.link = self._address.link
            self.text = self._state.whole_query
        self._state.at_rest.put(self, self._at_rest)

    def _at_rest(self) -> None:
        with self.hold_sync():
            self.parts = parts_list(self._state.chain)
            if self._qr_wanted:
                self._draw_qr()

    def _asked_for_qr(self, _content: dict[str, Any]) -> None:
        self._qr_wanted = True
        self._draw_qr()

    def _draw_qr(self) -> None:
        if not self._address.link:
            self.qr, self.qr_said = "", "There is no address to draw: this page is not served."
        elif self._address.is_local:
            self.qr, self.qr_said = (
                "",
                (
                    "This address means this computer only, so a QR code would lead nowhere on another device. "
                    "Copy the configuration text instead."
                ),
            )
        else:
            self.qr = qr_svg(self._address.link)
            self.qr_said = "" if self.qr else "This link is too long for a QR code. Copy it instead."

    def open_text(self, text: str) -> None:
        """Open a shared configuration: a link from any host, or its text. One that is partly wrong is asked about, one
        that is wholly wrong changes nothing."""
        self.said = []  # the same sentence about another text is news, too
        wrong = self._state.open(text)
        self.asks = bool(wrong) and self._state.readable(text)
        self._waiting = text if self.asks else ""
        left = [] if self.asks else ["Nothing was changed."]
        self.said = [*wrong, *left] if wrong else ["Opened."]

    def _opened_rest(self, _content: dict[str, Any]) -> None:
        if self.asks:
            self._state.open(self._waiting, partly=True)
            self._answered("Opened, with defaults for what is wrong.")

    def _left(self, _content: dict[str, Any]) -> None:
        if self.asks:
            self._answered("Nothing was changed.")

    def _answered(self, sentence: str) -> None:
        self.asks, self._waiting, self.said = False, "", [sentence]

    def _opened(self, content: dict[str, Any]) -> None:
        text = text_in(content, "text")
        if text is None:
            self._answered(f"link: it is too long; allowed is up to {MOST_CHARACTERS} characters.")
        else:
            self.open_text(text)


def qr_svg(link: str) -> str:
    """The link as a QR code (ISO/IEC 18004, drawn by segno), dark on light in any theme, as inline SVG.

    Empty for a link that is too long for one.
    """
    import segno

    drawn = io.BytesIO()
    try:
        code = segno.make(link, micro=False, error="m", boost_error=False)
    except segno.DataOverflowError:
        return ""
    plain = {"xmldecl": False, "svgns": False, "omitsize": True, "nl": False}
    code.save(drawn, kind="svg", dark="#000", light="#fff", border=4, **plain)
    svg = drawn.getvalue().decode("utf-8")
    return svg.replace("<svg ", '<svg role="img" aria-label="QR code of the full link" ', 1)
