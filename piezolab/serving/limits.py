"""How much one client may ask for: connections, messages, new pages."""

import asyncio
import contextlib
import time
from collections import Counter, OrderedDict
from collections.abc import Callable, Hashable
from typing import Any

from tornado.httpserver import HTTPServer
from tornado.httputil import HTTPHeaders, HTTPMessageDelegate
from tornado.iostream import IOStream


class Allowance:
    """So many at once, and so many more each second.

    Parameters
    ----------
    at_once, each_second : float
        Size of the reserve, and how fast it fills again.
    """

    def __init__(self, at_once: float, each_second: float, clock: Callable[[], float] = time.monotonic) -> None:
        self._most, self._rate, self._clock = at_once, each_second, clock
        self._left, self._at = at_once, clock()

    def take(self, count: float = 1.0) -> bool:
        """Take from the reserve; False, and nothing taken, if there is not enough."""
        now = self._clock()
        self._left = min(self._most, self._left + (now - self._at) * self._rate)
        self._at = now
        if count > self._left:
            return False
        self._left -= count
        return True

    def give_back(self, count: float = 1.0) -> None:
        """Put what was taken back into the reserve."""
        self._left = min(self._most, self._left + count)

    def wait_s(self, count: float) -> float:
        """Seconds until so much can be taken."""
        left = min(self._most, self._left + (self._clock() - self._at) * self._rate)
        return max(min(count, self._most) - left, 0.0) / self._rate


class Allowances:
    """An allowance for each client, for as many clients as were heard of last."""

    def __init__(
        self,
        at_once: float,
        each_second: float,
        most_clients: int = 5000,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._make = lambda: Allowance(at_once, each_second, clock)
        self._most = most_clients
        self._of: OrderedDict[Hashable, Allowance] = OrderedDict()

    def take(self, client: Hashable, count: float = 1.0) -> bool:
        """Take from the client's reserve."""
        allowance = self._of.setdefault(client, self._make())
        self._of.move_to_end(client)
        if len(self._of) > self._most:
            self._of.popitem(last=False)
        return allowance.take(count)

    def give_back(self, client: Hashable, count: float = 1.0) -> None:
        """Put what the client took back into its reserve."""
        if client in self._of:
            self._of[client].give_back(count)


class InFlight:
    """What was sent to a kernel and has not been dealt with: bytes by message.

    A message whose end was never heard of is given up after `patience_s`: the kernel's word may have been dropped.
    Small ones count as `least` bytes each: the kernel's answers wait as well.
    """

    def __init__(
        self, most: int, patience_s: float = 60.0, clock: Callable[[], float] = time.monotonic, least: int = 0
    ) -> None:
        self._most, self._patience_s, self._clock, self._least = most, patience_s, clock, least
        self._sent: OrderedDict[str, tuple[int, float]] = OrderedDict()
        self._less = asyncio.Event()

    @property
    def size(self) -> int:
        """Bytes that are on their way."""
        return sum(size for size, _ in self._sent.values())

    def sent(self, message: str, size: int) -> None:
        """A message has gone to the kernel."""
        self._sent[message] = max(size, self._least), self._clock()

    def __contains__(self, message: str) -> bool:
        return message in self._sent

    def done(self, message: str) -> None:
        """The kernel has dealt with a message."""
        if self._sent.pop(message, None) is not None:
            self._less.set()

    @property
    def too_much(self) -> bool:
        """Whether nothing more should be sent for now."""
        while self._sent and self._clock() - next(iter(self._sent.values()))[1] > self._patience_s:
            self._sent.popitem(last=False)
        return self.size > self._most

    async def less(self) -> None:
        """Wait until more may be sent."""
        while self.too_much:
            self._less.clear()
            with contextlib.suppress(asyncio.TimeoutError):
                await asyncio.wait_for(self._less.wait(), 1.0)


class _Reading(HTTPMessageDelegate):
    """Tells the server when a connection's request has been read as far as its body."""

    def __init__(self, then: HTTPMessageDelegate, read: Callable[[], None]) -> None:
        self._then, self._read = then, read

    def headers_received(self, start_line: Any, headers: HTTPHeaders) -> Any:
        self._read()
        return self._then.headers_received(start_line, headers)

    def data_received(self, chunk: bytes) -> Any:
        return self._then.data_received(chunk)

    def finish(self) -> None:
        self._then.finish()

    def on_connection_close(self) -> None:
        self._then.on_connection_close()


class CountingServer(HTTPServer):
    """A web server with so many connections and no more.

    When there are too many, the oldest one that has asked for nothing yet is closed: a slow request would hold its
    connection for long, and an honest browser simply opens another one. Websockets are not counted: they belong to
    seats.
    """

    def initialize(self, *args: Any, most: int = 1500, most_of_one: int = 400, **kwargs: Any) -> None:
        """most, most_of_one: connections at once, in all and from one address (thirty phones open some six each)."""
        super().initialize(*args, **kwargs)
        self._most, self._most_of_one = most, most_of_one
        self._from: Counter[str] = Counter()
        # In the order in which they came to wait for a request.
        self._idle: OrderedDict[Any, str] = OrderedDict()

    def handle_stream(self, stream: IOStream, address: tuple) -> None:
        who = str(address[0])
        full = len(self._connections) >= self._most
        if (full or self._from[who] >= self._most_of_one) and not self._close_one(None if full else who):
            stream.close()
            return
        self._from[who] += 1
        super().handle_stream(stream, address)

    def _close_one(self, who: str | None) -> bool:
        """Close the connection, of one address or of any, that has been waiting for longest."""
        for connection, owner in self._idle.items():
            if who in (None, owner):
                del self._idle[connection]
                connection.stream.close()
                return True
        return False

    def start_request(self, server_conn: Any, request_conn: Any) -> HTTPMessageDelegate:
        self._idle[server_conn] = str(server_conn.context.address[0])
        self._idle.move_to_end(server_conn)
        return _Reading(super().start_request(server_conn, request_conn), lambda: self._idle.pop(server_conn, None))

    def on_close(self, server_conn: Any) -> None:
        super().on_close(server_conn)
        self._idle.pop(server_conn, None)
        who = str(server_conn.context.address[0])
        self._from[who] -= 1
        if self._from[who] <= 0:
            del self._from[who]


def more_files() -> None:
    """Let this process have as many files and connections open as the system allows it."""
    try:
        import resource
    except ImportError:  # Windows
        return
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = hard if hard != resource.RLIM_INFINITY else 65536
    if 0 <= soft < wanted:
        try:
            resource.setrlimit(resource.RLIMIT_NOFILE, (min(wanted, 65536), hard))
        except (OSError, ValueError):
            pass  # then it is as many as before
