"""The room's own pages and reports, made by the server without a kernel: waiting, projector, what was solved."""

import json
from html import escape
from string import Template
from typing import Any
from urllib.parse import urlsplit

from tornado.web import HTTPError

from .addresses import household
from .assets import page_head
from .room import Room
from .solved import SolvedError
from .visitors import Visitors

_WAITING = Template("""$head<body class="pz-waiting" data-place-address="${base}room/place" data-place="$place">
<main>
<h1 id="title">$title</h1>
<p id="said" role="status">$said</p>
<p id="kept" class="small">$kept</p>
<noscript><p>This page tries again every ten seconds. The chapters themselves need JavaScript: please allow it for this
address.</p></noscript>
</main>
</body>
</html>
""")
#: What the waiting page's head says; without scripts the page asks by itself, and less often.
_ASKS = """<script src="{}/own/waiting.js" defer></script>
<noscript><meta http-equiv="refresh" content="10"></noscript>
"""
_COMING = "Getting your place ready …"
_FULL = "Every seat is taken just now. You are number {place} in the line."
_KEPT = "This page lets you in by itself, in turn. Leave it open: the address keeps your chain."

_PROJECTOR = Template("""$head<body class="pz-projector" data-state-address="${base}projector/state">
<main>
<div class="pz-way">
<p class="pz-lead">Open this address on your phone or laptop:</p>
<p class="pz-address">$address</p>
$then<div class="pz-qr">$qr</div>
<p class="small">Type the <b>http://</b> too. A phone may say that this Wi-Fi has no internet: stay in it.</p>
</div>
<div class="pz-now">
<h1 id="lesson">$lesson</h1>
<p id="seats" role="status">&nbsp;</p>
<p id="lost" class="pz-lost" hidden>The server does not answer just now. The numbers below are the last ones.</p>
<div id="counts"></div>
<p class="small">Nobody is named here. The numbers are gone a quarter of an hour after the server stops.</p>
</div>
</main>
</body>
</html>
""")


def then_choose(title: str) -> str:
    """What whoever types the address does next; the code leads to the lesson itself."""
    return f"<p>then choose the lesson “{escape(title)}” (the code opens it at once)</p>\n"


class RoomHandler(Visitors):
    """What all of the room's handlers share."""

    def initialize(self, room: Room) -> None:
        self._room = room

    def prepare(self) -> None:
        origin = self.request.headers.get("Origin")
        if origin and urlsplit(origin).netloc.lower() != self.request.host.lower():
            raise HTTPError(403)

    def check_xsrf_cookie(self) -> None:
        """Not needed: other sites' origin is refused, and the cookie is not sent along by them (SameSite)."""

    def answer(self, content: Any) -> None:
        """Send JSON that nobody keeps."""
        self.set_header("Content-Type", "application/json; charset=utf-8")
        self.set_header("Cache-Control", "no-store")
        self.finish(json.dumps(content))

    def show(self, page: Template, title: str, script: str, **words: str) -> None:
        """Send a page that nobody keeps. script: its name among the static files."""
        self.set_header("Content-Type", "text/html; charset=utf-8")
        self.set_header("Cache-Control", "no-store")
        static = self.settings["static"]
        head = page_head(static, title, f'<script src="{static}/own/{script}" defer></script>\n')
        self.finish(page.substitute(head=head, base=self.settings["base_url"], **words))


def waiting_page(handler: Visitors, place: int | None) -> str:
    """The page of somebody who comes in (place None) or waits for a seat.

    While it is read, the browser fetches the large files that the chapter will want.
    """
    static = handler.settings["static"]
    preload = "".join(
        f'<link rel="prefetch" href="{static}/{name}">\n' for name in handler.settings["large_files"]
    )
    title = "One moment" if place is None else "The room is full"
    return _WAITING.substitute(
        head=page_head(static, title, preload + _ASKS.format(static)),
        base=handler.settings["base_url"],
        title=title,
        said=_COMING if place is None else _FULL.format(place=place),
        kept="" if place is None else _KEPT,
        place="" if place is None else str(place),
    )


class PlaceHandler(RoomHandler):
    """Tells somebody who waits whether to come in, and which place in the line they have."""

    def get(self) -> None:
        who = self.known_visitor()
        if who is None:
            # Their browser keeps no cookies, or the server has been started again.
            self.answer({"enter": False, "place": None, "stranger": True})
        elif self.seats.of(who) or self._room.line.enters(who, household(self.request.remote_ip)):
            self.answer({"enter": True})
        else:
            place = self._room.line.place(who, household(self.request.remote_ip))
            self.answer({"enter": False, "place": place, "said": _FULL.format(place=place)})


class HereHandler(RoomHandler):
    """A page's word that somebody is reading it."""

    def post(self, kernel_id: str) -> None:
        if not self.seats.owns(kernel_id, self.known_visitor()):
            raise HTTPError(404)
        self.seats.touch(kernel_id)
        self.set_status(204)


class SolvedHandler(RoomHandler):
    """A page's word which tasks of a lesson its visitor has solved by now, on which screen they are, and their latest
    wrong answers; the same word again changes nothing. All of it is what a browser claims."""

    #: Longest report, bytes, and most tasks in it.
    LONGEST, MOST = 4000, 60
    PARTS = frozenset({"lesson", "tasks", "at", "wrong"})

    def post(self) -> None:
        who = self.known_visitor()
        if who is None or not self.seats.of(who):
            raise HTTPError(403)
        if not self._room.reports.take(who):
            raise HTTPError(429)
        if len(self.request.body) > self.LONGEST:
            raise HTTPError(413)
        try:
            report = json.loads(self.request.body)
            if not isinstance(report, dict) or not {"lesson", "tasks"} <= set(report) <= self.PARTS:
                raise SolvedError("report: allowed are a lesson and its tasks, at and wrong, nothing else")
            if not isinstance(report["tasks"], list) or len(report["tasks"]) > self.MOST:
                raise SolvedError(f"tasks: allowed is a list of up to {self.MOST}")
            self._room.standing.note(who, report["lesson"], report.get("at", 0), report.get("wrong", {}))
            self._room.solved.add(who, report["lesson"], report["tasks"])
            self._room.keep()
        except SolvedError as problem:
            self.set_status(400)
            self.answer({"problem": str(problem)})
        except (ValueError, OverflowError, RecursionError):
            raise HTTPError(400) from None
        else:
            self.set_status(204)


class ProjectorHandler(RoomHandler):
    """The page for the wall: address, QR code, seats, and how many have solved what."""

    def get(self) -> None:
        lesson = self._room.lesson
        self.show(
            _PROJECTOR,
            "For the projector",
            "projector.js",
            address=escape(self._room.address.rstrip("/")),
            qr=self._room.qr_svg(),
            lesson=escape(lesson.title if lesson else "All chapters"),
            then=then_choose(lesson.title) if lesson else "",
        )


class ProjectorStateHandler(RoomHandler):
    """The numbers on the projector page."""

    def get(self) -> None:
        room = self._room
        room.line.tidy()
        taken = min(len(room.seats), room.seats.limit)
        lessons = [room.lesson] if room.lesson else room.solved.lessons
        self.answer(
            {
                "taken": taken,
                "free": max(room.seats.limit - taken - room.line.held, 0),
                "waiting": len(room.line),
                "lessons": [
                    {
                        "title": lesson.title,
                        "tasks": [{"question": text, "solved": n} for text, n in room.solved.counts(lesson)],
                    }
                    for lesson in lessons
                ],
            }
        )
