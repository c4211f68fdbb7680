"""The chapters' addresses: /question?chain renders a notebook in a kernel of the visitor's own."""

import secrets
from collections.abc import AsyncIterator
from typing import Any
from urllib.parse import unquote_plus, urlsplit

from jupyter_server.base.handlers import JupyterHandler
from jupyter_server.utils import url_path_join
from tornado.iostream import StreamClosedError
from tornado.web import HTTPError
from voila.tornado.handler import TornadoVoilaHandler

from ..chapters import Chapter
from .errors import PlainErrors
from .seats import Seats, Visit, current_visit

#: Longest query string passed on, bytes. A kernel's environment takes some 128 kB; the longest link is far below.
QUERY_LIMIT = 16_000

_COOKIE_DAYS = 30


class Visitors(PlainErrors):
    """Knows the visitor by a signed cookie that scripts cannot read."""

    @property
    def seats(self) -> Seats:
        return self.settings["seats"]

    def known_visitor(self) -> str | None:
        """The visitor's secret, or None for a browser that has none of this server."""
        value = self.get_signed_cookie(self.settings["visitor_cookie"], max_age_days=_COOKIE_DAYS)
        return value.decode("ascii", "replace") if value else None

    def welcome_visitor(self) -> str:
        """The visitor's secret, made now if need be."""
        who = self.known_visitor()
        if who is None:
            who = secrets.token_urlsafe(24)
            self.set_signed_cookie(
                self.settings["visitor_cookie"],
                who,
                expires_days=_COOKIE_DAYS,
                httponly=True,
                # Lax, not Strict: a shared link must find the visitor's other open pages still theirs.
                samesite="Lax",
                path=self.settings["base_url"],
                secure=self.request.protocol == "https",
            )
        return who


def _overrides(name: str) -> bool:
    return name in ("theme", "template") or name.startswith("voila-")


class PageHandler(Visitors, TornadoVoilaHandler):
    """One chapter, or the start page."""

    def initialize(self, chapters: dict[str, Chapter], **kwargs: Any) -> None:
        self._chapters = chapters
        super().initialize(**kwargs)

    def check_host(self) -> bool:
        if not super().check_host():
            raise HTTPError(421)
        return True

    async def prepare(self) -> None:
        # Voila takes these from the address even when overrides are forbidden.
        for arguments in (self.request.arguments, self.request.query_arguments):
            for name in [name for name in arguments if _overrides(name)]:
                del arguments[name]
        parts = self.request.query.split("&")
        parts = [part for part in parts if not _overrides(unquote_plus(part.partition("=")[0]))]
        self.request.query = "&".join(parts)
        await super().prepare()

    async def get(self, slug: str = "") -> None:
        chapter = self._chapters.get(slug)
        if chapter is None:
            raise HTTPError(404)
        if len(self.request.query) > QUERY_LIMIT:
            raise HTTPError(414)
        if self.seats.full:
            raise HTTPError(503)
        self.request.nonce = secrets.token_urlsafe(16)
        visit = Visit(self.welcome_visitor())
        current_visit.set(visit)
        self.seats.opening(visit)
        try:
            await self._send(self.get_generator(path=chapter.file), visit)
        finally:
            self.seats.sent(visit)

    async def _send(self, snippets: AsyncIterator[str], visit: Visit) -> None:
        """Write the page out as it is made."""
        try:
            async for html in snippets:
                # Voila's sign of life while a cell runs long is an inline script without our nonce, and it goes
                # on for ever when the kernel has died: the page itself notices and says so.
                if html.startswith("<script>window.voila_heartbeat"):
                    html = "\n"
                    if visit.kernel_id and visit.kernel_id not in self.seats:
                        return
                self.write(html)
                await self.flush()
        except StreamClosedError:
            pass

    def write_error(self, status_code: int, **kwargs: Any) -> None:
        if self._headers_written:
            self.finish()
        else:
            super().write_error(status_code, **kwargs)


def prepare_notebook(handler: PageHandler, notebook: Any, cwd: str) -> Any:
    """Voila's prelaunch hook: tells the template this response's nonce and the page's title."""
    path = urlsplit(handler.request.path).path
    slug = path.removeprefix(handler.base_url).strip("/")
    chapter = handler._chapters.get(slug)
    notebook.metadata["piezolab"] = {
        "nonce": handler.request.nonce,
        "title": chapter.title if chapter else "",
    }
    return notebook


class LeaveHandler(Visitors, JupyterHandler):
    """The page's goodbye: frees its kernel at once."""

    def check_xsrf_cookie(self) -> None:
        """Not needed: the cookie that must match is never sent along by another site (SameSite), and the
        kernel's id is known to its page only."""

    async def post(self, kernel_id: str) -> None:
        if not self.seats.owns(kernel_id, self.known_visitor()):
            raise HTTPError(404)
        await self.settings["kernel_manager"].free(kernel_id)
        self.set_status(204)


class StockLeaveHandler(PlainErrors):
    """Voila's own goodbye is sent before the visitor has decided to leave; ours counts instead."""

    def check_xsrf_cookie(self) -> None:
        """Nothing is done, so nothing needs guarding."""

    def post(self, kernel_id: str) -> None:
        self.set_status(204)


class ToIndex(PlainErrors):
    """Voila's list of files is not for visitors: they are sent to the start page."""

    def get(self, _path: str = "") -> None:
        self.redirect(self.settings["base_url"])


class ToChapter(PlainErrors):
    """Voila's address of a notebook, as the chapter's own address."""

    def initialize(self, by_file: dict[str, str]) -> None:
        self._by_file = by_file

    def get(self, file: str) -> None:
        if file not in self._by_file:
            raise HTTPError(404)
        query = "?" + self.request.query if self.request.query else ""
        self.redirect(url_path_join(self.settings["base_url"], self._by_file[file]) + query)
