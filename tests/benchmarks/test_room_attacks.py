"""What neighbours notice of an attack: their sliders' answers with it and without, in turn, and what it took.

PIEZOLAB_ATTACK_S is how long each part lasts, seconds.
"""

import asyncio
import os
import shutil
import statistics
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from piezolab.location import notebooks_dir
from tests.benchmarks.attacks import ATTACKS, EATER, EATERS_PAGE
from tests.benchmarks.test_room_load import CHAPTER, Client, chapters_move, load, memory_mb, percentile
from tests.serving.conftest import write_notebook
from tests.serving.live import LiveServer

SECONDS = float(os.environ.get("PIEZOLAB_ATTACK_S", "12"))
NEIGHBOURS = 6
#: Seconds that an attack has gone on before it is measured.
SETTLE_S = 4.0
#: The 95th percentile of the neighbours' sliders may be so many times what it is alone; who brings recordings does
#: nothing wrong (28 November 2026, PIEZOLAB_ATTACK_S=45, other work beside it: 1.26, 87 to 110 ms, three takes).
MOST, MOST_BESIDE_TAKES = 2.0, 1.5

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LiveServer]:
    """A room on the shipped chapters, and one page that no chapter would be: it eats memory."""
    folder: Path = tmp_path_factory.mktemp("attacked") / "notebooks"
    shutil.copytree(notebooks_dir(), folder)
    write_notebook(folder / f"99-{EATERS_PAGE}.ipynb", "# Is it hungry?", EATER)
    server = LiveServer(folder, warm=True, room=True, host="127.0.0.1", seats=NEIGHBOURS + 14)
    yield server
    server.stop()


class Neighbours:
    """Honest visitors who move their sliders, in a thread of their own."""

    def __init__(self, url: str) -> None:
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, daemon=True)
        self._thread.start()
        self.clients = [Client(url, CHAPTER) for _ in range(NEIGHBOURS)]
        self._all(lambda client: client.arrive())

    def _all(self, what) -> None:
        async def together() -> None:
            await asyncio.gather(*map(what, self.clients))

        asyncio.run_coroutine_threadsafe(together(), self._loop).result(SECONDS + 300)

    def moves(self) -> list[float]:
        """Seconds until each move of the next while was answered."""
        for client in self.clients:
            client.moves.clear()
        self._all(lambda client: client.move(SECONDS, chapters_move))
        return [move for client in self.clients for move in client.moves]

    def leave(self) -> None:
        self._all(lambda client: client.leave())
        self._loop.call_soon_threadsafe(self._loop.stop)


@pytest.fixture(scope="module")
def neighbours(room: LiveServer) -> Iterator[Neighbours]:
    them = Neighbours(room.url)
    them.moves()  # what is done once is done
    yield them
    them.leave()


@pytest.mark.parametrize("name", ATTACKS)
def test_neighbours_hardly_notice(name: str, room: LiveServer, neighbours: Neighbours, report) -> None:
    assert room.kernels_become(NEIGHBOURS, 60)
    alone = neighbours.moves()
    before, lines, most = memory_mb(room), len(room.lines), 0.0
    command = [sys.executable, "-m", "tests.benchmarks.attacks", room.url, name, str(SECONDS + SETTLE_S)]
    attack = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert attack.stdout.readline() == "begun\n"
    time.sleep(SETTLE_S)
    with ThreadPoolExecutor(1) as pool:
        attacked = pool.submit(neighbours.moves)
        while not attacked.done():
            most = max(most, memory_mb(room))
            time.sleep(1)
    count = attack.communicate(timeout=120)[0].strip()
    during = attacked.result()
    assert room.kernels_become(NEIGHBOURS, 120)  # the attack's pages still end after it: that is no rest
    time.sleep(SETTLE_S)
    alone += neighbours.moves()
    ratio = percentile(during, 0.95) / percentile(alone, 0.95)
    report(
        f"{name}: {ATTACKS[name].__doc__.splitlines()[0]} ({load()})",
        {
            "neighbours' slider alone": _told(alone),
            "during the attack": f"{_told(during)}, ratio {ratio:.2f}",
            "the attack did": count,
            "memory": f"{before:.0f} MB, at most {most:.0f} MB",
            "lines in the log": f"{len(room.lines) - lines}",
        },
    )
    assert not [error for client in neighbours.clients for error in client.errors]
    assert int(count) > 0 and len(room.lines) - lines < 40
    assert ratio < (MOST_BESIDE_TAKES if name == "bringing" else MOST)
    assert most < before + 3 * 600  # three pages, as large as they may be


def _told(moves: list[float]) -> str:
    middle, most = 1000 * statistics.median(moves), 1000 * percentile(moves, 0.95)
    return f"median {middle:.0f} ms, 95th percentile {most:.0f} ms, {len(moves)} moves"
