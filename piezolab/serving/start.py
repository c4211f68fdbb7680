"""Starting and stopping: the port, the ready line, the signals, the clean-up."""

import asyncio
import errno
import ipaddress
import logging
import os
import shutil
import signal
import socket
import sys
import tempfile
import webbrowser
from pathlib import Path
from urllib.parse import urlsplit

from tornado.httpserver import HTTPServer
from tornado.ioloop import PeriodicCallback
from tornado.netutil import bind_sockets

from ..chapters import INDEX_FILE, Chapter, find_chapters, notebook_title
from ..location import notebooks_dir
from .app import MESSAGE_LIMIT, Server, log
from .kernels import transport_for
from .problems import ServingError
from .seats import Seats

_PORTS_TRIED = 50
_SWEEP_MS = 2000


async def _serve(server: Server, sockets: list[socket.socket], announce: str, open_browser: bool) -> None:
    """Answer until told to stop."""
    stop = asyncio.Event()
    _stop_on_signals(stop)
    http = HTTPServer(
        server.application(),
        # A proxy's word on host and protocol counts only where there is one.
        xheaders=server.behind_proxy,
        max_body_size=64 * 1024,
        max_buffer_size=MESSAGE_LIMIT + 2**20,
        idle_connection_timeout=120,
        body_timeout=10,
    )
    http.add_sockets(sockets)
    kernels = server.kernel_manager
    sweep = PeriodicCallback(lambda: server.seats.sweep(kernels.process_alive, kernels.free), _SWEEP_MS)
    sweep.start()
    print(f"piezolab is ready: {announce}", flush=True)
    if open_browser:
        _open_browser(announce)
    await stop.wait()
    sweep.stop()
    http.stop()
    await asyncio.gather(*map(kernels.free, list(kernels.list_kernel_ids())), return_exceptions=True)
    await http.close_all_connections()


def _stop_on_signals(stop: asyncio.Event) -> None:
    loop = asyncio.get_running_loop()
    for name in (signal.SIGINT, signal.SIGTERM):
        try:
            loop.add_signal_handler(name, stop.set)
        except NotImplementedError:  # Windows
            signal.signal(name, lambda *_: loop.call_soon_threadsafe(stop.set))


def _open_browser(address: str) -> None:
    try:
        browser = webbrowser.get()
    except webbrowser.Error:
        return  # nothing to open it with: the address has been printed
    asyncio.get_running_loop().run_in_executor(None, browser.open, address)


def _listen(host: str, port: int) -> tuple[list[socket.socket], int]:
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
            print(f"Port {port} is busy; using {chosen} instead.", flush=True)
        return sockets, chosen
    raise ServingError(f"port: none free from {port} to {last}")


def _base_url(text: str) -> str:
    path = "/" + text.strip("/") + "/" if text.strip("/") else "/"
    if any(not (c.isalnum() or c in "/-_.~@") for c in path):
        raise ServingError(f"base-url: {text!r} may hold letters, digits and / - _ . ~ @ only")
    return path


def _pages(folder: Path) -> dict[str, Chapter]:
    """The start page under "" and the chapters under their address words."""
    index = folder / INDEX_FILE
    if not index.is_file():
        raise ServingError(f"notebooks: {folder} has no {INDEX_FILE}")
    try:
        start = Chapter("", INDEX_FILE, notebook_title(index))
        return {"": start, **{chapter.slug: chapter for chapter in find_chapters(folder)}}
    except ValueError as problem:
        raise ServingError(f"notebooks: {problem}") from problem


def run(
    *,
    host: str,
    port: int,
    open_browser: bool,
    base_url: str,
    notebooks: Path | str | None,
    public_address: str | None,
    seats: int,
    verbose: bool,
) -> None:
    """Serve until interrupted; see `piezolab.serving.serve`."""
    logging.basicConfig(format="%(asctime)s %(levelname)s %(message)s")
    log.setLevel(logging.INFO if verbose else logging.WARNING)
    base = _base_url(base_url)
    public_address = _checked_public(public_address)
    if seats < 1:
        raise ServingError(f"seats: {seats} is out of range; at least 1")
    folder = Path(notebooks).resolve() if notebooks else notebooks_dir().resolve()
    pages = _pages(folder)
    sockets, chosen = _listen(host, port)
    shown = "127.0.0.1" if host in ("", "0.0.0.0") else f"[{host}]" if ":" in host else host
    announce = (public_address or f"http://{shown}:{chosen}") + base
    connections = Path(tempfile.mkdtemp(prefix="pz-", dir=_short_folder()))
    # No history, start-up files or settings of this user's own Python shell in a visitor's kernel.
    os.environ["IPYTHONDIR"] = str(connections / "ipython")
    try:
        server = Server(
            folder=folder,
            pages=pages,
            connections=connections,
            base_url=base,
            port=chosen,
            local_only=_is_loopback(host),
            public_address=public_address,
            seats=Seats(seats),
            log_level=logging.INFO if verbose else logging.ERROR,
        )
        asyncio.run(_serve(server, sockets, announce, open_browser))
    finally:
        shutil.rmtree(connections, ignore_errors=True)


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _checked_public(address: str | None) -> str | None:
    """The public address without a slash at its end."""
    if address is None:
        return None
    parts = urlsplit(address)
    if parts.scheme not in ("http", "https") or not parts.hostname or parts.path.strip("/"):
        raise ServingError(f"public-address: {address!r} should look like http://192.168.0.7:8350")
    return address.rstrip("/")


def _short_folder() -> str | None:
    """Where temporary folders' names are short enough for unix sockets, or None for the usual place."""
    usual = Path(tempfile.gettempdir())
    if transport_for(usual / "pz-12345678") == "ipc" or sys.platform == "win32":
        return None
    return "/tmp" if os.access("/tmp", os.W_OK) else None
