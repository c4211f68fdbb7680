"""The teacher's view: who waits, who is where, common wrong answers; releases a seat and silences every page."""

import json
from string import Template
from typing import Any

from tornado.web import HTTPError

from .addresses import household
from .room_pages import RoomHandler
from .seats import RELEASED, Seats

_VIEW = Template("""$head<body class="pz-teacher" data-view-address="${base}teacher/">
<main>
<h1>Teacher's view</h1>
<p id="said" role="status">One moment …</p>
<div id="view" hidden>
<section aria-labelledby="seats-title">
<h2 id="seats-title">Seats</h2>
<p id="seats"></p>
<p id="waiting"></p>
<form id="release">
<label for="seat">Seat, and for how long nobody has touched it</label>
<select id="seat"></select>
<button type="submit">release it</button>
</form>
</section>
<section aria-labelledby="sound-title">
<h2 id="sound-title">Sound</h2>
<p id="sound"></p>
<button type="button" id="mute"></button>
</section>
<section aria-labelledby="places-title">
<h2 id="places-title">How many are where</h2>
<div id="places"></div>
</section>
<section aria-labelledby="wrong-title">
<h2 id="wrong-title">Wrong answers that three or more gave</h2>
<div id="wrong"></div>
</section>
<p class="small">Places and answers are what the browsers say. They name nobody, and are kept nowhere.</p>
</div>
</main>
</body>
</html>
""")


class TeacherHandler(RoomHandler):
    """What all of the teacher's handlers share."""

    def prepare(self) -> None:
        super().prepare()
        self.request.tells_nobody = True
        self.set_header("Cache-Control", "no-store")

    @property
    def cookie(self) -> str:
        """The name of the teacher's cookie."""
        return "teacher-" + self.settings["visitor_cookie"]

    def known(self) -> None:
        """Go on for the teacher only."""
        if not self._room.desk.knows(self.get_cookie(self.cookie)):
            raise HTTPError(403)

    def asked(self) -> dict[str, Any]:
        """The request's own words. Raises HTTPError where they are none."""
        try:
            found = json.loads(self.request.body)
        except (ValueError, RecursionError):
            found = None
        if not isinstance(found, dict):
            raise HTTPError(400)
        return found


class ViewHandler(TeacherHandler):
    """The page: the same for everybody, with nothing in it."""

    def get(self) -> None:
        self.show(_VIEW, "Teacher's view", "teacher.js")


class KeyHandler(TeacherHandler):
    """Takes the secret of the teacher's address for a cookie."""

    def post(self) -> None:
        desk = self._room.desk
        if not desk.may_try(household(self.request.remote_ip)):
            raise HTTPError(429)
        secret = self.asked().get("secret")
        kept = desk.pass_for(secret) if isinstance(secret, str) and len(secret) <= 100 else None
        if kept is None:
            raise HTTPError(403)
        path, secure = self.settings["base_url"] + "teacher", self.request.protocol == "https"
        self.set_cookie(self.cookie, kept, path=path, httponly=True, samesite="Strict", secure=secure)
        self.set_status(204)


class StateHandler(TeacherHandler):
    """The numbers of the view."""

    def get(self) -> None:
        self.known()
        room, seats = self._room, self.seats
        room.line.tidy()
        taken = seats.untouched_for()
        numbers = room.desk.numbers([seat.kernel_id for seat, _ in taken])
        present = dict.fromkeys(seat.owner for seat, _ in taken)
        there = min(len(seats), seats.limit)
        lessons = room.standing.lessons(present)
        self.answer(
            {
                "taken": there,
                "free": max(seats.limit - there - room.line.held, 0),
                "held": room.line.held,
                "waiting": len(room.line),
                "longest_s": round(room.line.longest_s),
                "muted": room.desk.muted,
                "seats": [
                    {"seat": numbers[s.kernel_id], "idle_s": round(idle), "where": room.standing.place(s.owner)}
                    for s, idle in taken
                ],
                "lessons": lessons,
                "elsewhere": len(present) - sum(one["here"] for lesson in lessons for one in lesson["screens"]),
            }
        )


class ReleaseHandler(TeacherHandler):
    """Gives a seat back, which then is the next one's."""

    async def post(self) -> None:
        self.known()
        asked, seats = self.asked().get("seat"), self.seats
        numbers = self._room.desk.numbers([seat.kernel_id for seat, _ in seats.untouched_for()])
        found = next((kernel_id for kernel_id, number in numbers.items() if number == asked), None)
        if found is None:
            raise HTTPError(404)
        await self.settings["kernel_manager"].free(found, RELEASED)
        self.set_status(204)


class SoundHandler(TeacherHandler):
    """Silences every page, or lets them sound again."""

    def post(self) -> None:
        self.known()
        muted = self.asked().get("muted")
        if not isinstance(muted, bool):
            raise HTTPError(400)
        self._room.desk.muted = muted
        tell_all(self.seats, muted)
        self.set_status(204)


def tell_all(seats: Seats, muted: bool) -> None:
    """Tell every open page whether it is to be silent."""
    for seat, _ in seats.untouched_for():
        for channel in list(seat.sockets):
            tell_one(channel, muted)


def tell_one(channel: Any, muted: bool) -> None:
    """Tell one page, by a word of the server's own that its kernel has no part in."""
    channel.write_message(json.dumps({"piezolab": {"muted": muted}}))


#: Address below the base -> handler.
ROUTES = {
    "teacher": ViewHandler,
    "teacher/key": KeyHandler,
    "teacher/state": StateHandler,
    "teacher/release": ReleaseHandler,
    "teacher/sound": SoundHandler,
}
