"""The server itself: a standalone Voila whose routes, headers and kernels are ours.

Standalone, and no extension of a notebook server: only the standalone one filters what a visitor's browser may send to
a kernel.
"""

import asyncio
import hashlib
import logging
import os
from collections.abc import Container
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jupyter_core.paths import jupyter_path
from jupyter_server.utils import url_path_join
from tornado.httputil import HTTPServerRequest
from tornado.web import Application, RequestHandler
from traitlets import default
from traitlets.config import Config
from voila.app import Voila

from .. import faces
from ..chapters import ChapterFile
from . import room_pages as own
from .addresses import host_of
from .assets import AssetFolder, AssetHandler, face_links
from .channels import PING_MS, ChannelsHandler, KernelHandler, Traffic
from .compiled import CompiledOnce
from .error_pages import NotFound, WrongHost
from .headers import SecurityHeaders
from .kernels import Anyone, OwnKernelSpecs, PromptClient, SeatedKernelManager, transport_for
from .pages import LeaveHandler, PageHandler, StockLeaveHandler, ToChapter, ToIndex, prepare_notebook
from .record import SHOWN, plain
from .room import Room
from .room_sheet import RoomSheetHandler
from .seats import Seats
from .teacher_pages import ROUTES as TEACHERS_ROUTES

if TYPE_CHECKING:
    from .hub.member import Member

log = logging.getLogger("piezolab.serving")

_HERE = Path(__file__).resolve().parent
_TEMPLATE = _HERE / "template"
_PLOT = _HERE.parent / "pages" / "kit" / "static"
#: The plots' drawing library.
LIBRARY_NAME = next(_PLOT.glob("plotly-*.min.js")).name
_KERNEL = r"(?P<kernel_id>\w+-\w+-\w+-\w+-\w+)"

#: Front-end extensions that a page loads; any others that happen to be installed only cost time.
EXTENSIONS = ["@jupyter-widgets/jupyterlab-manager", "@voila-dashboards/widgets-manager8", "anywidget"]

#: Longest websocket message, bytes: what is larger comes in slices. Beyond it the connection closes.
MESSAGE_LIMIT = 2**20

#: Pages that are made at the same time; the next ones wait, so that the first are ready soon.
AT_ONCE = 2 * (os.cpu_count() or 1) + 1


def _release() -> str:
    """Changes whenever a static file may have changed: the versions of all that bring some, and our own files."""
    digest = hashlib.sha256()
    for name in ("voila", "anywidget", "ipywidgets", "jupyterlab_widgets"):
        digest.update(f"{name} {metadata.version(name)}\n".encode())
    for path in sorted(path for root in (_TEMPLATE, _PLOT, faces.FOLDER) for path in root.rglob("*") if path.is_file()):
        digest.update(path.name.encode() + path.read_bytes())
    return digest.hexdigest()[:12]


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
                # Seconds between signs of life while a cell runs long.
                "http_keep_alive_timeout": 5,
            },
            "Voila": {"identity_provider_class": Anyone},
            "VoilaExporter": {"preprocessors": [CompiledOnce]},
            "VoilaExecutor": {
                "cell_error_instruction": "The chain is kept in the address: load the page again.",
                "cell_timeout_instruction": "The chain is kept in the address: load the page again.",
                "timeout": 120,
            },
            # No trust database in the user's home: nothing here is trusted or saved.
            "NotebookNotary": {"db_file": ":memory:"},
            # A kernel that was restarted would have forgotten its page: better to say that it is gone.
            "KernelManager": {
                "autorestart": False,
                "transport": transport_for(connections),
                "client_factory": PromptClient,
            },
        }
    )


class OneHost(Application):
    """Answers, on every route and none, only those who call this computer by a name of its own."""

    def find_handler(self, request: HTTPServerRequest, **kwargs: Any) -> Any:
        names = self.settings["names"]
        if names is not None and host_of(request.host) not in names:
            return self.get_handler_delegate(request, WrongHost)
        return super().find_handler(request, **kwargs)


class Server(Voila):
    """Voila without its own routes, its reading of the user's configuration files, and its start-up.

    Parameters
    ----------
    folder : path
        The notebooks.
    pages : dict
        Address word -> chapter; the start page's word is empty.
    connections : path
        Folder for the kernels' connection files, readable by this user only.
    base_url : str
        Path before every page, with a slash at both ends.
    port : int
        Port that is listened on; names the visitors' cookie, since cookies do not tell ports apart.
    names : Container of str, or None
        What requests may call this computer; None is anything. A page of another site that had its own name pointed
        here comes under another one, whichever address it asks for.
    public_address : str or None
        Address under which visitors come, if it is another.
    behind_proxy : bool
        Whether a forwarded address and protocol are believed, as they are behind a hub.
    seats : Seats
        Who may sit where.
    room : Room or None
        The room that is served, if it is one.
    member : Member or None
        Whose server it is, behind a hub: it is asked about every page.
    """

    config_file_paths: list[str] = []

    def __init__(
        self,
        *,
        folder: Path,
        pages: dict[str, ChapterFile],
        connections: Path,
        base_url: str,
        port: int,
        names: Container[str] | None,
        public_address: str | None,
        behind_proxy: bool,
        seats: Seats,
        room: Room | None = None,
        member: "Member | None" = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(config=_configuration(connections), **kwargs)
        self.initialize([])
        self.root_dir = str(folder)
        self.base_url = base_url
        self.port = port
        self.connection_dir = str(connections)
        self.pages = pages
        self.seats = seats
        self.room = room
        self.member = member
        self.release = _release()
        self._names = names
        self.behind_proxy = behind_proxy or member is not None
        #: Whether visitors may come through something that speaks for them.
        self.one_speaks_for_all = self.behind_proxy or public_address is not None
        self.voila_configuration.page_config_hook = self.page_config

    @default("log")
    def _log_default(self) -> logging.Logger:
        """Beside our own, not with handlers of its own: every record is written one way (`record`)."""
        return logging.getLogger("voila")

    def _configure_logging(self) -> None:
        logging.getLogger("voila").setLevel(self.log_level)

    def application(self) -> Application:
        """The web application; needs a running event loop."""
        self.app = OneHost(**self.init_settings())
        self.app.add_handlers(".*$", self.init_handlers())
        return self.app

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
        page_config["fullMathjaxUrl"] = self.addresses("static", self.release, "own", "maths.js")
        page_config["mathjaxConfig"] = "own"
        page_config["piezolabStatic"] = self.addresses("static", self.release)
        page_config["piezolabFaces"] = face_links(self.addresses("static", self.release))
        page_config["piezolabPlotly"] = LIBRARY_NAME
        page_config["piezolabRoom"] = self.room is not None
        page_config["piezolabIdleSeconds"] = self.seats.idle_s
        return page_config

    def init_settings(self) -> dict[str, Any]:
        settings = super().init_settings()
        settings.update(
            seats=self.seats,
            room=self.room,
            member=self.member,
            traffic=Traffic(),
            static=self.addresses("static", self.release),
            large_files=(f"own/{LIBRARY_NAME}", "voila/voila.js"),
            pages_at_once=asyncio.Semaphore(AT_ONCE),
            # Jupyter's own check knows some of the routes only; ours is the application's.
            allow_remote_access=True,
            names=self._names,
            transforms=[SecurityHeaders],
            default_handler_class=NotFound,
            visitor_cookie=f"seat-{self.port}",
            websocket_max_message_size=MESSAGE_LIMIT,
            ws_ping_interval=PING_MS,
            ws_ping_timeout=PING_MS,
            # Messages are small and local: compressing them costs more time than it saves.
            websocket_compression_options=None,
            log_function=self._log_request,
        )
        self.kernel_manager.seats = self.seats
        return settings

    def init_handlers(self) -> list:
        voila_static = AssetFolder(*map(Path, self.static_paths))
        extensions = AssetFolder(*map(Path, self.labextensions_path))
        own = AssetFolder(_TEMPLATE, _PLOT, faces.FOLDER)
        themes = AssetFolder(*(Path(p) / "nbconvert/templates/lab/static" for p in jupyter_path()))
        static = url_path_join("static", self.release)
        by_file = {chapter.file: slug for slug, chapter in self.pages.items()}
        page = {
            "chapters": self.pages,
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
            *(self.member.routes() if self.member else ()),
            *self._room_routes(),
            (r"([a-z0-9-]*)", PageHandler, page),
        ]
        return [(self.addresses(route), *rest) for route, *rest in routes]

    def _room_routes(self) -> list[tuple]:
        room = {"room": self.room}
        sheet = (r"room-sheet", RoomSheetHandler, room)
        if self.room is None:
            return [sheet]
        return [
            sheet,
            (r"room/place", own.PlaceHandler, room),
            (rf"room/here/{_KERNEL}", own.HereHandler, room),
            (r"room/solved", own.SolvedHandler, room),
            (r"projector", own.ProjectorHandler, room),
            (r"projector/state", own.ProjectorStateHandler, room),
            *((route, handler, room) for route, handler in TEACHERS_ROUTES.items()),
        ]

    @staticmethod
    def _log_request(handler: RequestHandler) -> None:
        status = handler.get_status()
        # That all seats are taken is no error, and is said to everybody who waits.
        level = logging.INFO if status < 500 or status == 503 else logging.ERROR
        asked = plain(f"{handler.request.method} {handler.request.path}", SHOWN)
        log.log(level, "%d %s", status, asked)
