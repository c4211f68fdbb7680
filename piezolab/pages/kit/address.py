"""The browser's address bar follows the chain; the browser says under which address the page was reached."""

from __future__ import annotations

import ipaddress
from typing import Any
from urllib.parse import urlsplit

import traitlets

from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.piece import STATIC, Piece, text_in


class Address(Piece):
    """Writes the chain into the address bar, a few times a second at most, and nothing else of the browser's.

    Outside a served page (in a notebook program) the address is not ours and is left alone.
    """

    _esm = STATIC / "address.js"
    words = {"at": "_told_where"}

    query = traitlets.Unicode("").tag(sync=True)
    page_words = traitlets.Unicode("").tag(sync=True)
    #: The page's address without its query, as the browser sees it; empty while unknown or not served.
    base = traitlets.Unicode("")

    def __init__(self, state: PageState) -> None:
        super().__init__(query=state.carried, page_words=state.page_words)
        self._state = state
        state.observe(self._follow, ["chain", "settled"])

    @property
    def link(self) -> str:
        """The full link of the chain; empty where there is no address."""
        return f"{self.base}?{self._state.whole_query}" if self.base else ""

    @property
    def is_local(self) -> bool:
        """Whether the address means this computer only, so that no other device can use it."""
        return _is_loopback(urlsplit(self.base).hostname or "localhost")

    def _follow(self, _change: Any) -> None:
        self.query = self._state.carried

    def _told_where(self, content: dict[str, Any]) -> None:
        self.base = checked_base(text_in(content, "base", 500) or "")


def checked_base(text: str) -> str:
    """The address if it is one of the web without query or markup, else ""."""
    try:
        parts = urlsplit(text)
        good = parts.scheme in ("http", "https") and parts.hostname and not parts.query and not parts.fragment
    except ValueError:
        return ""
    return text if good and text.isprintable() and not set(text) & set("<>\"'` ") else ""


def _is_loopback(host: str) -> bool:
    if host == "localhost" or host.endswith(".localhost"):
        return True
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        return False
    return address.is_loopback or address.is_unspecified
