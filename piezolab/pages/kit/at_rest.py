"""What is worked out once the hand rests: in short pieces, between which a new move is heard.

In a kernel the pieces run on its event loop, a few milliseconds apart, so that a message from the browser comes in
between; each move puts them off. Outside a kernel (plain Python, tests) the work is done at once, in its order.

A piece of work is a function. One that takes longer than `PIECE_S` is a generator function that yields where it may be
interrupted; it yields `LONG` before a part that it cannot break up, which then waits until the hand has rested longer.
Work that was begun before a move is begun again after it: what it had was of an earlier chain.
"""

from __future__ import annotations

import asyncio
import logging
import sys
import time
from collections.abc import Callable, Generator, Hashable
from dataclasses import dataclass
from typing import Any, Protocol

from piezolab.circuit.errors import CircuitError

#: Seconds: pieces are run until so much is used up; from one such run to the next; from a move to the first run, and
#: to the first part that cannot be broken up. A key that is held down moves a slider some thirty times a second.
PIECE_S, GAP_S, PAUSE_S, LONG_PAUSE_S = 0.020, 0.004, 0.05, 0.5
LONG = "long"

#: A function, or one whose generator yields None or `LONG`.
Work = Callable[[], Generator[str | None, None, None] | None]

_log = logging.getLogger(__name__)


class Loop(Protocol):
    """What is used of an event loop."""

    def call_later(self, delay: float, callback: Callable[[], None], /) -> Any:
        """Call after so many seconds; what comes back can be cancelled."""


@dataclass
class _Job:
    work: Work
    running: Generator[str | None, None, None] | None = None
    long: bool = False

    def stop(self) -> None:
        """Back to the beginning. A piece that puts in new work of its own owner is left to end by itself."""
        if self.running is not None and not self.running.gi_running:
            self.running.close()
        self.running, self.long = None, False


def _in_a_kernel() -> bool:
    """Whether a kernel's shell runs this; another program's loop (a test's own browser, say) serves no page."""
    ipython = sys.modules.get("IPython")
    shell = None if ipython is None else ipython.get_ipython()
    return getattr(shell, "kernel", None) is not None


def whole(made: Any) -> Generator[str | None, None, Any]:
    """What a function returned, or what its generator returns in the end: ``html = yield from whole(make(chain))``."""
    return (yield from made) if isinstance(made, Generator) else made


def long(make: Callable[..., Any]) -> Callable[..., Generator[str, None, Any]]:
    """The same function as work that cannot be broken up."""

    def made(*args: Any) -> Generator[str, None, Any]:
        yield LONG
        return make(*args)

    return made


class AtRest:
    """The work that waits; see the module.

    failed: called with a sentence when a piece went wrong; the others go on. changed: called when work begins to wait,
    and when none is left. loop, clock: for tests; the loop's where None.
    """

    def __init__(
        self, failed: Callable[[str], None], *, loop: Loop | None = None, clock: Callable[[], float] = time.perf_counter
    ) -> None:
        self._failed, self._given_loop, self._clock = failed, loop, clock
        self.changed: Callable[[], None] = lambda: None
        self._jobs: dict[Hashable, _Job] = {}
        self._timer: Any = None
        self._held = False
        self._moved_at = -LONG_PAUSE_S + clock()

    @property
    def at_once(self) -> bool:
        """Whether nothing ever waits: this is no kernel."""
        return self._loop() is None

    @property
    def waiting(self) -> bool:
        """Whether there is work left."""
        return bool(self._jobs)

    def hold(self) -> None:
        """Begin nothing before `go`: what is sent to a page that the browser is still making would be lost."""
        self._held = not self.at_once

    def go(self) -> None:
        """The page in the browser is there."""
        if self._held:
            self._held = False
            self._arm()

    def put(self, owner: Hashable, work: Work) -> None:
        """Do this when the hand rests, instead of what the same owner has waiting."""
        there = self.waiting
        self.drop(owner)
        if self.at_once:
            job = _Job(work)
            while self._piece(job):
                pass
            return
        self._jobs[owner] = _Job(work)
        if not there:
            self.changed()
        self._arm()

    def drop(self, owner: Hashable) -> None:
        """Forget what an owner has waiting."""
        job = self._jobs.pop(owner, None)
        if job is not None:
            job.stop()

    def moved(self) -> None:
        """The chain is another one: what was begun is begun again, later."""
        self._moved_at = self._clock()
        for job in self._jobs.values():
            job.stop()
        self._arm()

    # -- running ------------------------------------------------------------------------------------------------
    def _loop(self) -> Loop | None:
        if self._given_loop is not None:
            return self._given_loop
        try:
            return asyncio.get_running_loop() if _in_a_kernel() else None
        except RuntimeError:
            return None

    def _arm(self, least: float = 0.0) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        loop = self._loop()
        if self._jobs and not self._held and loop is not None:
            pause = PAUSE_S if any(not job.long for job in self._jobs.values()) else LONG_PAUSE_S
            wait = self._moved_at + pause - self._clock()
            self._timer = loop.call_later(max(wait, least), self._run)

    def _run(self) -> None:
        self._timer = None
        began = self._clock()
        while self._clock() - began < PIECE_S:
            owner = self._next()
            if owner is None:
                break
            job = self._jobs[owner]
            goes_on = self._piece(job)
            if not goes_on and self._jobs.get(owner) is job:  # the work may have put in new work of the same owner
                del self._jobs[owner]
        if self._jobs:
            self._arm(GAP_S)
        else:
            self.changed()

    def _next(self) -> Hashable | None:
        """Whose turn it is: short pieces first."""
        rested = self._clock() - self._moved_at
        if rested < PAUSE_S:
            return None
        short = (owner for owner, job in self._jobs.items() if not job.long)
        return next(short, next(iter(self._jobs), None) if rested >= LONG_PAUSE_S else None)

    def _piece(self, job: _Job) -> bool:
        """One piece of work; whether there is more of it."""
        try:
            if job.running is None:
                job.running = job.work()
                if job.running is None:
                    return False
            job.long = next(job.running) == LONG
        except StopIteration:
            return False
        except CircuitError as error:
            self._failed(f"This chain could not be worked out: {error}")
            return False
        except Exception:
            _log.exception("a piece of work at rest")
            self._failed("Something went wrong in this page; some of what you see is of an earlier chain. Press undo.")
            return False
        return True
