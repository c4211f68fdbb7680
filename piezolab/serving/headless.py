"""Visitors without a browser: they come as a phone's browser does, wait for the page to rest, and move a slider.

Runs as ``python -m piezolab.serving.headless ADDRESS PATH VISITORS SECONDS`` in a process of its own, so that the
server's loop is not theirs. Prints one JSON line when all have come and one when they have moved; leaves when its
standard input ends or brings a line.
"""

import asyncio
import contextlib
import json
import random
import re
import sys
import time
import uuid
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

from tornado.httpclient import AsyncHTTPClient, HTTPRequest
from tornado.websocket import websocket_connect

#: Seconds: between two questions for a seat; until a page has to be there, has to rest, and has to answer a move.
ASK_S, READY_S, REST_S, ANSWER_S = 0.5, 120.0, 120.0, 30.0
#: Seconds between two moves of a hand that looks at what happens.
PAUSE_S = (0.3, 0.7)
_LONGEST = 64 * 2**20


class Failed(Exception):
    """A visit went wrong; the message says where."""


@dataclass
class Headless:
    """One visitor: keeps cookies, opens one page, speaks with its kernel."""

    address: str
    path: str
    cookies: dict[str, str] = field(default_factory=dict)
    kernel: str = ""
    ready_s: float = 0.0
    moves: list[float] = field(default_factory=list)
    problem: str = ""

    async def ask(self, path: str, method: str = "GET") -> tuple[int, str]:
        """A request to the server: the answer's status and text."""
        body = "" if method == "POST" else None
        headers = {"Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items())}
        request = HTTPRequest(self.address + path, method=method, body=body, headers=headers,
                              connect_timeout=READY_S, request_timeout=READY_S, validate_cert=False)  # fmt: skip
        answer = await AsyncHTTPClient().fetch(request, raise_error=False)
        for line in answer.headers.get_list("Set-Cookie"):
            name, _, value = line.partition(";")[0].partition("=")
            self.cookies[name] = value
        return answer.code, (answer.body or b"").decode("utf-8", "replace")

    async def come(self) -> None:
        """Come in by the door and wait until every part of the page is there. Raises Failed."""
        begun = time.perf_counter()
        code, page = await self.ask(self.path)
        while not (found := re.search(r'"kernelId": "([\w-]+)"', page)):
            if code != 200 or time.perf_counter() - begun > READY_S:
                raise Failed(f"a page did not come (status {code})")
            _, place = await self.ask("room/place")
            if json.loads(place).get("enter"):
                code, page = await self.ask(self.path)
            else:
                await asyncio.sleep(ASK_S)
        self.kernel = found[1]
        await self._connect()
        self.states = await self._states()
        self.ready_s = time.perf_counter() - begun

    async def _connect(self) -> None:
        parts = urlsplit(self.address)
        self._session = uuid.uuid4().hex
        scheme = "wss" if parts.scheme == "https" else "ws"
        line = f"{scheme}://{parts.netloc}{parts.path}api/kernels/{self.kernel}/channels?session_id={self._session}"
        headers = {"Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items()),
                   "Origin": f"{parts.scheme}://{parts.netloc}"}  # fmt: skip
        request = HTTPRequest(line, headers=headers, validate_cert=False)
        self._line = await websocket_connect(request, max_message_size=_LONGEST)

    async def _say(self, kind: str, content: dict[str, Any], **metadata: str) -> str:
        header = {"msg_id": uuid.uuid4().hex, "msg_type": kind, "username": "", "session": self._session,
                  "version": "5.3"}  # fmt: skip
        message = {"header": header, "parent_header": {}, "metadata": metadata, "content": content, "buffers": []}
        await self._line.write_message(json.dumps({**message, "channel": "shell"}))
        return header["msg_id"]

    async def _hear(self, until: float) -> dict[str, Any]:
        """The kernel's next message; of one with binary parts its words. Raises Failed."""
        try:
            said = await asyncio.wait_for(self._line.read_message(), until - time.perf_counter())
        except TimeoutError:
            raise Failed("a page fell silent") from None
        if said is None:
            raise Failed("a page's line was closed")
        if isinstance(said, bytes):
            count = int.from_bytes(said[:4], "big")
            first, *rest = (int.from_bytes(said[4 + 4 * n : 8 + 4 * n], "big") for n in range(count))
            said = said[first : rest[0] if rest else len(said)]
        return json.loads(said)

    async def _states(self) -> dict[str, dict[str, Any]]:
        """All widgets, asked for as the front end does."""
        comm = uuid.uuid4().hex
        until = time.perf_counter() + READY_S
        opening = {"comm_id": comm, "target_name": "jupyter.widget.control", "data": {}}
        await self._say("comm_open", opening, version="1.0.0")
        await self._say("comm_msg", {"comm_id": comm, "data": {"method": "request_states"}})
        while True:
            data = (await self._hear(until)).get("content", {}).get("data", {})
            if data.get("method") == "update_states":
                return {key: about["state"] for key, about in data["states"].items()}

    async def rest(self) -> None:
        """Say that the page is drawn, as its controls do, and wait until what it works out at rest is done."""
        if not self._panels():
            return
        until = time.perf_counter() + REST_S
        waiting = {key: state["waiting"] for key, state in self.states.items() if "waiting" in state}
        asked = [await self._custom(panel, {"word": "ready"}) for panel, _ in self._panels()]
        while asked or any(waiting.values()):
            message = await self._hear(until)
            asked = [one for one in asked if not _ends(message, one)]
            content = message.get("content", {})
            state = content.get("data", {}).get("state", {}) if content.get("comm_id") in waiting else {}
            if "waiting" in state:
                waiting[content["comm_id"]] = state["waiting"]

    def _panels(self) -> list[tuple[str, list[dict[str, Any]]]]:
        """The page's panels of controls, each with what has a slider."""
        found = []
        for key, state in self.states.items():
            items = [one for group in state.get("groups") or () for one in group.get("items", ())]
            if items:
                found.append((key, [one for one in items if one.get("kind") == "quantity" and one.get("steps")]))
        return found

    async def _custom(self, comm: str, content: dict[str, Any]) -> str:
        return await self._say("comm_msg", {"comm_id": comm, "data": {"method": "custom", "content": content}})

    async def move(self, seconds: float) -> None:
        """Move the page's first slider about twice a second. Raises Failed."""
        slider = next(((panel, items[0]) for panel, items in self._panels() if items), None)
        if slider is None:
            raise Failed("the page has no slider")
        panel, item = slider
        chance = random.Random(self.kernel)
        at, end, number = len(item["steps"]) // 2, time.perf_counter() + seconds, 0
        while time.perf_counter() < end:
            await asyncio.sleep(chance.uniform(*PAUSE_S))
            number += 1
            at = min(max(at + chance.choice((-2, -1, 1, 2)), 0), len(item["steps"]) - 1)
            text = item["steps"][at]
            begun = time.perf_counter()
            asked = await self._custom(panel, {"word": "enter", "key": item["key"], "text": text, "live": True,
                                               "number": number})  # fmt: skip
            while not _ends(await self._hear(begun + ANSWER_S), asked):
                pass
            self.moves.append(time.perf_counter() - begun)

    async def leave(self) -> None:
        """Close the page."""
        if self.kernel:
            self._line.close()
            await self.ask(f"leave/{self.kernel}", "POST")


def _ends(message: dict[str, Any], asked: str) -> bool:
    """Whether the kernel says that it has dealt with what was asked."""
    idle = message.get("msg_type") == "status" and message["content"].get("execution_state") == "idle"
    return idle and message.get("parent_header", {}).get("msg_id") == asked


async def each(visitors: Iterable[Headless], act: str, *how: float) -> None:
    """Let all of them who are well do something at the same time; what goes wrong is noted with who it befell."""

    async def one(visitor: Headless) -> None:
        try:
            await getattr(visitor, act)(*how)
        except Failed as problem:
            visitor.problem = str(problem)
        except Exception as problem:  # whatever a line, a browser's protocol or a page can do
            visitor.problem = f"{act}: {type(problem).__name__}: {problem}"

    await asyncio.gather(*(one(visitor) for visitor in visitors if not visitor.problem))


async def visit(address: str, path: str, count: int, seconds: float) -> None:
    """Come, rest, move, and leave when told to; see the module."""
    AsyncHTTPClient.configure(None, max_clients=2 * count + 10)
    visitors = [Headless(address, path) for _ in range(count)]
    await each(visitors, "come")
    print(json.dumps({"ready_s": [one.ready_s for one in visitors if not one.problem]}), flush=True)
    begun = time.perf_counter()
    await each(visitors, "rest")
    rest_s = time.perf_counter() - begun
    await each(visitors, "move", seconds)
    moves = [move for one in visitors for move in one.moves]
    problems = [one.problem for one in visitors if one.problem]
    print(json.dumps({"rest_s": rest_s, "moves_s": moves, "problems": problems}), flush=True)
    await asyncio.get_running_loop().run_in_executor(None, sys.stdin.readline)
    with contextlib.suppress(OSError):
        await asyncio.gather(*(one.leave() for one in visitors), return_exceptions=True)


if __name__ == "__main__":
    asyncio.run(visit(sys.argv[1], sys.argv[2], int(sys.argv[3]), float(sys.argv[4])))
