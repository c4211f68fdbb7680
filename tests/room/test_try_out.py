"""A room tried before its day: what is measured, the verdict, and whom the address leads to."""

import asyncio
import json
import re
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

import pytest
from tornado.httpserver import HTTPServer
from tornado.netutil import bind_sockets
from tornado.web import Application, RequestHandler

from piezolab.serving import ServingError, serve, try_out
from piezolab.serving.try_out import LEAST_LEFT, MB, MOST_ANSWER_S, MOST_READY_S, TrialFigures, reached, verdict, within
from tests.serving.conftest import write_notebook

GOOD = TrialFigures(3, [1.0, 2.0, 3.0], 0.5, [0.01] * 99 + [9.0], [], 50 * MB, 300 * MB, 2000 * MB)


def run(asked):
    """Wait for an answer, on a thread of its own: a browser of other tests may have a loop in this one."""
    with ThreadPoolExecutor(1) as threads:
        return threads.submit(asyncio.run, asked).result()


def but(**changes) -> TrialFigures:
    return TrialFigures(**{**vars(GOOD), **changes})


def test_a_room_that_is_held_is_said_to_be():
    assert verdict(GOOD, "") == (True, "Verdict: this machine holds 3 visitors.")
    assert GOOD.lines() == [
        "Ready: 3 of 3 pages, half within 2.0 s, 95 % within 3.0 s; all at rest 0.5 s later.",
        "Sliders: 100 moves, 95 % answered within 10 ms.",
        "Memory: 50 MB for each seat, 300 MB in all, 2000 MB of this machine's left.",
    ]


@pytest.mark.parametrize(
    "changes, why",
    [
        ({"problems": ["a page did not come (status 429)"]}, r"1 of 3 pages failed \(a page did not come"),
        ({"ready": [MOST_READY_S + 5] * 3}, r"pages take 25 s to be ready \(at most 20 s\)"),
        ({"moves": [MOST_ANSWER_S * 2] * 9}, r"sliders answer within 1000 ms \(at most 500 ms\)"),
        ({"left": LEAST_LEFT / 2}, r"200 MB of memory are left \(at least 400 MB\)"),
        ({"ready": [], "moves": [], "problems": ["x"] * 3}, "3 of 3 pages failed"),
    ],
)
def test_what_keeps_a_machine_from_it_is_named(changes, why):
    good, sentence = verdict(but(**changes), "")
    assert not good and re.search(f"^Verdict: this machine does not hold 3 visitors: {why}", sentence)
    assert all("nan" not in line for line in but(**changes).lines())


def test_a_machine_that_no_phone_reaches_is_no_room():
    sentence = "Verdict: this machine holds 3 visitors, but nothing answers at X."
    assert verdict(GOOD, "nothing answers at X") == (False, sentence)
    assert verdict(but(wanted=1), "") == (True, "Verdict: this machine holds 1 visitor.")


def test_within_is_what_nineteen_of_twenty_keep():
    assert within([*range(1, 21)]) == 20 and within([*range(1, 101)]) == 96 and within([7.0]) == 7.0


class Greets(RequestHandler):
    """A server that knows its visitors by a signed cookie."""

    def get(self) -> None:
        self.set_signed_cookie("seat-1", "somebody")


@pytest.mark.parametrize("ours", [True, False])
def test_it_is_seen_whether_this_very_server_answers(monkeypatch, ours):
    monkeypatch.setattr(try_out, "is_loopback", lambda host: False)  # tests have no other network to rely on

    async def ask() -> tuple[str, str]:
        [socket] = bind_sockets(0, "127.0.0.1")
        server = HTTPServer(Application([("/", Greets)], cookie_secret="theirs"))
        server.add_socket(socket)
        settings = {"visitor_cookie": "seat-1", "cookie_secret": "theirs" if ours else "of another server"}
        found = await reached(f"http://127.0.0.1:{socket.getsockname()[1]}/", settings)
        server.stop()
        return found

    way, told = run(ask())
    assert way == ("" if ours else re.search(r"another server answers at \S+/", told)[0])
    assert told.startswith("Address: ")


def test_an_address_that_leads_nowhere_is_said(monkeypatch):
    assert run(reached("http://127.0.0.1:8350/", {}))[0].startswith("no phone reaches http://127.0.0.1:8350/")
    monkeypatch.setattr(try_out, "is_loopback", lambda host: False)
    [socket] = bind_sockets(0, "127.0.0.1")
    port = socket.getsockname()[1]
    socket.close()
    assert run(reached(f"http://127.0.0.1:{port}/", {}))[0] == f"nothing answers at http://127.0.0.1:{port}/"


@pytest.mark.parametrize("visitors", [0, 4])
def test_more_than_the_seats_are_refused_with_the_range(room_notebooks, visitors):
    with pytest.raises(ServingError, match=f"^try: {visitors} is out of range; 1 to 3, the number of seats"):
        serve(port=0, notebooks=room_notebooks, room=True, host="127.0.0.1", seats=3, visitors=visitors)


_TRY = """
import json, sys
from piezolab.serving import serve, try_out
try_out.MOVING_S = 1.5
print("held:", serve(port=0, room=True, host="127.0.0.1", **json.loads(sys.argv[1])))
"""


def tried(**options) -> str:
    """What a server says that was started to be tried; it ends by itself."""
    command = [sys.executable, "-c", _TRY, json.dumps(options)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_visitors_without_a_screen_come_move_and_leave():
    said = tried(visitors=2, seats=2, warm=False)
    assert "2 visitors come to where-does-the-bass-go" in said and "Ready: 2 of 2 pages" in said
    moves = int(re.search(r"Sliders: (\d+) moves, 95 % answered within \d+ ms", said)[1])
    assert moves >= 2
    seat, whole, left = map(int, re.search(r"Memory: (\d+) MB .*, (\d+) MB in all, (\d+) MB", said).groups())
    assert 20 < seat < 500 and whole >= 2 * seat and left > 0
    # This computer's name for itself is no phone's: whatever else was measured, the room is not ready.
    assert re.search(r"Verdict: this machine .*no phone reaches http://127.0.0.1:\d+/", said) and "held: False" in said


def test_a_page_that_cannot_be_moved_is_no_sound_one(tmp_path):
    write_notebook(tmp_path / "index.ipynb", "# All questions")
    write_notebook(tmp_path / "01-does-it-move.ipynb", "# Does it move?", "import ipywidgets\nipywidgets.Label('no')")
    said = tried(visitors=1, seats=1, warm=False, notebooks=str(tmp_path))
    assert "1 visitor comes to does-it-move" in said and "1 of 1 pages failed (the page has no slider)" in said
