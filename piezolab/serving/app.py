"""The server itself: a standalone Voila whose routes, headers and kernels are ours."""

import asyncio
import hashlib
import logging
import os
import shutil
import signal
import socket
import sys
import tempfile
import webbrowser
from importlib import metadata
from pathlib import Path
from typing import Any

import tornado.web
from jupyter_core.paths import jupyter_path
from jupyter_server.utils import url_path_join
from tornado.httpserver import HTTPServer
from tornado.ioloop import PeriodicCallback
from tornado.netutil import bind_sockets
from traitlets.config import Config
from voila.app import Voila

from ..chapters import INDEX_FILE, Chapter, find_chapters, notebook_title
from ..location import notebooks_dir
from . import ServingError
from .assets import AssetFolder, AssetHandler
from .channels import ChannelsHandler, KernelHandler
from .errors import NotFound
from .headers import SecurityHeaders
from .kernels import OwnKernelSpecs, SeatedKernelManager, transport_for
from .pages import LeaveHandler, PageHandler, StockLeaveHandler, ToChapter, ToIndex, prepare_notebook
from .seats import Seats

log = logging.getLogger("piezolab.serving")

_HERE = Path(__file__).resolve().parent
_TEMPLATE = _HERE / "template"
_PLOT = _HERE.parent / "pages" / "static"
#: The plots' drawing library.
LIBRARY_NAME = next(_PLOT.glob("plotly-*.min.js")).name
_KERNEL = r"(?P<kernel_id>\w+-\w+-\w+-\w+-\w+)"

#: Front-end extensions that a page loads; any others that happen to be installed only cost time.
EXTENSIONS = ["@jupyter-widgets/jupyterlab-manager", "@voila-dashboards/widgets-manager8", "anywidget"]

#: Longest websocket message, bytes: a minute of uncompressed recording. Beyond it the connection closes.
MESSAGE_LIMIT = 64 * 2**20

_PORTS_TRIED = 50


def _release() -> str:
    """Changes whenever a static file may have changed: the versions of all that bring some, and our own files."""
    digest = hashlib.sha256()
    for name in ("voila", "anywidget", "ipywidgets", "jupyterlab_widgets"):
        digest.update(f"{name} {metadata.version(name)}\n".encode())
    for path in sorted((*_TEMPLATE.iterdir(), *_PLOT.iterdir())):
        digest.update(path.name.encode() + path.read_bytes())
    return digest.hexdigest()[:12]


class Server(Voila):
    """Voila without its own routes, its reading of the user's configuration files, and its start-up."""

    config_file_paths: list[str] = []
    chapters: dict[str, Chapter]
    seats: Seats

    def addresses(self, *parts: str) -> str:
        """An address below the base."""
        return url_path_join(self.base_url, *parts)

    def setup_template_dirs(self) -> None:
        super().setup_template_dirs()
        self.template_paths = [str(_TEMPLATE), *self.template_paths]

    def page_config(self, page_config: dict[str, Any], **_: Any) -> dict[str, Any]:
        """Voila's page configuration with versioned addresses and nothing from a content network."""
        page_config["fullStaticUrl"] = self.addresses("static", self.release, "voila")
        page_config["fullLabextensionsUrl"] = self.addresses("static", self.release, "extensions")
        # Its typesetter would fetch a script from outside; pages write their maths in MathML.
        page_config["disabledExtensions"] = ["@jupyterlab/mathjax2-extension"]
        page_config.pop("fullMathjaxUrl", None)
        page_config.pop("mathjaxConfig", None)
        page_config["piezolabStatic"] = self.addresses("static", self.release)
        page_config["piezolabPlotly"] = LIBRARY_NAME
        return page_config

    def init_settings(self) -> dict[str, Any]:
        settings = super().init_settings()
        settings.update(
            seats=self.seats,
            transforms=[SecurityHeaders],
            default_handler_class=NotFound,
            visitor_cookie=f"seat-{self.port}",
            websocket_max_message_size=MESSAGE_LIMIT,
            # Seconds; a phone that went out of reach is noticed within a minute.
            ws_ping_interval=20_000,
            ws_ping_timeout=20_000,
            # Messages are small and local: compressing them costs more time than it saves.
            websocket_compression_options=None,
            log_function=self._log_request,
        )
        self.kernel_manager.seats = self.seats
        return settings

    def init_handlers(self) -> list:
        voila_static = AssetFolder(*map(Path, self.static_paths))
        extensions = AssetFolder(*map(Path, self.labextensions_path))
        own = AssetFolder(_TEMPLATE, _PLOT)
        themes = AssetFolder(*(Path(p) / "nbconvert/templates/lab/static" for p in jupyter_path()))
        static = url_path_join("static", self.release)
        by_file = {chapter.file: slug for slug, chapter in self.chapters.items()}
        page = {
            "chapters": self.chapters,
            "template_paths": self.template_paths,
            "config": self.config,
            "voila_configuration": self.voila_configuration,
        }
        routes: list[tuple] = [
            (rf"api/kernels/{_KERNEL}", KernelHandler),
            (rf"api/kernels/{_KERNEL}/channels", ChannelsHandler),
            (rf"leave/{_KERNEL}", LeaveHandler),
            (rf"voila/api/shutdown/{_KERNEL}", StockLeaveHandler),
            (rf"{static}/own/(.*)", AssetHandler, {"folder": own}),
            (rf"{static}/voila/(.*)", AssetHandler, {"folder": voila_static}),
            (rf"{static}/extensions/(.*)", AssetHandler, {"folder": extensions}),
            (rf"{static}/themes/(.*)", AssetHandler, {"folder": themes}),
            (r"voila/render/(.*)", ToChapter, {"by_file": by_file}),
            (r"voila/tree(.*)", ToIndex),
            (r"([a-z0-9-]*)", PageHandler, page),
        ]
        return [(self.addresses(route), *rest) for route, *rest in routes]

    @staticmethod
    def _log_request(handler: tornado.web.RequestHandler) -> None:
        status = handler.get_status()
        level = logging.INFO if status < 500 else logging.ERROR
        log.log(level, "%d %s %s", status, handler.request.method, handler.request.path)

    async def main(self, sockets: list[socket.socket], announce: str, open_browser: bool) -> None:
        """Serve until told to stop."""
        stop = asyncio.Event()
        _stop_on_signals(stop)
        self.app = tornado.web.Application(**self.init_settings())
        self.app.add_handlers(".*$", self.init_handlers())
        server = HTTPServer(
            self.app,
            xheaders=True,
            max_body_size=64 * 1024,
            max_buffer_size=MESSAGE_LIMIT + 2**20,
            idle_connection_timeout=120,
            body_timeout=10,
        )
        server.add_sockets(sockets)
        manager = self.kernel_manager
        sweep = PeriodicCallback(lambda: self.seats.sweep(manager.process_alive, manager.free), 3000)
        sweep.start()
        print(f"piezolab is ready: {announce}", flush=True)
        if open_browser:
            _open_browser(announce)
        await stop.wait()
        sweep.stop()
        server.stop()
        for kernel_id in list(manager.list_kernel_ids()):
            await manager.free(kernel_id)
        await server.close_all_connections()


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
    last = port if port == 0 else min(port + _PORTS_TRIED, 65535)
    for candidate in range(port, last + 1):
        try:
            sockets = bind_sockets(candidate, host)
        except socket.gaierror:
            raise ServingError(f"host: {host!r} is no address of this computer") from None
        except OverflowError:
            raise ServingError(f"port: {port} is not between 0 and 65535") from None
        except OSError as problem:
            if isinstance(problem, PermissionError):
                raise ServingError(f"port: this user may not listen on {candidate}; try 8350") from None
            if problem.errno is not None and _busy(problem):
                continue
            raise ServingError(f"host: cannot listen on {host!r}: {problem.strerror}") from None
        chosen = sockets[0].getsockname()[1]
        if port and chosen != port:
            print(f"Port {port} is busy; using {chosen} instead.", flush=True)
        return sockets, chosen
    raise ServingError(f"port: none free from {port} to {last}")


def _busy(problem: OSError) -> bool:
    import errno

    return problem.errno in (errno.EADDRINUSE, getattr(errno, "WSAEADDRINUSE", errno.EADDRINUSE))


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


def _configuration(connections: Path) -> Config:
    return Config(
        {
            "VoilaConfiguration": {
                "template": "lab",
                "allow_template_override": "NO",
                "allow_theme_override": "NO",
                "show_tracebacks": False,
                "strip_sources": True,
                "preheat_kernel": False,
                "progressive_rendering": False,
                "file_allowlist": [],
                "extension_allowlist": EXTENSIONS,
                "multi_kernel_manager_class": SeatedKernelManager,
                "kernel_spec_manager_class": OwnKernelSpecs,
                "prelaunch_hook": prepare_notebook,
            },
            "VoilaExecutor": {
                "cell_error_instruction": "The chain is kept in the address: load the page again.",
                "cell_timeout_instruction": "The chain is kept in the address: load the page again.",
                "timeout": 120,
            },
            # A kernel that was restarted would have forgotten its page: better to say that it is gone.
            "KernelManager": {"autorestart": False, "transport": transport_for(connections)},
            "MappingKernelManager": {"buffer_offline_messages": True},
        }
    )


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
    folder = Path(notebooks).resolve() if notebooks else notebooks_dir().resolve()
    pages = _pages(folder)
    sockets, chosen = _listen(host, port)
    shown = "127.0.0.1" if host in ("", "0.0.0.0") else f"[{host}]" if ":" in host else host
    announce = (public_address.rstrip("/") if public_address else f"http://{shown}:{chosen}") + base
    connections = Path(tempfile.mkdtemp(prefix="pz-", dir=_short_folder()))
    os.chmod(connections, 0o700)
    # No history, start-up files or settings of this user's own Python shell in a visitor's kernel.
    os.environ["IPYTHONDIR"] = str(connections / "ipython")
    try:
        server = Server(config=_configuration(connections), log_level=logging.INFO if verbose else logging.ERROR)
        server.initialize([])
        server.root_dir = str(folder)
        server.base_url = base
        server.port = chosen
        server.ip = host
        server.connection_dir = str(connections)
        server.chapters = pages
        server.seats = Seats(seats)
        server.release = _release()
        server.voila_configuration.page_config_hook = server.page_config
        asyncio.run(server.main(sockets, announce, open_browser))
    finally:
        shutil.rmtree(connections, ignore_errors=True)


def _short_folder() -> str | None:
    """Where temporary folders' names are short enough for unix sockets, or None for the usual place."""
    usual = Path(tempfile.gettempdir())
    if transport_for(usual / "pz-12345678") == "ipc" or sys.platform == "win32":
        return None
    return "/tmp" if os.access("/tmp", os.W_OK) else None
