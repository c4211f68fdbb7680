"""The line of those who wait for a seat: first come, first served, without a kernel."""

import time
from collections.abc import Callable
from dataclasses import dataclass

from .seats import Seats

#: Most people in the line; beyond that nobody is written down any more (each may still find a free seat).
LONGEST_LINE = 2000


@dataclass
class Ticket:
    """When somebody in the line was last heard of."""

    seen: float


class WaitingLine:
    """Who may sit down next.

    Parameters
    ----------
    seats : Seats
        The seats they wait for.
    present_s : float
        Somebody not heard of for so long is passed over, but keeps the place for when the phone wakes up.
    forget_s : float
        After so long the place is lost.
    hold_s : float
        So long is a seat kept for somebody who has been told to come in.
    clock : callable
        Seconds, monotonic.
    """

    def __init__(
        self,
        seats: Seats,
        *,
        present_s: float = 12.0,
        forget_s: float = 900.0,
        hold_s: float = 15.0,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._seats = seats
        self._present_s, self._forget_s, self._hold_s = present_s, forget_s, hold_s
        self._clock = clock
        self._tickets: dict[str, Ticket] = {}
        self._held: dict[str, float] = {}

    def __len__(self) -> int:
        """Those who are there and wait."""
        now = self._clock()
        return sum(self._present(ticket, now) for ticket in self._tickets.values())

    @property
    def held(self) -> int:
        """Seats kept for those who have been told to come in."""
        return len(self._held)

    def _present(self, ticket: Ticket, now: float) -> bool:
        return now - ticket.seen <= self._present_s

    def tidy(self) -> None:
        """Forget who has not been heard of, and what was kept for them in vain."""
        now = self._clock()
        self._tickets = {who: t for who, t in self._tickets.items() if now - t.seen <= self._forget_s}
        self._held = {who: until for who, until in self._held.items() if now <= until}
        self._seats.wanted = len(self) > 0

    def place(self, who: str) -> int:
        """How many are there who come in before this visitor, plus one."""
        now = self._clock()
        ahead = 0
        for other, ticket in self._tickets.items():
            if other == who:
                break
            ahead += self._present(ticket, now)
        return ahead + 1

    def enters(self, who: str) -> bool:
        """Whether the visitor may sit down now; if not, they are in the line from now on."""
        self.tidy()
        if who in self._held:
            return True
        free = self._seats.limit - len(self._seats) - len(self._held)
        if free >= self.place(who):
            self._tickets.pop(who, None)
            self._held[who] = self._clock() + self._hold_s
            return True
        if who in self._tickets:
            self._tickets[who].seen = self._clock()
        elif len(self._tickets) < LONGEST_LINE:
            self._tickets[who] = Ticket(self._clock())
        self._seats.wanted = True
        return False

    def seated(self, who: str) -> None:
        """The visitor's page is being made: the seat is no longer kept, it is taken."""
        self._held.pop(who, None)
        self._tickets.pop(who, None)
