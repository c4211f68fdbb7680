"""The line of those who wait for a seat, without a kernel: served in turn by address, first come first at each.

One address may take every seat that nobody else wants; where several ask, the one with the fewest seats comes first.
"""

import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from .seats import Seats

#: Most people in the line; beyond that a newcomer takes the place of the last one of the address that has the most.
LONGEST_LINE = 2000
#: The line is gone through no oftener than this, seconds, however many ask.
TIDY_S = 0.25
#: So long are seats kept after a restart for those who had them, seconds: their pages notice, and wait a little.
RETURN_S = 45.0


@dataclass
class Ticket:
    """One of the line: whether and when they were last heard of, from where, and how often a seat was kept in vain."""

    seen: float
    address: str = ""
    came: int = 0
    lapses: int = 0
    asks: bool = True
    since: float = field(init=False)

    def __post_init__(self) -> None:
        self.since = self.seen


@dataclass
class Hold:
    """A seat that is kept for somebody until a time; the ticket they had in the line."""

    until: float
    ticket: Ticket


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
        So long is a seat kept for somebody who has been told to come in. Who lets it lapse is passed over and keeps
        the place until they ask again; who lets it lapse twice goes to the end.
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
        self._came, self._tidied = 0, -TIDY_S
        self._tickets: dict[str, Ticket] = {}  # in the order of `came`
        self._held: dict[str, Hold] = {}

    def __len__(self) -> int:
        """Those who are there and wait."""
        now = self._clock()
        return sum(self._present(ticket, now) for ticket in self._tickets.values())

    @property
    def held(self) -> int:
        """Seats kept for those who have been told to come in."""
        return len(self._held)

    @property
    def longest_s(self) -> float:
        """Seconds that the one who has waited longest, of those who are there, has waited; 0 where nobody waits."""
        now = self._clock()
        return max((now - ticket.since for ticket in self._tickets.values() if self._present(ticket, now)), default=0.0)

    def _present(self, ticket: Ticket, now: float) -> bool:
        return ticket.asks and now - ticket.seen <= self._present_s

    def tidy(self) -> None:
        """Forget who has not been heard of; what was kept in vain goes to the next."""
        now = self._clock()
        if now - self._tidied < TIDY_S:
            return
        self._tidied = now
        self._tickets = {who: t for who, t in self._tickets.items() if now - t.seen <= self._forget_s}
        lapsed = {who: hold.ticket for who, hold in self._held.items() if now > hold.until}
        for who, ticket in lapsed.items():
            del self._held[who]
            ticket.lapses, ticket.asks = ticket.lapses + 1, False
            if ticket.lapses > 1:
                ticket.came = self._next()
            self._tickets[who] = ticket
        if lapsed:
            self._tickets = dict(sorted(self._tickets.items(), key=lambda each: each[1].came))
        self._seats.wanted = len(self) > 0

    def left(self) -> dict[str, list]:
        """What the next run of the server has to know: who waits, for whom a seat is kept, and who sits."""
        return {
            "waits": [[who, t.address, t.came, t.lapses] for who, t in self._tickets.items()],
            "kept": [[who, h.ticket.address, h.ticket.came, h.ticket.lapses] for who, h in self._held.items()],
            "sits": [[who, address] for who, address in self._seats.sitting().items()],
        }

    def go_on(self, left: dict[str, list]) -> None:
        """Take over what an earlier run has left, with nobody in yet: who had a seat is waited for, the line stands as
        it stood. Raises ValueError, TypeError or KeyError where it is not such."""
        now, tickets = self._clock(), {}
        before = [[who, address, number - len(left["sits"]), 0] for number, (who, address) in enumerate(left["sits"])]
        for who, address, came, lapses in (*before, *left["kept"], *left["waits"][:LONGEST_LINE]):
            if not isinstance(who, str) or not isinstance(address, str):
                raise ValueError("names are texts")
            tickets.setdefault(who, Ticket(now, address, int(came), int(lapses)))
        seated = [who for who, *_ in (*before, *left["kept"])][: self._seats.limit]
        self._held = {who: Hold(now + RETURN_S, tickets.pop(who)) for who in dict.fromkeys(seated)}
        self._tickets = dict(sorted(tickets.items(), key=lambda each: each[1].came))
        self._came = max((ticket.came for ticket in tickets.values()), default=0)

    def _next(self) -> int:
        self._came += 1
        return self._came

    def _turns(self, and_me: str) -> Iterator[tuple[int, int, str]]:
        """What decides who is next, least first, of all who are there and one more: how many seats their address has by
        then, and who came first."""
        now, before = self._clock(), self._seats.by_address()
        before.update(hold.ticket.address for hold in self._held.values())
        for who, ticket in self._tickets.items():
            if who == and_me or self._present(ticket, now):
                yield before[ticket.address], ticket.came, who
                before[ticket.address] += 1

    def place(self, who: str, address: str = "") -> int:
        """How many are there who come in before this visitor, plus one."""
        if who not in self._tickets:
            now = self._clock()
            self._tickets[who] = Ticket(now, address, self._came + 1)
            try:
                return self.place(who)
            finally:
                del self._tickets[who]
        turns = list(self._turns(who))
        mine = next(turn for turn in turns if turn[2] == who)
        return 1 + sum(turn < mine for turn in turns)

    def enters(self, who: str, address: str = "") -> bool:
        """Whether the visitor may sit down now; if not, they are in the line from now on."""
        self.tidy()
        if who in self._held:
            return True
        if who in self._tickets:
            ticket = self._tickets[who]
            ticket.seen, ticket.asks = self._clock(), True
        free = self._seats.limit - len(self._seats) - len(self._held)
        if free > 0 and free >= self.place(who, address):
            ticket = self._tickets.pop(who, None) or Ticket(self._clock(), address, self._next())
            self._held[who] = Hold(self._clock() + self._hold_s, ticket)
            return True
        if who not in self._tickets and self._room_for(address):
            self._tickets[who] = Ticket(self._clock(), address, self._next())
        self._seats.wanted = True
        return False

    def _room_for(self, address: str) -> bool:
        """Whether one more from an address can be written down; the last one of the busiest gives way where needed."""
        if len(self._tickets) < LONGEST_LINE:
            return True
        count = Counter(ticket.address for ticket in self._tickets.values())
        busiest, most = count.most_common(1)[0]
        if count[address] + 1 >= most:
            return False
        del self._tickets[next(who for who in reversed(self._tickets) if self._tickets[who].address == busiest)]
        return True

    def seated(self, who: str) -> None:
        """The visitor's page is being made: the seat is no longer kept, it is taken."""
        self._held.pop(who, None)
        self._tickets.pop(who, None)
