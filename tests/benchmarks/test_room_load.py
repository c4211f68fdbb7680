"""A room at work: thirty who come together, sixty at thirty seats, sliders that move, and what each seat costs.

Everything stays on this computer. Visitors are clients that speak the pages' protocol, beside two real browsers.
PIEZOLAB_LOAD_S is how long sliders move, seconds (300 for the full measurement); PIEZOLAB_LOAD_VISITORS how many come.
"""

import asyncio
import contextlib
import json
import os
import random
import re
import statistics
import subprocess
import sys
import time
import urllib.request
import uuid
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

import psutil
import pytest
from playwright.sync_api import TimeoutError as PlaywrightTimeout
from tornado.httpclient import AsyncHTTPClient, HTTPClientError, HTTPRequest
from tornado.websocket import websocket_connect

from tests.serving.conftest import write_notebook
from tests.serving.live import LiveServer

VISITORS = int(os.environ.get("PIEZOLAB_LOAD_VISITORS", "30"))
MOVING_S = float(os.environ.get("PIEZOLAB_LOAD_S", "40"))
CHAPTER = "where-does-the-bass-go"
CONTROL = "pickup_c"

pytestmark = [pytest.mark.slow, pytest.mark.browser]


def header(kind: str, session: str) -> dict:
    return {"msg_id": uuid.uuid4().hex, "msg_type": kind, "username": "", "session": session, "version": "5.3"}


@dataclass
class Client:
    """One visitor who speaks the pages' protocol as the front end does."""

    url: str
    slug: str
    door: bool = True
    cookies: dict[str, str] = field(default_factory=dict)
    errors: list[str] = field(default_factory=list)
    moves: list[float] = field(default_factory=list)
    waited: bool = False
    ready_s: float = 0.0
    states: dict[str, dict] = field(default_factory=dict)

    async def get(self, path: str, method: str = "GET") -> tuple[int, str]:
        request = HTTPRequest(
            self.url + path,
            method=method,
            body="" if method == "POST" else None,
            headers={"Cookie": "; ".join(f"{k}={v}" for k, v in self.cookies.items())},
            request_timeout=180,
            connect_timeout=60,
        )
        try:
            answer = await AsyncHTTPClient().fetch(request, raise_error=False)
        except (HTTPClientError, OSError) as problem:
            self.errors.append(f"{path}: {problem}")
            return 0, ""
        for line in answer.headers.get_list("Set-Cookie"):
            name, _, value = line.split(";")[0].partition("=")
            self.cookies[name] = value
        return answer.code, answer.body.decode("utf-8", "replace")

    async def arrive(self) -> None:
        """Come in and wait until the page is ready: every widget's state has arrived."""
        begun = time.perf_counter()
        code, page = await self.get(self.slug)
        while self.door and code == 200 and '"kernelId"' not in page:
            code, place = await self.get("room/place")
            if code != 200:
                break
            if json.loads(place).get("enter"):
                code, page = await self.get(self.slug)
            else:
                self.waited = True
                await asyncio.sleep(2.5)
        found = re.search(r'"kernelId": "([\w-]+)"', page)
        if code != 200 or not found:
            self.errors.append(f"page: {code}")
            return
        self.kernel = found[1]
        self.session = uuid.uuid4().hex
        await self.connect()
        await self.ask_states()
        self.ready_s = time.perf_counter() - begun
        for panel in (key for key, state in self.states.items() if state.get("groups")):
            await self.say("comm_msg", custom(panel, word="ready"))  # drawn: what is worked out at rest begins

    async def connect(self) -> None:
        address = urlsplit(self.url)
        self.line = await websocket_connect(
            HTTPRequest(
                f"ws://{address.netloc}{address.path}api/kernels/{self.kernel}/channels?session_id={self.session}",
                headers={
                    "Cookie": "; ".join(f"{k}={v}" for k, v in self.cookies.items()),
                    "Origin": f"http://{address.netloc}",
                },
            ),
            max_message_size=64 * 2**20,
        )

    async def say(self, kind: str, content: dict, piece: bytes = b"", **metadata: str) -> str:
        """Send a message, with a piece of a file if there is one; its id."""
        about = header(kind, self.session)
        message = {"header": about, "parent_header": {}, "metadata": metadata, "content": content, "channel": "shell"}
        text = json.dumps({**message, "buffers": []})
        if piece:
            starts = (12, 12 + len(text.encode()))
            counts = b"".join(number.to_bytes(4, "big") for number in (2, *starts))
            await self.line.write_message(counts + text.encode() + piece, binary=True)
        else:
            await self.line.write_message(text)
        return about["msg_id"]

    async def hear(self) -> dict:
        """The kernel's next message, binary ones only by their JSON part; the room's own words are passed over. Raises
        TimeoutError after a minute of silence."""
        while "header" not in (message := await self._next()):
            pass
        return message

    async def _next(self) -> dict:
        text = await asyncio.wait_for(self.line.read_message(), 60)
        if text is None:
            raise ConnectionError(f"closed: {self.line.close_code}")
        if isinstance(text, bytes):
            count = int.from_bytes(text[:4], "big")
            offsets = [int.from_bytes(text[4 + 4 * n : 8 + 4 * n], "big") for n in range(count)]
            text = text[offsets[0] : offsets[1] if count > 1 else len(text)]
        return json.loads(text)

    async def ask_states(self) -> None:
        """Ask for all widgets at once, as the front end does, until they have come."""
        comm = uuid.uuid4().hex
        opening = {"comm_id": comm, "target_name": "jupyter.widget.control", "data": {}}
        await self.say("comm_open", opening, version="1.0.0")
        await self.say("comm_msg", {"comm_id": comm, "data": {"method": "request_states"}})
        end = time.perf_counter() + 60
        while time.perf_counter() < end:
            message = await self.hear()
            data = message.get("content", {}).get("data", {})
            if message["header"]["msg_type"] == "comm_msg" and data.get("method") == "update_states":
                self.states = {key: about["state"] for key, about in data["states"].items()}
                return
        self.errors.append("no states")

    async def idle_of(self, parent: str) -> int:
        """Wait until a message has been dealt with; how many updates it brought."""
        updates = 0
        while True:
            message = await self.hear()
            if message.get("parent_header", {}).get("msg_id") != parent:
                continue
            kind = message["header"]["msg_type"]
            if kind == "error":
                self.errors.append("an error in the kernel")
            updates += kind == "comm_msg"
            if kind == "status" and message["content"]["execution_state"] == "idle":
                return updates

    async def move(self, seconds: float, payload) -> None:
        """Move a slider about twice a second, as somebody does who looks at what happens."""
        chance = random.Random(self.kernel)
        end = time.perf_counter() + seconds
        step = 0
        while time.perf_counter() < end:
            await asyncio.sleep(chance.uniform(0.3, 0.7))
            comm, content = payload(self.states, step)
            step += 1
            begun = time.perf_counter()
            updates = await self.idle_of(await self.say("comm_msg", {"comm_id": comm, "data": content}))
            self.moves.append(time.perf_counter() - begun)
            if not updates:
                self.errors.append("a move that moved nothing")

    async def leave(self) -> None:
        self.line.close()
        await self.get(f"leave/{self.kernel}", "POST")


def chapters_move(states: dict, step: int) -> tuple[str, dict]:
    """One step of the pickup's capacitance in our chapter, sent as its slider sends it."""
    comm = next(key for key, state in states.items() if f'"key": "{CONTROL}"' in json.dumps(state.get("groups", "")))
    content = {"word": "enter", "key": CONTROL, "text": f"{10 + step % 20}n", "live": True, "number": step}
    return comm, {"method": "custom", "content": content}


def custom(comm: str, **content) -> dict:
    """What a widget's script says to its kernel."""
    return {"comm_id": comm, "data": {"method": "custom", "content": content}}


@dataclass
class Arrivals:
    """What a load has measured."""

    clients: list[Client]
    seat_mb: float = 0.0

    @property
    def errors(self) -> list[str]:
        return [error for client in self.clients for error in client.errors]

    @property
    def ready(self) -> list[float]:
        return sorted(client.ready_s for client in self.clients)

    def ready_within(self, part: float) -> float:
        """Time within which that part of the visitors were ready."""
        return self.ready[min(int(part * len(self.clients)), len(self.clients) - 1)]


def memory_mb(server: LiveServer) -> float:
    """Memory of server, warm process and kernels: proportional share, so that what they share counts once."""
    root, found = psutil.Process(server.process.pid), 0
    for process in [root, *root.children(recursive=True)]:
        with contextlib.suppress(psutil.NoSuchProcess):  # a kernel may end meanwhile
            found += process.memory_full_info().pss
    return found / 2**20


async def come_together(url: str, slug: str, count: int, *, door: bool = True, moving_s: float = 0.0, server=None):
    """Visitors who all arrive at once, move their sliders, and leave."""
    AsyncHTTPClient.configure(None, max_clients=500)
    before = memory_mb(server) if server else 0.0
    clients = [Client(url, slug, door) for _ in range(count)]
    await asyncio.gather(*(client.arrive() for client in clients))
    found = Arrivals(clients)
    if moving_s:
        await asyncio.gather(*(client.move(moving_s, chapters_move) for client in clients))
    if server:
        found.seat_mb = (memory_mb(server) - before) / count
    await asyncio.gather(*(client.leave() for client in clients if hasattr(client, "line")))
    return found


async def come_and_go(url: str, slug: str, count: int, stay_s: float) -> Arrivals:
    """Visitors who all arrive at once, stay for a little while each, and leave."""
    AsyncHTTPClient.configure(None, max_clients=500)
    clients = [Client(url, slug) for _ in range(count)]

    async def visit(client: Client) -> None:
        await client.arrive()
        await client.move(stay_s, chapters_move)
        await client.leave()

    await asyncio.gather(*map(visit, clients))
    return Arrivals(clients)


def load() -> str:
    return f"load of the machine {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors"


def percentile(values: list[float], part: float) -> float:
    return sorted(values)[min(int(part * len(values)), len(values) - 1)]


@pytest.fixture(scope="module")
def room() -> Iterator[LiveServer]:
    """A room of thirty seats on the shipped chapters."""
    server = LiveServer(warm=True, room=True, host="127.0.0.1", seats=VISITORS + 2)
    yield server
    server.stop()


@contextlib.contextmanager
def stock_server(folder: Path) -> Iterator[str]:
    """Voila as it comes, with an empty page; its address."""
    write_notebook(folder / "empty.ipynb", "# Empty")
    process = subprocess.Popen(
        [sys.executable, "-m", "voila", "--no-browser", "--port=0", "--Voila.ip=127.0.0.1", str(folder)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    about = psutil.Process(process.pid)
    port, end = 0, time.monotonic() + 30
    while not port and time.monotonic() < end:
        time.sleep(0.1)
        port = next((c.laddr.port for c in about.net_connections("inet") if c.status == "LISTEN"), 0)
    while time.monotonic() < end:
        try:
            urllib.request.urlopen(f"http://127.0.0.1:{port}/voila/tree", timeout=20).read()
            break
        except OSError:
            time.sleep(0.2)
    try:
        yield f"http://127.0.0.1:{port}/"
    finally:
        process.terminate()
        process.wait(30)


@pytest.fixture(scope="module")
def stock(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with stock_server(tmp_path_factory.mktemp("empty")) as address:
        yield address


def empty_together(pool: ThreadPoolExecutor, browser, folder: Path) -> tuple[list[float], list[float]]:
    """Seconds until an empty stock page answers each client, and until two real browsers beside them show it."""
    for _ in range(3):
        # A stock server that thirty ask at once answers some of them never, now and then: it is started anew.
        with stock_server(folder) as address, contextlib.suppress(TimeoutError, PlaywrightTimeout):
            coming = pool.submit(empty_pages, address, VISITORS)
            pages, shown = browsers_ready(browser, address + "voila/render/empty.ipynb", "h1")
            empty = coming.result(300)
            for page in pages:
                page.context.close()
            return empty, shown
    raise AssertionError("the stock server answered thirty visitors in none of three tries")


def empty_pages(url: str, count: int) -> list[float]:
    """Seconds until each of that many visitors of an empty stock page has it and its kernel answers."""

    async def one() -> float:
        client = Client(url, "voila/render/empty.ipynb", door=False)
        begun = time.perf_counter()
        code, page = await client.get(client.slug)
        if not code:
            raise TimeoutError(*client.errors)
        found = re.search(r'"kernelId": "([\w-]+)"', page)
        assert found, f"stock page: {code} {client.errors} {page[-300:]}"
        client.kernel, client.session = found[1], uuid.uuid4().hex
        await client.connect()
        await client.idle_of(await client.say("kernel_info_request", {}))
        taken = time.perf_counter() - begun
        client.line.close()
        await client.get(f"voila/api/shutdown/{client.kernel}", "POST")
        return taken

    async def all_of_them() -> list[float]:
        AsyncHTTPClient.configure(None, max_clients=500)
        return list(await asyncio.gather(*(one() for _ in range(count))))

    return asyncio.run(all_of_them())


def browsers_ready(browser, address: str, selector: str, count: int = 2) -> tuple[list, list[float]]:
    """Real browsers that come in; their pages, and the time until what the selector names is there."""
    pages, taken = [], []
    for _ in range(count):
        page = browser.new_context(viewport={"width": 390, "height": 844}).new_page()
        begun = time.perf_counter()
        page.goto(address, wait_until="commit", timeout=120_000)
        pages.append((page, begun))
    for page, begun in pages:
        page.wait_for_selector(selector, timeout=120_000)
        taken.append(time.perf_counter() - begun)
    return [page for page, _ in pages], taken


def test_thirty_come_together_and_work(browser, room, stock, tmp_path, report):
    assert room.kernels_become(0, 30)
    # Clients in a thread of their own: the browsers' driver keeps a loop running in this one.
    with ThreadPoolExecutor(1) as pool:
        alone = pool.submit(empty_pages, stock, 1).result(120)[0]
        # Two real browsers beside the clients on either side: what they draw takes of the same processors.
        empty, shown = empty_together(pool, browser, tmp_path)
        before = load()
        job = come_together(room.url, CHAPTER, VISITORS, moving_s=MOVING_S, server=room)
        working = pool.submit(asyncio.run, job)
        pages, drawn = browsers_ready(browser, room.url + CHAPTER, ".piezolab-plot[data-state=drawn]")
        found = working.result(MOVING_S + 300)
    for page in pages:
        assert page.locator("#pz-gone:not([hidden])").count() == 0
        page.context.close()
    moves = [move for client in found.clients for move in client.moves]
    report(
        f"{VISITORS} visitors come together, {MOVING_S:.0f} s of moves ({before}; at the end {load()})",
        {
            "ready, 95 % within": f"{found.ready_within(0.95):.1f} s, median {statistics.median(found.ready):.1f} s",
            "empty Voila pages, 95 % within": f"{percentile(empty, 0.95):.1f} s, one alone {alone:.1f} s",
            "ratio to empty pages": f"{found.ready_within(0.95) / percentile(empty, 0.95):.2f}",
            "two browsers, curve drawn": ", ".join(f"{t:.1f} s" for t in drawn),
            "two browsers, empty page's title": ", ".join(f"{t:.1f} s" for t in shown),
            "slider": f"median {1000 * statistics.median(moves):.0f} ms, 95th percentile "
            f"{1000 * percentile(moves, 0.95):.0f} ms, {len(moves)} moves",
            "memory for each seat": f"{found.seat_mb:.0f} MB",
        },
    )
    assert found.errors == []
    # Thirty whole chapters against thirty pages with nothing on them.
    assert found.ready_within(0.95) < 1.04 * percentile(empty, 0.95)
    assert found.seat_mb < 100  # aim 60


def test_sixty_come_to_thirty_seats_and_all_are_served(room, report):
    assert room.kernels_become(0, 30)
    with ThreadPoolExecutor(1) as pool:
        found = pool.submit(asyncio.run, come_and_go(room.url, CHAPTER, 2 * VISITORS, 4.0)).result(600)
    waited = [client for client in found.clients if client.waited]
    report(
        f"{2 * VISITORS} arrivals at {VISITORS + 2} seats ({load()})",
        {
            "all served within": f"{found.ready[-1]:.1f} s, median {statistics.median(found.ready):.1f} s",
            "had to wait": f"{len(waited)}",
        },
    )
    assert found.errors == [] and len(waited) >= VISITORS - 5
    assert room.kernels_become(0, 30)


def test_ready_with_and_without_the_warm_process(report, stock):
    taken: dict[str, list[float]] = {"warm": [], "cold": [], "empty Voila page": []}
    pool = ThreadPoolExecutor(1)
    servers = {way: LiveServer(warm=way == "warm", room=True, host="127.0.0.1") for way in ("warm", "cold")}
    try:
        for _ in range(5):
            for way, server in servers.items():
                [client] = pool.submit(asyncio.run, come_together(server.url, CHAPTER, 1)).result(120).clients
                assert client.errors == []
                taken[way].append(client.ready_s)
            taken["empty Voila page"] += pool.submit(empty_pages, stock, 1).result(120)
    finally:
        pool.shutdown()
        for server in servers.values():
            server.stop()
    median = {way: statistics.median(times) for way, times in taken.items()}
    report(
        f"one visitor's page ready ({load()})",
        {way: f"{t:.2f} s, {t / median['empty Voila page']:.2f} of an empty page" for way, t in median.items()},
    )
    assert median["warm"] < 0.5 * median["cold"]
