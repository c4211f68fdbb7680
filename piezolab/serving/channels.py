"""The websocket between a page and its kernel: for its visitor only, and without anything a visitor must not see.

What a page may *send* is limited by Voila's list of message types: no execution requests.
"""

import json
import logging
from typing import Any

from jupyter_server.base.handlers import JupyterHandler
from tornado.ioloop import IOLoop
from tornado.web import HTTPError
from voila.tornado.kernel_websocket_handler import VoilaKernelWebsocketHandler, WebsocketHandler

from .framing import V1, header_and_content, offsets
from .limits import Allowance
from .seats import TOO_MUCH
from .visitors import Visitors

log = logging.getLogger("piezolab.serving")


def keeps_to_itself(message: bytes | str | dict[str, Any], v1: bool) -> bool:
    """Whether a kernel's message must not reach the browser: tracebacks, standard error, the notebook's source."""
    if isinstance(message, bytes):
        header, content = header_and_content(message, v1)
    else:
        whole = json.loads(message) if isinstance(message, str) else message
        header, content = whole.get("header") or {}, whole.get("content") or {}
    kind = header.get("msg_type")
    if kind == "error":
        log.error("a page's kernel raised an error:\n%s", "\n".join(content.get("traceback", [])))
    return kind in ("error", "execute_input") or (kind == "stream" and content.get("name") == "stderr")


#: Between two pings of an open page, and without an answer until it counts as lost, milliseconds.
PING_MS, PONG_MS = 10_000, 30_000

#: Connections one page may hold open: it opens one, and another before the old one is known to be lost.
MOST_CHANNELS = 4
#: Messages at once and each second, bytes at once and each second, that a page may send. A slider being dragged
#: sends some sixty a second; a recording is one long message.
MESSAGES, BYTES = (1500, 150), (160 * 2**20, 2 * 2**20)


class ChannelsHandler(Visitors, VoilaKernelWebsocketHandler):
    """A kernel's channels, opened to the visitor whose page started it."""

    async def get(self, kernel_id: str) -> None:
        # One answer for "not yours" and "gone": ids cannot be probed.
        if not self.seats.owns(kernel_id, self.known_visitor()):
            raise HTTPError(404)
        if self.seats.sockets(kernel_id) >= MOST_CHANNELS:
            raise HTTPError(429)
        self._messages, self._bytes = Allowance(*MESSAGES), Allowance(*BYTES)
        await super().get(kernel_id=kernel_id)

    async def open(self, kernel_id: str) -> None:
        self.seats.connect(kernel_id, self)
        await super().open(kernel_id)

    def on_message(self, message: bytes | str) -> Any:
        """Pass a page's message on, unless the page floods its kernel."""
        if not (self._messages.take() and self._bytes.take(len(message))):
            if self.close_code is None and not self._flooded:
                self._flooded = True
                log.warning("a page sent too much at once; its channel is closed")
                self.close(TOO_MUCH, "too much at once")
            return None
        if isinstance(message, bytes) and offsets(message, self._v1) is None:
            return None  # nobody's message: what it says of its own length must not be believed
        # Only what a visitor does counts as use: a page that connects again after a nap has not been touched.
        if (b"comm_msg" if isinstance(message, bytes) else "comm_msg") in message[:1000]:
            self.seats.touch(self.kernel_id)
        try:
            return super().on_message(message)
        except Exception as problem:  # the reader raises whatever comes to it on a message that lacks a part
            log.info("a message that is none: %r", problem)
            return None

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
        if self.ws_connection is None or keeps_to_itself(message, self._v1):
            return None  # the kernel may still speak when its line has just been closed
        # Not Voila's own: it reads every binary message as if it had the newer framing, and never comes back from one
        # that has not.
        return WebsocketHandler.write_message(self, message, binary)


class KernelHandler(Visitors, JupyterHandler):
    """Tells a page whether its own kernel still exists."""

    async def get(self, kernel_id: str) -> None:
        if not self.seats.owns(kernel_id, self.known_visitor()):
            raise HTTPError(404)
        self.set_header("Cache-Control", "no-store")
        self.finish(json.dumps({"id": kernel_id, "name": "python3"}))
