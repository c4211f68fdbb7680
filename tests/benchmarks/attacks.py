"""What a bored visitor with a small script does to a room, and one who brings recordings:
python -m tests.benchmarks.attacks ADDRESS NAME SECONDS.

Each attack is one coroutine that says when it begins, goes on until its time is over, and gives the number of what it
did. It runs in a process of its own, which stands back: on a real network its processor is another one.
"""

import asyncio
import io
import json
import os
import random
import sys
import time
from collections.abc import Awaitable, Callable

import numpy as np
import soundfile
from tornado.httpclient import AsyncHTTPClient
from tornado.websocket import WebSocketClosedError

from piezolab.audio import RATE
from piezolab.chain.link import from_link
from piezolab.studies.recordings.invented_takes import invented_takes
from tests.benchmarks.test_room_load import CHAPTER, Client, chapters_move, custom, header

#: A page that takes all the memory it can get, again and again.
EATER = """
import asyncio
import numpy as np

kept = []

def eat():
    try:
        kept.append(np.ones(4 * 2**20))
    except MemoryError:
        kept.clear()
    asyncio.get_running_loop().call_later(0.001, eat)

later = asyncio.get_running_loop().call_later(1, eat)
"""
EATERS_PAGE = "is-it-hungry"
TAKES_PAGE = "did-it-do-what-was-predicted"


def begin(seconds: float) -> float:
    """All is set up: say so; when it has to end."""
    print("begun", flush=True)
    return time.monotonic() + seconds


async def seated(url: str, slug: str = CHAPTER, pages: int = 1) -> list[Client]:
    """One visitor with so many pages, all open."""
    first = Client(url, slug)
    await first.arrive()
    others = [Client(url, slug, cookies=first.cookies) for _ in range(pages - 1)]
    for other in others:
        await other.arrive()
    return [client for client in (first, *others) if hasattr(client, "line")]


async def hammer(client: Client, message: Callable[[int], tuple[str, dict]], end: float) -> int:
    """Messages as fast as the line takes them; a line that is closed is opened anew."""
    count = 0

    async def listen() -> None:
        while await client.line.read_message() is not None:
            pass

    listening = asyncio.create_task(listen())
    while time.monotonic() < end:
        kind, content = message(count)
        about = header(kind, client.session)
        text = {"header": about, "parent_header": {}, "metadata": {}, "content": content, "channel": "shell"}
        try:
            # A line that is not read blocks its sender, as a browser's buffer would once it is full.
            await asyncio.wait_for(client.line.write_message(json.dumps(text)), max(end - time.monotonic(), 0.01))
            count += 1
        except TimeoutError:
            break
        except (WebSocketClosedError, OSError):
            await asyncio.sleep(0.2)
            try:
                await client.connect()
            except Exception:
                continue
            listening.cancel()
            listening = asyncio.create_task(listen())
        await asyncio.sleep(0)
    listening.cancel()
    return count


async def with_pages(url: str, seconds: float, message: Callable, pages: int = 1) -> int:
    clients = await seated(url, pages=pages)
    end = begin(seconds)
    done = await asyncio.gather(*(hammer(client, lambda n, c=client: message(c, n), end) for client in clients))
    for client in clients:
        await client.leave()
    return sum(done)


async def asking(url: str, seconds: float) -> int:
    """Thirty cookies at one address ask for a place seven times a second."""
    clients, count = [Client(url, CHAPTER) for _ in range(30)], 0
    await asyncio.gather(*(client.get(CHAPTER) for client in clients))
    end = begin(seconds)
    while time.monotonic() < end:
        begun = time.monotonic()
        await asyncio.gather(*(client.get("room/place") for client in clients))
        count += len(clients)
        await asyncio.sleep(max(1 / 7 - (time.monotonic() - begun), 0))
    return count


async def large(url: str, seconds: float) -> int:
    """Messages of a million bytes without end."""
    pad = "x" * 1_000_000
    return await with_pages(url, seconds, lambda c, n: ("comm_msg", {"comm_id": "none", "data": {"pad": pad}}))


async def opening(url: str, seconds: float) -> int:
    """New widgets and new questions for all states without end."""
    targets = ("jupyter.widget", "jupyter.widget.control", "elsewhere")

    def one(_: Client, number: int) -> tuple[str, dict]:
        return "comm_open", {"comm_id": f"x{number}", "target_name": targets[number % 3], "data": {"state": {}}}

    return await with_pages(url, seconds, one)


async def busy(url: str, seconds: float) -> int:
    """Three pages whose sliders are moved faster than any kernel can follow."""

    def one(client: Client, number: int) -> tuple[str, dict]:
        comm, content = chapters_move(client.states, number)
        return "comm_msg", {"comm_id": comm, "data": content}

    return await with_pages(url, seconds, one, pages=3)


async def hungry(url: str, seconds: float) -> int:
    """Three pages that take all the memory they can get."""
    clients = await seated(url, EATERS_PAGE, 3)
    begin(seconds)
    await asyncio.sleep(seconds)
    for client in clients:
        await client.leave()
    return len(clients)


async def bringing(url: str, seconds: float) -> int:
    """One visitor brings takes of three minutes in stereo, one after another, and each is listened to and compared."""
    takes = [_three_minutes(n) for n in range(2)]
    [client] = await seated(url, TAKES_PAGE)
    end, count = begin(seconds), 0
    while time.monotonic() < end:
        count += await _bring(client, takes[count % 2], count, end)
    await client.leave()
    return count


def _three_minutes(number: int) -> bytes:
    """A sound file as a recorder writes it: notes over and over, 16 bits, 48 kHz."""
    one = invented_takes(from_link("input=line"))[number].samples
    left = np.resize(one, 180 * RATE) + np.random.default_rng(number).normal(0, 1e-5, 180 * RATE)
    file = io.BytesIO()
    soundfile.write(file, np.stack([left, 1e-3 * left], axis=1), RATE, format="WAV", subtype="PCM_16")
    return file.getvalue()


async def _bring(client: Client, file: bytes, serial: int, end: float) -> bool:
    """Send a file as the page's script does, no faster than it may; whether it was listened to before the end."""
    comm, about = next((key, state) for key, state in client.states.items() if "each_second" in state)

    async def say(piece: bytes = b"", **content) -> None:
        await client.say("comm_msg", custom(comm, serial=serial, **content), piece)

    if serial > 1:
        await say(word="remove", n=0)  # of the pair before
    await say(word="begin", name=f"take {serial}.wav", size=len(file), staged=bool(serial % 2))
    begun = time.monotonic()
    while (message := await client.hear()) and time.monotonic() < end:
        content = message.get("content", {}).get("data", {}).get("content", {})
        if content.get("serial") != serial:
            continue
        if content["word"] == "end":
            assert content["good"], content["said"]
            return True
        if content["word"] == "next":
            at = content["at"]
            over = at + about["slice"] - about["at_once"] - (time.monotonic() - begun) * about["each_second"]
            await asyncio.sleep(max(over / about["each_second"], 0))
            await say(file[at : at + about["slice"]], word="slice", at=at)
    return False


async def failing(url: str, seconds: float) -> int:
    """Messages that are errors in their kernel."""

    def one(client: Client, number: int) -> tuple[str, dict]:
        box = next(key for key, state in client.states.items() if "children" in state)
        return "comm_msg", {"comm_id": box, "data": {"method": "update", "state": {"children": "\x1b[31m" * 99}}}

    return await with_pages(url, seconds, one)


async def abandoning(url: str, seconds: float) -> int:
    """Ten visitors who open pages and drop them, and strangers who do."""
    chance, clients, count = random.Random(1), [Client(url, CHAPTER) for _ in range(10)], 0
    await asyncio.gather(*(client.get("room/place") for client in clients))
    end = begin(seconds)
    while time.monotonic() < end:
        client = chance.choice([*clients, Client(url, CHAPTER)])
        task = asyncio.create_task(client.get(CHAPTER))
        await asyncio.sleep(0.05)
        task.cancel()
        count += 1
    return count


ATTACKS: dict[str, Callable[[str, float], Awaitable[int]]] = {
    each.__name__: each for each in (asking, large, opening, busy, hungry, bringing, failing, abandoning)
}


async def _main(url: str, name: str, seconds: str) -> None:
    AsyncHTTPClient.configure(None, max_clients=200)
    print(await ATTACKS[name](url, float(seconds)))


if __name__ == "__main__":
    os.nice(19)
    asyncio.run(_main(*sys.argv[1:]))
