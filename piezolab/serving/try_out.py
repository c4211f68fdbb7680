"""A room tried before its day: as many headless visitors as will come, against the very server that they will meet."""

import asyncio
import json
import os
import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import psutil
from tornado.httpclient import AsyncHTTPClient, HTTPClientError, HTTPRequest
from tornado.web import decode_signed_value

from .addresses import is_loopback, own_addresses, public_host
from .record import say

if TYPE_CHECKING:
    from ..lessons.lesson import Lesson

#: What a room must keep to hold its visitors: seconds until nineteen of twenty pages are there, seconds in which
#: nineteen of twenty moves of a slider are answered, bytes of memory left for all else. Our own choice: a wait that
#: nobody asks about, an answer that still belongs to the hand, and what a desktop needs to go on.
MOST_READY_S, MOST_ANSWER_S, LEAST_LEFT = 20.0, 0.5, 400 * 2**20
#: Seconds that sliders are moved.
MOVING_S = 15.0
#: Seconds until an address has to have answered.
ANSWERS_S = 5.0
MB = 2**20


@dataclass(frozen=True)
class TrialFigures:
    """What the visitors found. Times in seconds, memory in bytes; ready, moves: one for each page, each move.

    rest: from the last page's coming until all pages rest; seat: memory for one; whole: of server and pages; left: of
    the machine's.
    """

    wanted: int
    ready: list[float]
    rest: float
    moves: list[float]
    problems: list[str]
    seat: float
    whole: float
    left: float

    def faults(self) -> list[str]:
        """What keeps the machine from holding so many; [] where nothing does."""
        found = []
        if self.problems:
            found.append(f"{len(self.problems)} of {self.wanted} pages failed ({self.problems[0]})")
        if self.ready and within(self.ready) > MOST_READY_S:
            found.append(f"pages take {within(self.ready):.0f} s to be ready (at most {MOST_READY_S:.0f} s)")
        if self.moves and within(self.moves) > MOST_ANSWER_S:
            answer = f"{1000 * within(self.moves):.0f} ms (at most {1000 * MOST_ANSWER_S:.0f} ms)"
            found.append(f"sliders answer within {answer}")
        if self.left < LEAST_LEFT:
            found.append(f"{self.left / MB:.0f} MB of memory are left (at least {LEAST_LEFT // MB} MB)")
        return found

    def lines(self) -> list[str]:
        """What was measured, in words."""
        said = []
        if self.ready:
            middle = sorted(self.ready)[len(self.ready) // 2]
            said.append(f"Ready: {len(self.ready)} of {self.wanted} pages, half within {middle:.1f} s, 95 % within "
                        f"{within(self.ready):.1f} s; all at rest {self.rest:.1f} s later.")  # fmt: skip
        if self.moves:
            said.append(f"Sliders: {len(self.moves)} moves, 95 % answered within {1000 * within(self.moves):.0f} ms.")
        said.append(f"Memory: {self.seat / MB:.0f} MB for each seat, {self.whole / MB:.0f} MB in all, "
                    f"{self.left / MB:.0f} MB of this machine's left.")  # fmt: skip
        return said


def within(values: list[float]) -> float:
    """What 95 % of the values do not exceed."""
    return sorted(values)[min(int(0.95 * len(values)), len(values) - 1)]


def verdict(found: TrialFigures, way: str) -> tuple[bool, str]:
    """Whether the room can be held, and the sentence. way: what keeps phones from the address, "" for nothing."""
    them = f"{found.wanted} {'visitor' if found.wanted == 1 else 'visitors'}"
    if faults := found.faults():
        said = "; ".join([*faults, way] if way else faults)
        return False, f"Verdict: this machine does not hold {them}: {said}."
    return not way, f"Verdict: this machine holds {them}{f', but {way}' if way else ''}."


def first_page(lesson: "Lesson | None", pages: Iterable[str]) -> str:
    """The page that a room's visitors open, by its address word: the lesson's, or the first chapter's."""
    return lesson.chapter if lesson else next((slug for slug in pages if slug), "")


@dataclass(frozen=True)
class RoomTrial:
    """How a room is to be tried.

    count: visitors, None where it is not to be tried; chapter: the page they open; local: an address that surely leads
    to the server from here, with a slash at its end.
    """

    count: int | None
    chapter: str
    local: str

    async def run(self, address: str, settings: Mapping[str, Any]) -> bool:
        """Let them come to an address and tell what was measured; whether all is well.

        settings: the server's, which say by what its visitors are known.
        """
        way, told = await reached(address, settings)
        say(told)
        say(f"{self.count} {'visitor comes' if self.count == 1 else 'visitors come'} to {self.chapter} …")
        found = await _measure(self.local if way else address, f"{self.chapter}?v=1", self.count)
        for line in found.lines():
            say(line)
        good, sentence = verdict(found, way)
        say(sentence)
        return good


async def _measure(address: str, path: str, count: int) -> TrialFigures:
    """Start the visitors in a process of their own and look on."""
    before = memory(())
    command = [sys.executable, "-m", "piezolab.serving.headless", address, path, str(count), str(MOVING_S)]
    pipe = asyncio.subprocess.PIPE
    # Of a session of its own: a Ctrl-C is this process's.
    visitors = await asyncio.create_subprocess_exec(
        *command, stdin=pipe, stdout=pipe, limit=2**24, start_new_session=True
    )
    try:
        came, moved = [json.loads(await visitors.stdout.readline() or "{}") for _ in range(2)]
        whole = memory((visitors.pid,))
        # What the visitors themselves take would be the phones'.
        left = psutil.virtual_memory().available + _size(psutil.Process(visitors.pid))
        return TrialFigures(
            count,
            came.get("ready_s", []),
            moved.get("rest_s", 0.0),
            moved.get("moves_s", []),
            moved.get("problems", ["the visitors ended early"]),
            (whole - before) / count,
            whole,
            left,
        )
    except asyncio.CancelledError:
        visitors.kill()
        raise
    finally:
        visitors.stdin.close()
        await visitors.wait()


def memory(without: tuple[int, ...]) -> float:
    """Bytes of this process and all it has started, what they share counted once where the system can tell."""
    root = psutil.Process(os.getpid())
    return sum(_size(one) for one in [root, *root.children(recursive=True)] if one.pid not in without)


def _size(process: psutil.Process) -> float:
    try:
        about = process.memory_full_info()
    except psutil.Error:  # it has ended meanwhile
        return 0.0
    return float(getattr(about, "pss", about.uss))


# -- the way in ---------------------------------------------------------------------------------------------------
async def reached(address: str, settings: Mapping[str, Any]) -> tuple[str, str]:
    """What keeps phones from an address, "" where nothing does as far as can be told from here; and the sentence.

    settings: as `RoomTrial.run` takes them.
    """
    host = public_host(address) or ""
    if is_loopback(host):
        why = f"no phone reaches {address}, which is this computer's name for itself"
        others = " or ".join(own_addresses())
        fix = f"Leave --host out, or give it {others}" if others else "Join a network first"
        return why, f"Address: {why}. {fix}."
    cookie = await _cookie(address)
    if cookie is None:
        why = f"nothing answers at {address}"
        return why, f"Address: {why} when this computer asks. Look at the name, the port and the proxy."
    name, value = cookie
    if name != settings["visitor_cookie"] or decode_signed_value(settings["cookie_secret"], name, value) is None:
        why = f"another server answers at {address}"
        return why, f"Address: {why}. Stop that one, or take another address."
    return "", (
        f"Address: {address} leads to this server when this computer asks. Try it on one phone too: a firewall, or a "
        "Wi-Fi that keeps devices apart, shows only there."
    )


async def _cookie(address: str) -> tuple[str, str] | None:
    """Name and value of the cookie that whoever answers there gives a newcomer, "" where none is given; None where
    nobody answers."""
    request = HTTPRequest(address, request_timeout=ANSWERS_S, connect_timeout=ANSWERS_S)
    try:
        answer = await AsyncHTTPClient().fetch(request, raise_error=False)
    except (OSError, HTTPClientError, ValueError):
        return None
    line = next(iter(answer.headers.get_list("Set-Cookie")), "")
    name, _, value = line.partition(";")[0].partition("=")
    return name, value.strip('"')
