"""Rooms for tests: a server with seats, a line and a warm process, and guests who come as a browser does."""

import random
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import psutil
import pytest
import requests

from tests.serving.conftest import write_notebook
from tests.serving.live import LiveServer
from tests.serving.visitor import Visitor

_INSIDE = """
import json, os, random, resource, signal
import numpy as np
from IPython.display import display

def outcome(megabytes):
    try:
        return len(np.empty(megabytes * 2**20, dtype=np.uint8)) // 2**20
    except MemoryError:
        return "MemoryError"

inside = {
    "data": resource.getrlimit(resource.RLIMIT_DATA), "nice": os.getpriority(os.PRIO_PROCESS, 0),
    "taken": [outcome(50), outcome(600), outcome(50)], "arenas": os.environ.get("MALLOC_ARENA_MAX"),
    "pid": os.getpid(), "parent": os.getppid(), "session": os.getsid(0), "group": os.getpgid(0),
    "query": os.environ.get("QUERY_STRING"), "cwd": os.getcwd(),
    "secrets": [name for name in os.environ if "TOKEN" in name or "SECRET" in name],
    "files": sorted(os.readlink(f"/proc/self/fd/{n}") for n in os.listdir("/proc/self/fd")
                    if os.path.exists(f"/proc/self/fd/{n}")),
    "random": [random.random(), float(np.random.rand()), float(np.random.default_rng().random())],
    "signals": [str(signal.getsignal(n)) for n in (signal.SIGTERM, signal.SIGCHLD)],
    "blocked": [str(n) for n in signal.pthread_sigmask(signal.SIG_BLOCK, ())],
}
print("said to standard output")
display({"text/plain": "INSIDE" + json.dumps(inside) + "ENDS"}, raw=True)
"""

_SLIDER = """
import ipywidgets as widgets
slider = widgets.FloatSlider(value=1, description="a slider")
label = widgets.Label("1.0")
slider.observe(lambda change: setattr(label, "value", str(change["new"])), "value")
widgets.VBox([slider, label])
"""

_LARGE = """
import asyncio, time
import numpy as np
much = np.ones(25 * 2**20)

def work():
    end = time.monotonic() + 5
    while time.monotonic() < end:
        pass

later = asyncio.get_running_loop().call_later(1, work)
"""


@pytest.fixture(scope="session")
def room_notebooks(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Small chapters: one tells what its kernel is like inside, one has a slider, one is empty, one takes
    200 MB and never rests for five seconds."""
    folder = tmp_path_factory.mktemp("room") / "notebooks"
    folder.mkdir()
    write_notebook(folder / "index.ipynb", "# All questions")
    write_notebook(folder / "01-what-is-inside.ipynb", "# What is inside?", _INSIDE)
    write_notebook(folder / "02-does-it-slide.ipynb", "# Does it slide?", _SLIDER)
    write_notebook(folder / "03-is-it-empty.ipynb", "# Is it empty?")
    write_notebook(folder / "04-is-it-large.ipynb", "# Is it large?", _LARGE)
    return folder


def open_room(folder: Path | None, **options) -> LiveServer:
    """A room on this computer only."""
    patience = options.pop("patience", {})
    return LiveServer(folder, patience, **{"room": True, "host": "127.0.0.1", **options})


@pytest.fixture(scope="session")
def room(room_notebooks: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[LiveServer]:
    """One cold room with three seats and a lesson; lost pages and slow requests are given up within seconds.

    Its memory is as full as its `memory` file says, in hundredths."""
    memory = tmp_path_factory.mktemp("memory") / "full"
    memory.write_text("30")
    patience = {"unopened_s": 3.0, "lost_s": 3.0, "body_s": 3.0, "memory_file": str(memory)}
    server = open_room(room_notebooks, seats=3, lesson="find-the-hum", patience=patience)
    server.memory = memory
    yield server
    server.stop()


@pytest.fixture(scope="module")
def warm_room(room_notebooks: Path) -> Iterator[LiveServer]:
    """One room whose kernels are forked."""
    server = open_room(room_notebooks, warm=True, seats=8, patience={"unopened_s": 3.0, "lost_s": 3.0})
    yield server
    server.stop()


class Guest(Visitor):
    """Comes through the door as a browser does: fetches its cookie, asks for a place, opens the page."""

    def __init__(self, server: LiveServer) -> None:
        super().__init__(server)
        self.lines: dict = {}

    def place(self) -> dict:
        """What the server says about this guest's place."""
        return self.http.get(self.server.url + "room/place", timeout=60).json()

    def knock(self, slug: str = "is-it-empty") -> requests.Response:
        """One request for a page."""
        return self.http.get(self.server.url + slug, timeout=60)

    def come_in(self, slug: str = "is-it-empty", seconds: float = 60) -> str:
        """Come in, waiting in the line if need be, and connect to the page's kernel; its id."""
        end = time.monotonic() + seconds
        if not self.http.cookies:
            self.knock(slug)
        while time.monotonic() < end:
            if self.place()["enter"]:
                return self.sit_down(slug)
            time.sleep(0.2)
        raise TimeoutError("no seat came free")

    def sit_down(self, slug: str = "is-it-empty") -> str:
        """Open a page and connect to its kernel; its id."""
        kernel = self.open(slug)
        self.lines[kernel] = self.channel(kernel)
        return kernel

    def solved(self, content, **options) -> requests.Response:
        """Report a solved task."""
        return self.http.post(self.server.url + "room/solved", json=content, timeout=60, **options)


class Abandoned:
    """Loads of a page that nobody waits for: crawlers, link previews, browsers closed at once."""

    def __init__(self, server: LiveServer, seed: int) -> None:
        self.server, self._chance = server, random.Random(seed)
        self.codes: Counter[int] = Counter()
        self.most_kernels, self.without_sentence = 0, 0
        self._stubborn = Guest(server)
        self._stubborn.knock()

    def load(self) -> None:
        """One load: a stranger's; one dropped before the page has come; one read and never opened; or many at once."""
        kind = self._chance.choices(("stranger", "dropped", "read", "many"), (80, 8, 8, 4))[0]
        if kind == "many":
            with ThreadPoolExecutor(6) as together:
                list(together.map(lambda _: self._one(self._stubborn, True), range(6)))
            return
        guest = Guest(self.server)
        if kind != "stranger":
            guest.knock()
        self._one(guest, kind == "dropped")

    def _one(self, guest: Guest, dropped: bool) -> None:
        with guest.http.get(self.server.url + "is-it-empty?pickup_c=4n7", stream=True, timeout=60) as page:
            self.codes[page.status_code] += 1
            if page.status_code != 200:
                self.without_sentence += "That was a lot at once." not in page.text
            elif not dropped:
                assert "</html>" in page.text
        self.most_kernels = max(self.most_kernels, len(self.server.kernels()))

    def left(self) -> dict[str, float]:
        """What the server holds: memory of its own and of the warm process, files and sockets, kernels' files.

        Resident memory: what is the warm process's alone falls by half while a forked kernel that has not quite ended
        shares it, and a start measured then looks like a leak."""
        root = psutil.Process(self.server.process.pid)
        warm = self.server.warm()
        folder = Path(next(each.path for each in root.open_files() if Path(each.path).name == "alive")).parent
        return {
            "MB": sum(each.memory_info().rss for each in (root, *([warm] if warm else []))) / 2**20,
            "handles": root.num_fds() + (warm.num_fds() if warm else 0),
            "files": len([path for path in folder.rglob("*") if path.name.startswith("kernel-")]),
        }
