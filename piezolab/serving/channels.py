"""The websocket between a page and its kernel: for its visitor only, and without anything a visitor must not see.

What a page may *send* is limited by Voila's list of message types: no execution requests.
"""

import asyncio
import json
import logging
from collections.abc import Awaitable
from typing import Any

from jupyter_server.base.handlers import JupyterHandler
from tornado.ioloop import IOLoop
from tornado.web import HTTPError
from tornado.websocket import WebSocketClosedError
from voila.tornado.kernel_websocket_handler import VoilaKernelWebsocketHandler, WebsocketHandler

from .framing import V1, header_and_content, three_parts
from .limits import Allowance, Allowances, InFlight
from .record import KernelErrors
from .seats import TOO_MUCH
from .teacher_pages import tell_one
from .visitors import Visitors

log = logging.getLogger("piezolab.serving")
_errors = KernelErrors(log)


def keeps_to_itself(message: bytes | str | dict[str, Any], v1: bool, kernel_id: str = "") -> bool:
    """Whether a kernel's message must not reach the browser: tracebacks, standard error, the notebook's source.

    kernel_id: whose it is, for the log.
    """
    if isinstance(message, bytes):
        header, content = header_and_content(message, v1)
    else:
        whole = json.loads(message) if isinstance(message, str) else message
        header, content = whole.get("header") or {}, whole.get("content") or {}
    kind = header.get("msg_type")
    if kind == "error":
        _errors.note(kernel_id, content)
    return kind in ("error", "execute_input") or (kind == "stream" and content.get("name") == "stderr")


#: Characters of the longest word of a kernel about its own state.
LONGEST_STATUS = 4000
#: What a page may ask, and its kernel says when it has dealt with it.
ASKED = ("comm_open", "comm_msg", "comm_close", "comm_info_request", "kernel_info_request", "shutdown_request")


def dealt_with(message: bytes | str | dict[str, Any], v1: bool) -> str:
    """The id of the page's message after which the kernel says here that it is idle again; "" for anything else."""
    if isinstance(message, bytes | str) and len(message) > LONGEST_STATUS:
        return ""
    if isinstance(message, bytes):
        header, parent, content = three_parts(message, v1)
    else:
        whole = json.loads(message) if isinstance(message, str) else message
        header, parent, content = (whole.get(key) or {} for key in ("header", "parent_header", "content"))
    idle = header.get("msg_type") == "status" and content.get("execution_state") == "idle"
    return str(parent.get("msg_id") or "") if idle else ""


#: Between two pings of an open page, and without an answer until it counts as lost, milliseconds.
PING_MS, PONG_MS = 10_000, 30_000

#: Connections one page may hold open: it opens one, and another before the old one is known to be lost.
MOST_CHANNELS = 4
#: Messages at once and each second, bytes at once and each second, that a visitor may send over all their pages. A
#: slider being dragged sends some sixty a second; what is large comes in slices.
MESSAGES, BYTES = (1500, 150), (16 * 2**20, 2 * 2**20)
#: Bytes at once and each second that all visitors may send together; beyond that they are read more slowly.
ALL_BYTES = (96 * 2**20, 16 * 2**20)
#: Bytes up to which a message goes at once, if the kernel keeps up.
SMALL = 4096
#: What a page opens of its own accord: it asks for the state of its widgets.
OPENED = "jupyter.widget.control"


class Traffic:
    """How much each visitor may send, over all of their pages, and all together."""

    def __init__(self) -> None:
        self._messages, self._bytes, self._all = Allowances(*MESSAGES), Allowances(*BYTES), Allowance(*ALL_BYTES)

    def take(self, who: str, size: int) -> bool:
        """One message of a visitor; False where it is too much."""
        return self._messages.take(who) and self._bytes.take(who, size)

    async def together(self, size: int) -> None:
        """Wait until all together may send so much."""
        while not self._all.take(size):
            await asyncio.sleep(min(self._all.wait_s(size), 1.0) + 0.01)


class ChannelsHandler(Visitors, VoilaKernelWebsocketHandler):
    """A kernel's channels, opened to the visitor whose page started it."""

    async def get(self, kernel_id: str) -> None:
        # One answer for "not yours" and "gone": ids cannot be probed.
        if not self.seats.owns(kernel_id, self.known_visitor()):
            raise HTTPError(404)
        if self.seats.sockets(kernel_id) >= MOST_CHANNELS:
            raise HTTPError(429)
        await super().get(kernel_id=kernel_id)

    async def open(self, kernel_id: str) -> None:
        first = self.seats.connect(kernel_id, self)
        if self.room is not None:
            if first:
                self.room.own_pages.give_back(self.known_visitor())
            tell_one(self, self.room.desk.muted)
        await super().open(kernel_id)

    def on_message(self, message: bytes | str) -> Awaitable[None] | None:
        """Pass a page's message on, unless the page floods its kernel; while one has to wait nothing is read from the
        socket."""
        traffic, who = self.settings["traffic"], self.known_visitor() or ""
        if not traffic.take(who, len(message)):
            if self.close_code is None and not self._flooded:
                self._flooded = True
                log.warning("a page sent too much at once; its channel is closed")
                self.close(TOO_MUCH, "too much at once")
            return None
        header, content = self._told(message)
        kind = header.get("msg_type")
        if kind not in ASKED or (kind == "comm_open" and content.get("target_name") != OPENED):
            return None  # nobody's (what it says of its own length must not be believed), or not for a page to send
        # Only what a visitor does counts as use: a page that connects again after a nap has not been touched.
        if kind == "comm_msg":
            self.seats.touch(self.kernel_id)
        in_flight, name = self.seats.in_flight(self.kernel_id), str(header.get("msg_id"))[:100]
        if in_flight is None or name in in_flight:
            return None  # each has a name of its own: by that its end is known
        if len(message) > SMALL or in_flight.too_much:
            return self._later(message, name, in_flight)
        in_flight.sent(name, len(message))
        self._pass_on(message)
        return None

    async def _later(self, message: bytes | str, name: str, in_flight: InFlight) -> None:
        """Pass a message on when the kernel has dealt with enough of those before it."""
        if len(message) > SMALL:
            await self.settings["traffic"].together(len(message))
        await in_flight.less()
        in_flight.sent(name, len(message))
        self._pass_on(message)

    def _pass_on(self, message: bytes | str) -> None:
        try:
            super().on_message(message)
        except Exception as problem:  # the reader raises whatever comes to it on a message that lacks a part
            log.info("a message that is none: %r", problem)

    def _told(self, message: bytes | str) -> tuple[dict[str, Any], dict[str, Any]]:
        """Header and content of a page's message, {} where they cannot be read."""
        if isinstance(message, bytes):
            return header_and_content(message, self._v1)
        try:
            whole = json.loads(message)
        except (ValueError, RecursionError):
            return {}, {}
        parts = [whole.get(key) if isinstance(whole, dict) else None for key in ("header", "content")]
        header, content = (part if isinstance(part, dict) else {} for part in parts)
        return header, content

    _flooded = False

    def send_ping(self) -> None:
        """Ping, and close a line that has not answered for long.

        Instead of the stock one: that looks at the last answer's age just before the next ping, when on a good line it
        is as old as the interval, against a limit that tornado lets be no longer than the interval. Every page lost
        its line and connected again each 20 s.
        """
        now = IOLoop.current().time()
        if self.ws_connection is None:
            self.ping_callback.stop()
        elif self.ws_connection.client_terminated:
            self.close()
        elif (now - self.last_pong) * 1000 > PONG_MS and (now - self.last_ping) * 1000 < 2 * PING_MS:
            self.close()  # unless it is this computer that has slept since the last ping
        else:
            self.ping(b"")
            self.last_ping = now

    def on_close(self) -> None:
        self.seats.disconnect(self.kernel_id, self)
        super().on_close()

    @property
    def _v1(self) -> bool:
        return self.selected_subprotocol == V1

    def write_message(self, message: Any, binary: bool = False) -> Any:
        if self.ws_connection is None:
            return None  # the kernel may still speak when its line has just been closed
        if (done := dealt_with(message, self._v1)) and (in_flight := self.seats.in_flight(self.kernel_id)):
            in_flight.done(done)
        if keeps_to_itself(message, self._v1, self.kernel_id):
            return None
        # Not Voila's own: it reads every binary message as if it had the newer framing, and never comes back from one
        # that has not.
        try:
            sent = WebsocketHandler.write_message(self, message, binary)
        except WebSocketClosedError:
            return None
        # Nobody waits for it: where the line closes meanwhile, its error would be told at length when it is forgotten.
        sent.add_done_callback(lambda done: done.cancelled() or done.exception())
        return sent


class KernelHandler(Visitors, JupyterHandler):
    """Tells a page whether its own kernel still exists."""

    async def get(self, kernel_id: str) -> None:
        if not self.seats.owns(kernel_id, self.known_visitor()):
            raise HTTPError(404)
        self.set_header("Cache-Control", "no-store")
        self.finish(json.dumps({"id": kernel_id, "name": "python3"}))
