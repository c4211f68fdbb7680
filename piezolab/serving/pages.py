"""The chapters' addresses: /question?chain renders a notebook in a kernel of the visitor's own."""

import asyncio
import re
import secrets
from collections.abc import AsyncIterator
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote_plus, urlsplit

from jupyter_server.base.handlers import JupyterHandler
from jupyter_server.utils import url_path_join
from tornado.iostream import StreamClosedError
from tornado.web import HTTPError
from voila.tornado.handler import TornadoVoilaHandler

from ..chapters import ChapterFile
from .addresses import household
from .error_pages import PlainErrors
from .room_pages import waiting_page
from .seats import GAVE_WAY, Visit, current_visit
from .visitors import Visitors

if TYPE_CHECKING:
    from .room import Room

#: Longest query string passed on, bytes. A kernel's environment takes some 128 kB; the longest link is far below.
QUERY_LIMIT = 16_000
#: The chain that the visitor's browser keeps as its own, percent-encoded: written and read by the page alone.
OWN_COOKIE = "piezolab-own"
_KEPT = re.compile(r"[\w.~%!*'()-]{1,6000}", re.ASCII)
#: How what Voila sends while a cell runs long begins.
SIGN_OF_LIFE = "<script>window.voila_heartbeat"


def _overrides(name: str) -> bool:
    return name in ("theme", "template") or name.startswith("voila-")


class PageHandler(Visitors, TornadoVoilaHandler):
    """One chapter, or the start page."""

    _visit: Visit | None = None
    _writing: asyncio.Task | None = None

    def initialize(self, chapters: dict[str, ChapterFile], **kwargs: Any) -> None:
        self._chapters = chapters
        super().initialize(**kwargs)

    async def prepare(self) -> None:
        # Voila takes these from the address even when overrides are forbidden.
        for arguments in (self.request.arguments, self.request.query_arguments):
            for name in [name for name in arguments if _overrides(name)]:
                del arguments[name]
        parts = self.request.query.split("&")
        names = [unquote_plus(part.partition("=")[0]) for part in parts]
        parts = [part for part, name in zip(parts, names, strict=True) if not _overrides(name) and name != "own"]
        self.request.query = "&".join(parts)
        await super().prepare()

    async def get(self, slug: str = "") -> None:
        chapter = self._chapters.get(slug)
        if chapter is None:
            raise HTTPError(404)
        if len(self.request.query) > QUERY_LIMIT:
            raise HTTPError(414)
        own = self.get_cookie(OWN_COOKIE, "")
        if _KEPT.fullmatch(own):
            self.request.query += f"&own={own}"
        member = self.settings["member"]
        if member is not None and not await member.admits(self):
            return
        if self.room is not None and not self._comes_in(self.room):
            return
        if self.room is None and self.seats.full:
            raise HTTPError(503)
        self.request.nonce = secrets.token_urlsafe(16)
        visit = self._visit = Visit(self.welcome_visitor(), address=household(self.request.remote_ip))
        current_visit.set(visit)
        self.seats.opening(visit)
        if self.room is not None:
            self.room.line.seated(visit.owner)
        try:
            async with self.settings["pages_at_once"]:
                if self.request.connection.stream.closed():
                    return  # gone while it waited for its turn
                await self._send(self.get_generator(path=chapter.file), visit)
        finally:
            self.seats.sent(visit)
        if self.room is not None:
            if not self._finished:
                self.finish()
            await self._give_way(self.room, visit)

    def _comes_in(self, room: "Room") -> bool:
        """Whether the page may be made now; if not, an answer has been sent that costs no kernel."""
        who, address = self.known_visitor(), household(self.request.remote_ip)
        if who is None:
            # Whoever comes without a cookie gets one and comes back with it; a crawler or a link's preview does not.
            self.welcome_visitor()
            place = None
        elif self.seats.being_made(who) >= room.pages_each or not room.new_pages.take(address):
            raise HTTPError(429)
        elif self.seats.of(who) or room.line.enters(who, address):
            if not room.own_pages.take(who):
                raise HTTPError(429)
            # Who has a seat keeps it from page to page: the old page's goodbye comes after the new page's request.
            return True
        else:
            place = room.line.place(who, address)
        self.set_header("Content-Type", "text/html; charset=utf-8")
        self.set_header("Cache-Control", "no-store")
        self.finish(waiting_page(self, place))
        return False

    async def _give_way(self, room: "Room", visit: Visit) -> None:
        """Free the visitor's other pages, longest untouched first, where there are too many of them or of all."""
        if self.seats.of(visit.owner) == [visit.kernel_id]:
            return
        await asyncio.sleep(room.goodbye_s)
        others = [kernel_id for kernel_id in self.seats.of(visit.owner) if kernel_id != visit.kernel_id]
        while others and (len(others) >= room.pages_each or len(self.seats) > self.seats.limit):
            await self.settings["kernel_manager"].free(others.pop(0), GAVE_WAY)

    async def _send(self, snippets: AsyncIterator[str], visit: Visit) -> None:
        """Write the page out as it is made, for as long as there is somebody to read it."""
        self._writing = asyncio.create_task(self._write_out(snippets, visit))
        await asyncio.wait({self._writing})
        if not self._writing.cancelled():
            self._writing.result()

    async def _write_out(self, snippets: AsyncIterator[str], visit: Visit) -> None:
        try:
            async for html in snippets:
                # Voila's sign of life while a cell runs long is an inline script without our nonce, and it goes
                # on for ever when the kernel has died: the page itself notices and says so.
                if html.startswith(SIGN_OF_LIFE):
                    html = "\n"
                    if visit.kernel_id and visit.kernel_id not in self.seats:
                        return
                self.write(html)
                await self.flush()
        except StreamClosedError:
            await self._dropped()

    def on_connection_close(self) -> None:
        super().on_connection_close()
        asyncio.ensure_future(self._dropped())

    async def _dropped(self) -> None:
        """The browser has gone before its page was whole: nobody can come for the kernel that makes the rest of it."""
        kernel_id = self._visit.kernel_id if self._visit else None
        if kernel_id and self.seats.is_making(kernel_id):
            await self.settings["kernel_manager"].free(kernel_id)
            # Not before: a kernel that is being started has to become somebody's, or nobody would end it.
            if self._writing is not None:
                self._writing.cancel()

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
