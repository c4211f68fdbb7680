"""A room: the door, the seats, the line, the projector's numbers, and what nobody may do to another."""

import json

import pytest
import requests

from piezolab.lessons.shelf import lesson_named
from piezolab.serving import ServingError, serve
from piezolab.serving.channels import MOST_CHANNELS, PING_MS, PONG_MS
from piezolab.serving.seats import GAVE_WAY, IDLE
from tests.room.conftest import Guest, open_room
from tests.serving.visitor import Visitor, hear, say

LESSON = lesson_named("find-the-hum")
TASK = LESSON.tasks[0].name


@pytest.fixture(autouse=True)
def nobody_there(room):
    """Each test comes into an empty room and leaves one."""
    assert room.kernels_become(0, 60)


def state(room) -> dict:
    return requests.get(room.url + "projector/state", timeout=20).json()


def test_first_request_brings_a_cookie_and_costs_no_kernel(room):
    guest = Guest(room)
    page = guest.knock("what-is-inside?pickup_c=4n7")
    assert page.status_code == 200 and page.headers["Cache-Control"] == "no-store"
    assert "Getting your place ready" in page.text and "kernelId" not in page.text
    assert guest.http.cookies and not room.kernels()
    kernel = guest.come_in()
    assert len(room.kernels()) == 1
    assert guest.leave(kernel) == 204


def test_without_cookies_nobody_takes_a_seat(room):
    for _ in range(20):
        assert "kernelId" not in requests.get(room.url + "is-it-empty", timeout=20).text
    assert requests.get(room.url + "room/place", timeout=20).json() == {"enter": False, "place": None, "stranger": True}
    assert not room.kernels() and state(room)["taken"] == 0


def test_full_room_has_a_line_and_lets_people_in_in_turn(room):
    sitting = [Guest(room) for _ in range(3)]
    kernels = [guest.come_in() for guest in sitting]
    first, second = Guest(room), Guest(room)
    first.knock(), second.knock()
    assert first.place()["place"] == 1 and second.place()["place"] == 2
    page = second.knock("is-it-empty?pickup_c=4n7")
    assert page.status_code == 200 and "You are number 2 in the line." in page.text and "kernelId" not in page.text
    assert state(room) | {"lessons": []} == {"taken": 3, "free": 0, "waiting": 2, "lessons": []}
    assert sitting[0].leave(kernels[0]) == 204
    assert not second.place()["enter"] and first.place()["enter"]
    kernels[0] = first.sit_down()
    assert len(room.kernels()) == 3
    assert sitting[1].leave(kernels[1]) == 204
    assert second.place()["enter"]
    kernels[1] = second.sit_down()
    for guest, kernel in zip((first, second, sitting[2]), kernels, strict=True):
        assert guest.leave(kernel) == 204


def test_going_to_another_page_keeps_the_seat_though_others_wait(room):
    sitting = [Guest(room) for _ in range(3)]
    kernels = [guest.come_in() for guest in sitting]
    waiting = Guest(room)
    waiting.knock()
    assert waiting.place()["place"] == 1
    new = sitting[0].sit_down("what-is-inside")  # the old page's goodbye is late, or lost
    assert _closing(sitting[0].lines[kernels[0]])[0] == GAVE_WAY and room.kernels_become(3, 30)
    assert sitting[0].leave(kernels[0]) == 404
    assert not waiting.place()["enter"]
    for guest, kernel in zip(sitting, [new, *kernels[1:]], strict=True):
        assert guest.leave(kernel) == 204


def test_one_visitor_has_three_pages_and_the_oldest_gives_way(room):
    guest = Guest(room)
    first = guest.come_in()
    others = [guest.sit_down() for _ in range(3)]
    assert _closing(guest.lines[first])[0] == GAVE_WAY and room.kernels_become(3, 30)
    assert [guest.leave(kernel) for kernel in others] == [204] * 3


def _closing(line) -> tuple[int, str]:
    """Code and words with which a channel is closed."""
    line.settimeout(60)
    while True:
        opcode, data = line.recv_data()
        if opcode == 8:
            return int.from_bytes(data[:2], "big"), data[2:].decode()


def test_untouched_page_gives_its_seat_back_and_a_read_one_does_not(room_notebooks):
    server = open_room(room_notebooks, seats=2, idle_minutes=0.1)
    try:
        idle, reader = Guest(server), Guest(server)
        kernels = [idle.come_in(), reader.come_in()]
        lines = [idle.lines[kernels[0]], reader.lines[kernels[1]]]
        for _ in range(7):  # longer than the other's page may stay untouched
            assert reader.http.post(server.url + "room/here/" + kernels[1], timeout=20).status_code == 204
            assert hear(lines[1], "never", 1.0) is None
        assert _closing(lines[0])[0] == IDLE
        assert server.kernels_become(1, 30)
        assert idle.http.post(server.url + "room/here/" + kernels[1], timeout=20).status_code == 404
        assert idle.leave(idle.come_in()) == 204
    finally:
        server.stop()


def test_a_good_line_is_not_closed_by_the_servers_own_pings(room_notebooks):
    """The stock check closed every page's line at its second ping."""
    assert PONG_MS >= 2 * PING_MS
    # The same proportions in a fifth of the time: what matters is that the second ping finds an old answer.
    pings = PING_MS // 5, PONG_MS // 5
    server = open_room(room_notebooks, patience={"pings_ms": pings})
    try:
        guest = Guest(server)
        kernel = guest.come_in()
        line = guest.lines[kernel]
        assert hear(line, "never", 2.4 * pings[0] / 1000) is None
        say(line, "kernel_info_request", {})
        assert hear(line, "kernel_info_reply", 30)
        assert guest.leave(kernel) == 204
        assert "ping timeout" not in server.output
    finally:
        server.stop()


def test_solved_tasks_are_counted_once_for_each_visitor(room):
    before = [task["solved"] for task in state(room)["lessons"][0]["tasks"]]
    guests = [Guest(room), Guest(room)]
    kernels = [guest.come_in() for guest in guests]
    report = {"lesson": LESSON.name, "tasks": [TASK]}
    for guest in (*guests, guests[0]):
        assert guest.solved(report).status_code == 204
    [lesson] = state(room)["lessons"]
    assert lesson["title"] == LESSON.title and len(lesson["tasks"]) == len(LESSON.tasks)
    assert [task["solved"] for task in lesson["tasks"]] == [before[0] + 2, *before[1:]]
    assert [guest.leave(kernel) for guest, kernel in zip(guests, kernels, strict=True)] == [204, 204]


def test_only_who_sits_in_the_room_is_counted_and_only_what_there_is(room):
    good = {"lesson": LESSON.name, "tasks": [TASK]}
    stranger = Guest(room)
    assert stranger.solved(good).status_code == 403
    stranger.knock()
    assert stranger.solved(good).status_code == 403
    guest = Guest(room)
    kernel = guest.come_in()
    for content in (
        {"lesson": "no-such", "tasks": [TASK]},
        {"lesson": LESSON.name, "tasks": [TASK, "<script>alert(1)</script>"]},
        {"lesson": LESSON.name, "tasks": TASK},
        {"lesson": LESSON.name, "tasks": [TASK] * 61},
        {"lesson": "../../etc/passwd", "tasks": [TASK]},
        {**good, "name": "Ann"},
        {"lesson": LESSON.name},
        [],
        "text",
        None,
    ):
        answer = guest.solved(content)
        assert answer.status_code == 400, content
        assert "alert" not in json.dumps(state(room))
    assert guest.http.post(room.url + "room/solved", data=b"\xff{", timeout=20).status_code == 400
    assert guest.http.post(room.url + "room/solved", data=b"[" * 499, timeout=20).status_code == 400
    assert guest.solved({**good, "tasks": ["x" * 6000]}).status_code == 413
    assert guest.solved(good, headers={"Origin": "http://elsewhere.example"}).status_code == 403
    codes = {guest.solved(good).status_code for _ in range(60)}
    assert codes == {204, 429}
    assert guest.leave(kernel) == 204


@pytest.mark.parametrize("path", ["", "is-it-empty", "room/place", "projector", "projector/state"])
@pytest.mark.parametrize("host", ["elsewhere.example", "127.0.0.1.elsewhere.example"])
def test_a_name_that_is_not_ours_is_refused(room, path, host):
    answer = requests.get(room.url + path, headers={"Host": host}, timeout=20)
    assert answer.status_code == 421 and not answer.cookies and not room.kernels()


def test_two_rooms_know_nothing_of_each_others_guests(room, room_notebooks):
    other = open_room(room_notebooks, seats=2)
    try:
        here, there = Guest(room), Guest(other)
        kernel, theirs = here.come_in(), there.come_in()
        assert set(here.http.cookies.keys()).isdisjoint(there.http.cookies.keys())
        # The same browser in both rooms, and somebody who renames one room's cookie to the other's.
        for name, value in here.http.cookies.items():
            there.http.cookies.set(name, value)
            there.http.cookies.set(next(iter(set(there.http.cookies.keys()) - {name})), value)
        there.server = room
        assert there.leave(kernel) == 204  # the browser of here, wherever its cookie is sent from
        there.server = other
        assert there.leave(theirs) == 404  # but a cookie of here opens nothing there
        assert there.http.get(other.url + "api/kernels/" + theirs, timeout=20).status_code == 404
        assert there.place().get("stranger")
    finally:
        other.stop()


def test_a_page_may_not_open_connections_without_end(room):
    guest = Guest(room)
    kernel = guest.come_in()
    lines = [guest.channel(kernel) for _ in range(MOST_CHANNELS - 1)]
    with pytest.raises(Exception, match="429"):
        guest.channel(kernel)
    lines[0].close()
    assert guest.leave(kernel) == 204


def test_projector_page_shows_the_way_in(room):
    page = requests.get(room.url + "projector", timeout=20)
    assert page.status_code == 200 and LESSON.title in page.text
    assert room.url.rstrip("/") in page.text and "<svg" in page.text
    assert "Set-Cookie" not in page.headers and not room.kernels()
    policy = page.headers["Content-Security-Policy"]
    assert "'unsafe-inline'" not in policy.split("style-src")[0] and "<script>" not in page.text


def test_room_sheet_says_what_can_go_wrong(room):
    sheet = requests.get(room.url + "room-sheet", timeout=20).text
    for word in ("client isolation", "firewall", "http://", "mobile data", "protective earth", "volume down"):
        assert word in sheet
    assert room.url.rstrip("/") in sheet and "There are 3 seats." in sheet


def test_terminal_shows_address_and_code(room):
    room.wait_for("Stop with", 30)  # the address alone comes before the server can be spoken to
    assert f"In the room, open: {room.url}{LESSON.chapter}?lesson={LESSON.name}" in room.output
    assert "▀" in room.output and "For the projector: " in room.output


def test_public_address_is_what_visitors_are_told(room_notebooks):
    server = open_room(room_notebooks, public_address="https://workshop.example")
    try:
        assert server.url == "https://workshop.example/"
        assert "For the projector: https://workshop.example/projector" in server.wait_for("Stop with", 30).string
    finally:
        server.stop()


def test_unknown_lesson_is_refused_with_those_there_are(room_notebooks):
    with pytest.raises(ServingError, match="lesson: 'no-such' is not known; there are: .*find-the-hum"):
        serve(port=0, notebooks=room_notebooks, room=True, host="127.0.0.1", lesson="no-such")


def test_without_a_room_there_are_none_of_its_addresses(room_notebooks):
    from tests.serving.live import LiveServer

    server = LiveServer(room_notebooks)
    try:
        for path in ("projector", "projector/state", "room/place"):
            assert requests.get(server.url + path, timeout=20).status_code == 404
        assert Visitor(server).leave(Visitor(server).open()) == 404
    finally:
        server.stop()
