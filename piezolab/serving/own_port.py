"""The sockets on which a server is reached."""

import errno
import socket

from tornado.netutil import bind_sockets

from .record import say
from .start_problems import ServingError

_PORTS_TRIED = 50


def listen(host: str, port: int) -> tuple[list[socket.socket], int]:
    """Sockets on the first free port from ``port`` on, and that port. Raises ServingError if there is none."""
    if not 0 <= port <= 65535:
        raise ServingError(f"port: {port} is not between 0 and 65535")
    last = port if port == 0 else min(port + _PORTS_TRIED, 65535)
    for candidate in range(port, last + 1):
        try:
            sockets = bind_sockets(candidate, host)
        except socket.gaierror:
            raise ServingError(f"host: {host!r} is no address of this computer") from None
        except OSError as problem:
            if isinstance(problem, PermissionError):
                raise ServingError(f"port: this user may not listen on {candidate}; try 8350") from None
            if problem.errno == errno.EADDRINUSE:
                continue
            raise ServingError(f"host: cannot listen on {host!r}: {problem.strerror}") from None
        chosen = sockets[0].getsockname()[1]
        if port and chosen != port:
            say(f"Port {port} is busy; using {chosen} instead.")
        return sockets, chosen
    raise ServingError(f"port: none free from {port} to {last}")


def also_here(port: int) -> list[socket.socket]:
    """Sockets on the same port for this computer alone, where that is free."""
    try:
        return bind_sockets(port, "127.0.0.1")
    except OSError:
        return []
