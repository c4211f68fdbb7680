"""Serving the chapters to browsers: one standalone Voila server, one kernel for each open page.

Standalone because Voila filters what a browser may send to a kernel only when it is no Jupyter Server
extension. Nothing heavy is imported before `serve` is called.
"""

import sys
from pathlib import Path

from .start_problems import ServingError

# The notebook server checks its own events by JSON schema, and for one format that no event has (IRI) `jsonschema`
# imports a package that builds grammars: a second of every start. Without that package it leaves the format unchecked.
sys.modules.setdefault("rfc3987_syntax", None)

__all__ = ["ServingError", "serve"]


def serve(
    host: str | None = None,
    port: int = 8350,
    open_browser: bool = False,
    base_url: str = "/",
    *,
    notebooks: Path | str | None = None,
    public_address: str | None = None,
    behind_proxy: bool = False,
    seats: int = 40,
    verbose: bool = False,
    room: bool = False,
    lesson: str | None = None,
    idle_minutes: float | None = None,
    warm: bool = True,
    log_file: Path | str | None = None,
    visitors: int | None = None,
) -> bool:
    """Serve the chapters until interrupted; True then.

    Prints one line, ``piezolab is ready: http://...``, once pages can be opened. A busy port is stepped over,
    and said so.

    host: network address to listen on; None is this computer only, in a room the room's network. port: 0 is any free
    one. base_url: path before every page, for a server behind a proxy. notebooks: folder, the shipped one by default.
    public_address: such as ``http://workshop.example:8350``, under which visitors reach the server if it is not the one
    it listens on. behind_proxy: believe what a proxy says of a visitor's address and protocol (X-Forwarded-For);
    anybody can write such words where there is no proxy that replaces them. seats: pages open at once, each with a
    kernel. verbose: log every request and kernel event. room: serve a room of phones and laptops; lesson: what it works
    on. idle_minutes: after which an untouched page gives its seat back; None is never. warm: fork kernels from one warm
    process where the system can. log_file: where the log goes instead of the terminal; at 1 MB it is put aside, and two
    that were put aside are kept. visitors: in a room, let so many headless visitors come, tell what was measured and
    end; True where this machine holds them.

    Raises ServingError where the address cannot be listened on or the notebooks cannot be read.
    """
    from .start import run

    return run(
        host=host,
        port=port,
        open_browser=open_browser,
        base_url=base_url,
        notebooks=notebooks,
        public_address=public_address,
        behind_proxy=behind_proxy,
        seats=seats,
        verbose=verbose,
        room=room,
        lesson=lesson,
        idle_minutes=idle_minutes,
        warm=warm,
        log_file=log_file,
        visitors=visitors,
    )
