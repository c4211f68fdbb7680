"""What a room keeps over a restart: who may read it, how long it holds, and that everybody is where they were."""

import json
import os
import signal
import socket
import time
from types import SimpleNamespace

import pytest
import requests
from hypothesis import given
from hypothesis import strategies as st

from piezolab.lessons.shelf import lesson_named
from piezolab.serving.kept_room import DAY_S, MOMENT_S, KeptRoom, NotKept
from piezolab.serving.room import Room
from piezolab.serving.seats import Seats, Visit
from piezolab.serving.waiting import RETURN_S, WaitingLine
from tests.room.conftest import Guest, open_room
from tests.room.test_counting import LESSON, solved
from tests.serving.test_seats import Clock


@pytest.fixture
def folder(tmp_path):
    return tmp_path / "kept"


def the_file(folder):
    [path] = folder.glob("room-*")
    return path


def test_the_secret_holds_for_a_day_and_what_was_left_for_a_moment(folder):
    clock = Clock()
    first = KeptRoom(folder, "here", clock)
    first.write({"line": [1]})
    for after, left in ((MOMENT_S - 1, {"line": [1]}), (MOMENT_S + 1, {})):
        clock.now += after
        again = KeptRoom(folder, "here", clock)
        assert again.secret == first.secret and again.left == left
    assert KeptRoom(folder, "there", clock).secret != first.secret
    clock.now += DAY_S
    assert KeptRoom(folder, "here", clock).secret != first.secret


def test_nobody_else_can_read_it(folder):
    KeptRoom(folder, "here")
    assert folder.stat().st_mode & 0o777 == 0o700 and the_file(folder).stat().st_mode & 0o777 == 0o600


def a_link(folder):
    path = the_file(folder)
    path.rename(folder.parent / "elsewhere")
    path.symlink_to(folder.parent / "elsewhere")


def a_folder_that_is_a_link(folder):
    folder.rename(folder.parent / "elsewhere")
    folder.symlink_to(folder.parent / "elsewhere")


@pytest.mark.parametrize(
    "spoil",
    [a_link, a_folder_that_is_a_link, lambda f: the_file(f).chmod(0o644), lambda f: f.chmod(0o755)],
)
def test_what_others_may_have_put_there_is_refused(folder, spoil):
    before = KeptRoom(folder, "here").secret
    spoil(folder)
    with pytest.raises(NotKept) as caught:
        KeptRoom(folder, "here")
    assert str(folder) in str(caught.value) and before.hex() not in str(caught.value)


def test_another_users_file_is_refused(folder, monkeypatch):
    KeptRoom(folder, "here")
    mine = os.getuid()
    monkeypatch.setattr(os, "getuid", lambda: mine + 1)
    with pytest.raises(NotKept, match="another user"):
        KeptRoom(folder, "here")


@pytest.mark.parametrize("text", ["", "{", "[]", "null", '{"secret": 3}', "[" * 5000])
def test_half_a_file_is_as_none(folder, text):
    secret = KeptRoom(folder, "here").secret
    the_file(folder).write_text(text)
    assert KeptRoom(folder, "here").secret != secret


@pytest.mark.parametrize("left", [{"line": 3}, {"line": {"waits": [["a"]], "kept": [], "sits": []}, "solved": []}])
def test_what_cannot_be_read_is_left_out_and_said(left, caplog):
    room = Room("http://127.0.0.1/", None, Seats(1), SimpleNamespace(secret=b"s" * 32, left=left))
    assert len(room.line) == 0 and "cannot be read" in caplog.text


def test_marks_count_once_over_a_restart():
    before = solved(b"one key")
    before.add("ann", "two-tasks", ["one"])
    after = solved(b"one key")
    after.go_on([*json.loads(json.dumps(before.left())), ["no-such", "one", ["00"]], ["two-tasks", "gone", ["00"]]])
    after.add("ann", "two-tasks", ["one"])
    after.add("bob", "two-tasks", ["one", "two"])
    assert after.counts(LESSON) == [("One?", 2), ("Two?", 1)]


@given(st.integers(1, 4), st.integers(0, 9), st.integers(1, 4), st.randoms(use_true_random=False))
def test_a_line_goes_on_as_it_stood(limit, waiting, later_limit, chance):
    """Who sat comes in again, then the line in its order, whoever asks first, also where there are other seats."""
    clock = Clock()
    seats = Seats(limit, clock=clock)
    line = WaitingLine(seats, clock=clock)
    people = [f"v{number}" for number in range(limit + waiting)]
    for who in people:
        if line.enters(who):
            seats.opening(Visit(who))
            line.seated(who)
    clock = Clock()
    seats = Seats(later_limit, clock=clock)
    after = WaitingLine(seats, clock=clock)
    after.go_on(json.loads(json.dumps(line.left())))
    asking, order = list(people), []
    while asking:
        chance.shuffle(asking)
        entered = [who for who in asking if after.enters(who)]
        assert entered and len(seats) + len(entered) <= later_limit
        order += sorted(entered, key=people.index)
        asking = [who for who in asking if who not in entered]
        for who in entered:
            seats.opening(Visit(who))
            after.seated(who)
        seats._opening.clear()  # all of them leave
    assert set(order[:limit]) == set(people[:limit]) and order[limit:] == people[limit:]


def test_a_seat_is_not_kept_for_ever_for_who_does_not_come_back():
    clock = Clock()
    line = WaitingLine(Seats(1, clock=clock), clock=clock)
    line.go_on({"sits": [["ann", ""]], "kept": [], "waits": [["bob", "", 1, 0]]})
    assert not line.enters("bob")
    clock.now += RETURN_S + 1
    assert line.enters("bob")


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return free.getsockname()[1]


def test_a_room_that_starts_anew_knows_its_visitors(room_notebooks):
    lesson = lesson_named("find-the-hum")
    options = {"seats": 1, "lesson": lesson.name, "port": free_port()}

    def counted(room) -> list[int]:
        [told] = requests.get(room.url + "projector/state", timeout=20).json()["lessons"]
        return [task["solved"] for task in told["tasks"]]

    room = open_room(room_notebooks, **options)
    try:
        sitting, *waiting = (Guest(room) for _ in range(4))
        sitting.come_in()
        report = {"lesson": lesson.name, "tasks": [lesson.tasks[0].name]}
        assert sitting.solved(report).status_code == 204
        for guest in waiting:
            guest.knock()
            guest.place()
        assert [guest.place()["place"] for guest in waiting] == [1, 2, 3]
        assert [n > 0 for n in counted(room)] == [True] + [False] * (len(lesson.tasks) - 1)
        time.sleep(1.3)  # the line is written down each second
        room.stop(signal.SIGKILL)
        room = open_room(room_notebooks, **options)
        for guest in (sitting, *waiting):
            guest.server = room
        assert counted(room)[0] == 1  # before anybody has come back
        assert [guest.place()["place"] for guest in reversed(waiting)] == [3, 2, 1]
        kernel = sitting.come_in()
        assert sitting.solved(report).status_code == 204 and counted(room)[0] == 1
        assert sitting.leave(kernel) == 204
        assert not waiting[1].place()["enter"] and waiting[0].place()["enter"]
        room.stop()
        assert "Traceback" not in room.output
    finally:
        room.stop()
