"""Seats: which kernel belongs to which visitor, and when it is given back.

A kernel is one open page. It is freed at once when the page says goodbye, when its process is gone, and
soon after its page was never opened or has lost its connection.
"""

import contextvars
import logging
import secrets
import time
from collections import Counter
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field

from .limits import InFlight

log = logging.getLogger("piezolab.serving")

#: Bytes on their way to one kernel, beyond which its page is not listened to; as what even a short message counts.
MOST_IN_FLIGHT, LEAST = 3 * 2**20, 2**14

#: Codes with which a page's channel is closed, so that the page can say why. (Released: by the room's teacher.)
ENDED, IDLE, GAVE_WAY, RELEASED, TOO_LARGE, TOO_MUCH = 4404, 4408, 4409, 4410, 4413, 4429


@dataclass(eq=False)
class Visit:
    """One page being opened: whose it is, its kernel once that has started, and the address it was asked from."""

    owner: str
    kernel_id: str | None = None
    address: str = ""


#: The visit that the running task serves; a kernel started there is its.
current_visit: contextvars.ContextVar[Visit] = contextvars.ContextVar("current_visit")


@dataclass
class Seat:
    """One kernel: its owner, its connections, and since when nobody has been connected."""

    kernel_id: str
    owner: str
    idle_since: float
    making: bool = True  # the page is still being written
    visited: bool = False  # a browser has connected at least once
    used: float = 0.0  # when somebody last did something on the page
    sockets: set = field(default_factory=set)
    address: str = ""  # from where the page was asked for
    in_flight: InFlight = field(default_factory=lambda: InFlight(MOST_IN_FLIGHT, least=LEAST))


class Seats:
    """All seats of one server.

    Parameters
    ----------
    limit : int
        Seats that may be taken at once.
    unopened_s, lost_s : float
        Seconds until a kernel is freed whose page was sent but never connected (a crawler), or lost its
        connection (a phone out of reach: long enough to come back from another room).
    idle_s : float or None
        Seconds until an open page that nobody touches gives its seat back; None for never.
    hurry_s : float
        Takes the place of ``unopened_s`` while somebody waits for a seat.
    clock : callable
        Seconds, monotonic.
    """

    #: A page that takes longer than this to make has failed, seconds.
    MAKING_S = 180.0

    def __init__(
        self,
        limit: int,
        *,
        unopened_s: float = 30.0,
        lost_s: float = 90.0,
        idle_s: float | None = None,
        hurry_s: float = 12.0,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.limit = limit
        self.idle_s = idle_s
        self.hurry_s = hurry_s
        #: Whether somebody waits for a seat; the waiting line says so.
        self.wanted = False
        self.unopened_s = unopened_s
        self.lost_s = lost_s
        self._clock = clock
        self._seats: dict[str, Seat] = {}
        self._opening: set[Visit] = set()

    def __len__(self) -> int:
        return len(self._seats) + len(self._opening)

    def __contains__(self, kernel_id: str) -> bool:
        return kernel_id in self._seats

    @property
    def full(self) -> bool:
        """Whether no further page can be opened."""
        return len(self) >= self.limit

    def opening(self, visit: Visit) -> None:
        """Hold a seat for a page whose kernel has not started yet."""
        self._opening.add(visit)

    def started(self, visit: Visit, kernel_id: str) -> None:
        """The visit's kernel has started: it belongs to the visitor."""
        self._opening.discard(visit)
        visit.kernel_id = kernel_id
        now = self._clock()
        self._seats[kernel_id] = Seat(kernel_id, visit.owner, now, used=now, address=visit.address)

    def sent(self, visit: Visit) -> None:
        """The page has been written out, or given up: its browser should connect now."""
        self._opening.discard(visit)
        seat = self._seats.get(visit.kernel_id or "")
        if seat:
            seat.making = False
            seat.idle_since = seat.used = self._clock()

    def is_making(self, kernel_id: str) -> bool:
        """Whether the kernel's page is still being written."""
        seat = self._seats.get(kernel_id)
        return bool(seat and seat.making)

    def owns(self, kernel_id: str, who: str | None) -> bool:
        """Whether the kernel exists and is this visitor's."""
        seat = self._seats.get(kernel_id)
        return bool(seat and who and secrets.compare_digest(seat.owner.encode(), who.encode()))

    def of(self, who: str) -> list[str]:
        """The visitor's kernels, the one untouched for longest first."""
        return [seat.kernel_id for seat in sorted(self._seats.values(), key=lambda s: s.used) if seat.owner == who]

    def sitting(self) -> dict[str, str]:
        """Who has a seat, and from which address."""
        opening = {visit.owner: visit.address for visit in self._opening}
        return opening | {seat.owner: seat.address for seat in self._seats.values()}

    def untouched_for(self) -> list[tuple[Seat, float]]:
        """All seats with seconds since somebody did something there, the one untouched for longest first."""
        now = self._clock()
        return sorted(((seat, now - seat.used) for seat in self._seats.values()), key=lambda each: -each[1])

    def by_address(self) -> Counter[str]:
        """How many seats are taken from each address."""
        return Counter(each.address for each in (*self._opening, *self._seats.values()))

    def being_made(self, who: str) -> int:
        """How many pages are being made for the visitor just now."""
        starting = sum(visit.owner == who for visit in self._opening)
        return starting + sum(seat.making and seat.owner == who for seat in self._seats.values())

    def in_flight(self, kernel_id: str) -> InFlight | None:
        """What is on its way to the kernel."""
        seat = self._seats.get(kernel_id)
        return seat.in_flight if seat else None

    def touch(self, kernel_id: str) -> None:
        """Somebody does something on the page."""
        seat = self._seats.get(kernel_id)
        if seat:
            seat.used = self._clock()

    def sockets(self, kernel_id: str) -> int:
        """How many connections the kernel's page has open."""
        seat = self._seats.get(kernel_id)
        return len(seat.sockets) if seat else 0

    def connect(self, kernel_id: str, socket: object) -> bool:
        """A browser's websocket to the kernel has opened; True for its first."""
        seat = self._seats.get(kernel_id)
        first = seat is not None and not seat.visited
        if seat:
            seat.sockets.add(socket)
            seat.visited = True
        return first

    def disconnect(self, kernel_id: str, socket: object) -> None:
        """A browser's websocket has closed."""
        seat = self._seats.get(kernel_id)
        if seat:
            seat.sockets.discard(socket)
            seat.idle_since = self._clock()

    def remove(self, kernel_id: str) -> Seat | None:
        """Forget the kernel and return its seat."""
        return self._seats.pop(kernel_id, None)

    def overdue(self) -> list[str]:
        """Kernels that nobody is connected to and nobody will come back for."""
        now = self._clock()
        out = []
        unopened_s = min(self.unopened_s, self.hurry_s) if self.wanted else self.unopened_s
        for seat in self._seats.values():
            if seat.sockets:
                continue
            patience = self.MAKING_S if seat.making else self.lost_s if seat.visited else unopened_s
            if now - seat.idle_since > patience:
                out.append(seat.kernel_id)
        return out

    def untouched(self) -> list[str]:
        """Kernels of open pages on which nobody has done anything for too long."""
        if self.idle_s is None:
            return []
        now = self._clock()
        return [s.kernel_id for s in self._seats.values() if s.sockets and now - s.used > self.idle_s]

    async def sweep(
        self, alive: Callable[[str], Awaitable[bool]], free: Callable[..., Awaitable[None]]
    ) -> None:
        """Free every kernel that is overdue or whose process is gone."""
        for kernel_id in list(self._seats):
            if kernel_id in self._seats and not await alive(kernel_id):
                log.warning("kernel %s has died; its page is told", kernel_id)
                await free(kernel_id)
        for kernel_id in self.overdue():
            log.info("kernel %s is nobody's any more", kernel_id)
            await free(kernel_id)
        for kernel_id in self.untouched():
            log.info("kernel %s is not being used", kernel_id)
            await free(kernel_id, IDLE)
