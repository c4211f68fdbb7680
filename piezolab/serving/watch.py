"""A look at the kernels now and then: the largest ends where memory runs short, one that never rests stands back."""

import asyncio
import logging
import time
from collections import deque
from collections.abc import Awaitable, Callable, Container
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from . import machine
from .bounds import BACK, BELOW
from .record import plain
from .seats import TOO_LARGE

if TYPE_CHECKING:
    from .kernels import SeatedKernelManager

log = logging.getLogger("piezolab.serving")

#: Seconds between two looks.
EVERY_S = 0.5
#: The part of the memory in use at which the largest kernel ends, and how large it has to be, bytes: what other
#: programs take is no page's fault. A page at rest has some 50 MB of its own.
FULL, LARGE = 0.7, 150 * 2**20
#: A kernel that has wanted the processor for so much of so long stands back, until it wants less than the second part.
#: (The system tells what one has waited for only when it has its turn again: shorter times would be told wrong.)
RESTLESS_S, RESTLESS, RESTS = 1.0, 0.85, 0.5
#: What thirty kernels share, and what one has of its own, bytes, as measured in a full room.
SHARED, SEAT = 300 * 2**20, 50 * 2**20


class MemoryWatch:
    """Ends the largest kernel where memory runs short.

    Parameters
    ----------
    free : callable
        Ends a kernel, with the code for its page.
    memories, own_bytes : callable
        Bytes used and in all, of the machine and of its container; bytes of one process.
    """

    def __init__(
        self,
        free: Callable[[str, int], Awaitable[None]],
        memories: Callable[[], list[tuple[int, int]]],
        own_bytes: Callable[[int], int] = machine.own_bytes,
    ) -> None:
        self._free, self._memories, self._own_bytes = free, memories, own_bytes
        self._told = False

    async def look(self, pids: dict[str, int]) -> None:
        """One look. pids: kernel -> process."""
        part = max(used / total for used, total in self._memories())
        if part < FULL:
            self._told = False
            return
        sizes = {kernel: self._own_bytes(pid) for kernel, pid in pids.items()}
        largest = max(sizes, key=sizes.__getitem__, default="")
        if sizes.get(largest, 0) > LARGE:
            log.error("memory %.0f %% full: the largest page, %d MB, is ended", 100 * part, sizes[largest] // 2**20)
            await self._free(largest, TOO_LARGE)
        elif not self._told:
            self._told = True
            log.warning("memory %.0f %% full, and no page is large: close other programs, or use --seats", 100 * part)


@dataclass
class _Turn:
    """How a kernel has used the processor."""

    seen: deque[tuple[float, float]] = field(default_factory=deque)
    step: int | None = None
    aim: int = BELOW

    def saw(self, at: float, wanted: float) -> None:
        """At that time it had wanted so many seconds in all."""
        self.seen.append((at, wanted))
        while len(self.seen) > 2 and at - self.seen[1][0] >= RESTLESS_S:
            self.seen.popleft()
        since, before = self.seen[0]
        if at - since >= RESTLESS_S:
            part = (wanted - before) / (at - since)
            self.aim = BACK if part >= RESTLESS else BELOW if part < RESTS else self.aim


@dataclass
class ProcessorWatch:
    """Puts a kernel that has run without a break further back, and up again once it rests."""

    put: Callable[[int, int], bool]
    wanted_s: Callable[[int], float | None] = machine.wanted_s
    clock: Callable[[], float] = time.monotonic
    _turns: dict[int, _Turn] = field(default_factory=dict)

    def look(self, pids: list[int], making: Container[int] = ()) -> None:
        """One look at these processes; one alone does not stand back. making: those whose page is not whole yet."""
        self._turns = {pid: turn for pid, turn in self._turns.items() if pid in pids}
        for pid in pids:
            wanted, now = self.wanted_s(pid), self.clock()
            if wanted is None:
                continue
            turn = self._turns.setdefault(pid, _Turn())
            turn.saw(now, wanted)
            aim = BELOW if len(pids) == 1 else BACK if pid in making else turn.aim
            if turn.step != aim and self.put(pid, aim):
                turn.step = aim


async def watch(kernels: "SeatedKernelManager") -> None:
    """Look after the kernels until cancelled."""
    memory, steps = MemoryWatch(kernels.free, machine.memories), machine.QueueSteps()
    processor, kernels.steps = ProcessorWatch(steps.put), steps if steps.possible else None
    while True:
        await asyncio.sleep(EVERY_S)
        pids = kernels.pids()
        try:
            await memory.look(pids)
            if steps.possible:
                making = {pid for kernel_id, pid in pids.items() if kernels.seats.is_making(kernel_id)}
                processor.look(list(pids.values()), making)
        except Exception as problem:  # a look that fails must not be the last one
            log.warning("the kernels could not be looked at: %s", plain(repr(problem)))


def needed(seats: int) -> str:
    """What a room of so many seats needs of this computer's memory, and what to do if that is too much."""
    total = min(total for _, total in machine.memories())
    most = int((FULL * total - SHARED) / SEAT)
    need = f"{'seat needs' if seats == 1 else 'seats need'} about {_gigabytes(SHARED + seats * SEAT)}"
    said = f"{seats} {need} of {_gigabytes(total)} of memory."
    return said if seats <= most else f"{said} That is too much here: start with --seats {max(most, 1)}."


def _gigabytes(count: int) -> str:
    return f"{count / 2**30:.1f} GB"
