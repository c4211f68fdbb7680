"""What is worked out once the hand rests: in short pieces, between which a new move is heard.

In a kernel the pieces run on its event loop, a few milliseconds apart, so that a message from the browser comes in
between; each move puts them off. Outside a kernel (plain Python, tests) the work is done at once, in its order.

A piece of work is a plain function. It is interrupted wherever the maths gives way (`piezolab.giving_way`) once its
turn is used up, and goes on from there: each runs on a stack of its own, by greenlet. Work that was begun before a move
is begun again after it: what it had was of an earlier chain.
"""

from __future__ import annotations

import asyncio
import contextvars
import logging
import sys
import time
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from typing import Any, Protocol

from greenlet import GreenletExit, getcurrent, greenlet

from piezolab.circuit.errors import CircuitError
from piezolab.giving_way import heard_by

#: Seconds: work gives way after so much; from one turn to the next; from a move to the first. A key that is held down
#: moves a slider some thirty times a second.
TURN_S, GAP_S, PAUSE_S = 0.012, 0.004, 0.05

Work = Callable[[], None]

#: Raised within work that will not be gone on with.
Dropped = GreenletExit

_log = logging.getLogger(__name__)


class Loop(Protocol):
    """What is used of an event loop."""

    def call_later(self, delay: float, callback: Callable[[], None], /) -> Any:
        """Call after so many seconds; what comes back can be cancelled."""


@dataclass
class _Job:
    work: Work
    running: greenlet | None = None

    def go_on(self) -> bool:
        """Until it gives way or ends; whether there is more of it."""
        running = self.running
        if running is None:
            running = self.running = greenlet(self.work)
            running.gr_context = contextvars.copy_context()  # a widget's message names what it answers by it
        running.parent = getcurrent()
        running.switch()
        return not running.dead

    def stop(self) -> None:
        """Back to the beginning. Work that puts in new work of its own owner is left to end by itself."""
        running, self.running = self.running, None
        if running is not None and running is not getcurrent() and not running.dead:
            running.parent = getcurrent()
            running.throw()


def _in_a_kernel() -> bool:
    """Whether a kernel's shell runs this; another program's loop (a test's own browser, say) serves no page."""
    ipython = sys.modules.get("IPython")
    shell = None if ipython is None else ipython.get_ipython()
    return getattr(shell, "kernel", None) is not None


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
        self._moved_at = -PAUSE_S + clock()

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
            self._try(work)
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
            wait = self._moved_at + PAUSE_S - self._clock()
            self._timer = loop.call_later(max(wait, least), self._run)

    def _run(self) -> None:
        self._timer = None
        ends = self._clock() + TURN_S
        while self._jobs and self._clock() < ends and self._clock() - self._moved_at >= PAUSE_S:
            owner, job = next(iter(self._jobs.items()))
            with heard_by(lambda job=job, ends=ends: self._interrupt(job, ends)):
                goes_on = self._try(job.go_on)
            if not goes_on and self._jobs.get(owner) is job:  # the work may have put in new work of the same owner
                del self._jobs[owner]
        if self._jobs:
            self._arm(GAP_S)
        else:
            self.changed()

    def _interrupt(self, job: _Job, ends: float) -> None:
        """Back to the loop, where the turn is used up; a listener hears only the job's own stack."""
        if self._clock() >= ends and getcurrent() is job.running:
            job.running.parent.switch()

    def _try(self, work: Callable[[], Any]) -> bool:
        """Whether there is more of it; what goes wrong is said."""
        try:
            return bool(work())
        except CircuitError as error:
            self._failed(f"This chain could not be worked out: {error}")
        except Exception:
            _log.exception("a piece of work at rest")
            self._failed("Something went wrong in this page; some of what you see is of an earlier chain. Press undo.")
        return False
