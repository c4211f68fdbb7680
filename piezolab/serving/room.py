"""Room mode: a teacher's computer serves a room of phones and laptops."""

import io
import logging
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import segno

from .kept_room import KeptRoom
from .limits import Allowances
from .seats import Seats
from .solved import Solved
from .standing import Standing
from .start_problems import ServingError
from .teachers_desk import TeachersDesk
from .waiting import WaitingLine

if TYPE_CHECKING:
    from ..lessons.lesson import Lesson

log = logging.getLogger("piezolab.serving")


@dataclass
class Room:
    """What the room's pages share.

    Attributes
    ----------
    address : str
        What visitors type, with a slash at its end.
    lesson : Lesson or None
        The lesson that the room works on.
    seats : Seats
        Who sits.
    kept : KeptRoom or None
        What is kept over a restart, if anything is.
    """

    address: str
    lesson: "Lesson | None"
    seats: Seats
    kept: KeptRoom | None = None
    line: WaitingLine = field(init=False)
    solved: Solved = field(init=False)
    standing: Standing = field(init=False)
    desk: TeachersDesk = field(init=False)
    new_pages: Allowances = field(init=False)
    own_pages: Allowances = field(init=False)
    reports: Allowances = field(init=False)
    _kept_told: bool = False
    #: Pages one visitor may have open; the one untouched for longest gives way to a further one.
    pages_each: int = 3
    #: Seconds in which the page that was left for a new one has said goodbye.
    goodbye_s: float = 2.0

    def __post_init__(self) -> None:
        # Here, not above: a server without a room does without the numerical libraries.
        from ..lessons.shelf import lesson_named

        self.line = WaitingLine(self.seats)
        self.solved = Solved(lesson_named, self.kept.secret if self.kept else None)
        if self.kept and self.kept.left:
            try:
                self.line.go_on(self.kept.left["line"])
                self.solved.go_on(self.kept.left["solved"])
            except (ValueError, TypeError, KeyError) as problem:
                log.warning("what the last run of this room has left cannot be read: %r", problem)
        self.standing = Standing(self.solved)
        self.desk = TeachersDesk()
        # A whole room behind one address may come at once, twice over, and a page each second after that.
        self.new_pages = Allowances(2 * self.seats.limit + 20, 1.0)
        # What a visitor opens counts until a browser has come to it: a page that is dropped is work for nobody.
        self.own_pages = Allowances(4, 0.05)
        self.reports = Allowances(40, 1.0)

    def keep(self) -> None:
        """Write down what the next run has to know, if it is not what was written last."""
        if self.kept is None:
            return
        try:
            self.kept.write({"line": self.line.left(), "solved": self.solved.left()})
            self._kept_told = False
        except OSError as problem:
            if not self._kept_told:
                log.warning("the room's line and counts would not outlive a restart now: %s", problem.strerror)
            self._kept_told = True

    @property
    def link(self) -> str:
        """Where the QR code leads: the lesson's page, or the start page."""
        if self.lesson is None:
            return self.address
        return f"{self.address}{self.lesson.chapter}?lesson={self.lesson.name}"

    def qr_svg(self) -> str:
        """The QR code as a picture for a page."""
        return segno.make(self.link, micro=False, error="m").svg_inline(
            scale=8, border=4, dark="#000000", light="#ffffff", omitsize=True, title="QR code of this address"
        )

    def qr_text(self) -> str:
        """The QR code in letters, for a terminal."""
        out = io.StringIO()
        segno.make(self.link, micro=False, error="l").terminal(out, border=2, compact=True)
        return out.getvalue()


def room_lesson(name: str | None) -> "Lesson | None":
    """The lesson of that name. Raises ServingError naming those there are."""
    if not name:
        return None
    from ..lessons.shelf import known_lessons, lesson_named

    lesson = lesson_named(name)
    if lesson is None:
        known = ", ".join(lesson.name for lesson in known_lessons()) or "none"
        raise ServingError(f"lesson: {name!r} is not known; there are: {known}")
    return lesson
