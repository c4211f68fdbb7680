"""What is counted and what is limited: solved tasks, allowances, names of this computer."""

import ipaddress
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from piezolab.lessons.shelf import known_lessons, lesson_named
from piezolab.serving.addresses import OwnNames, host_of, own_addresses
from piezolab.serving.kernels import without_secrets
from piezolab.serving.limits import Allowance, Allowances
from piezolab.serving.seats import Seats
from piezolab.serving.solved import Solved, SolvedError
from tests.serving.test_seats import Clock

LESSON = SimpleNamespace(
    name="two-tasks",
    title="Two tasks",
    tasks=(SimpleNamespace(name="one", question="One?"), SimpleNamespace(name="two", question="Two?")),
)


def solved(key: bytes | None = None) -> Solved:
    return Solved({"two-tasks": LESSON}.get, key)


def test_each_visitor_counts_once_for_each_task():
    count = solved()
    for _ in range(3):
        count.add("ann", "two-tasks", ["one"])
    count.add("bob", "two-tasks", ["one"])
    count.add("bob", "two-tasks", ["one", "two"])
    assert count.counts(LESSON) == [("One?", 2), ("Two?", 1)]
    assert count.lessons == [LESSON]


def test_nobody_can_be_found_again_in_what_is_kept():
    count = solved()
    count.add("a cookie that names a browser", "two-tasks", ["one"])
    assert "a cookie" not in repr(vars(count)) and b"a cookie" not in b"".join(*count._who.values())


@pytest.mark.parametrize(
    "lesson, task, says",
    [
        ("no-such", "one", "lesson: 'no-such' is not known here"),
        ("../two-tasks", "one", "lesson: allowed is"),
        ("Two-Tasks", "one", "lesson: allowed is"),
        ("x" * 61, "one", "lesson: allowed is"),
        ("", "one", "lesson: allowed is"),
        (7, "one", "lesson: allowed is"),
        (None, "one", "lesson: allowed is"),
        ("two-tasks", "three", "tasks: allowed are those of the lesson 'two-tasks'"),
        ("two-tasks", ["one"], "tasks: allowed are"),
        ("two-tasks", {"one": 1}, "tasks: allowed are"),
    ],
)
def test_what_cannot_be_counted_is_refused_with_a_sentence(lesson, task, says):
    count = solved()
    with pytest.raises(SolvedError) as caught:
        count.add("ann", lesson, ["one", task])
    assert str(caught.value).startswith(says) and count.lessons == []


def test_shipped_lessons_can_be_counted():
    count = Solved(lesson_named)
    lessons = known_lessons()
    assert len(lessons) >= 3
    for lesson in lessons:
        for task in lesson.tasks:
            count.add("ann", lesson.name, [task.name])
        assert [n for _, n in count.counts(lesson)] == [1] * len(lesson.tasks)


@given(st.lists(st.floats(0, 5), max_size=60))
def test_an_allowance_is_never_exceeded(pauses):
    clock = Clock()
    allowance = Allowance(10, 2.0, clock)
    taken, begun = 0, clock.now
    for pause in pauses:
        clock.now += pause
        taken += allowance.take()
        assert taken <= 10 + 2.0 * (clock.now - begun) + 1e-6
    clock.now += 1000
    assert all(allowance.take() for _ in range(10)) and not allowance.take()


def test_allowances_are_each_clients_own_and_only_so_many_are_remembered():
    clients = Allowances(1, 0.0, most_clients=2)
    assert clients.take("ann") and not clients.take("ann")
    assert clients.take("bob") and clients.take("cid")
    assert len(clients._of) == 2


def test_this_computer_is_known_by_its_own_names_only():
    names = OwnNames("workshop.example")
    for host in ("localhost", "127.0.0.1", "workshop.example", *own_addresses()):
        assert host in names
    for host in ("elsewhere.example", "127.0.0.1.elsewhere.example", "", "10.99.98.97"):
        assert host not in names


def test_own_addresses_are_addresses_of_networks():
    for address in own_addresses():
        assert not ipaddress.IPv4Address(address).is_loopback


@pytest.mark.parametrize(
    "header, host",
    [
        ("192.168.0.7:8350", "192.168.0.7"),
        ("Workshop.Example", "workshop.example"),
        ("[::1]:8350", "::1"),
        ("a.example:", "a.example"),
        ("a.example:80.elsewhere.example", "a.example:80.elsewhere.example"),
    ],
)
def test_host_of_a_header(header, host):
    assert host_of(header) == host


def test_secrets_of_the_environment_stay_out_of_kernels():
    secret = dict.fromkeys(("JUPYTERHUB_API_TOKEN", "SOME_ACCESS_KEY_ID", "MY_PASSWORD", "api_key", "Db_Secret"), "x")
    plain = {"PATH": "p", "QUERY_STRING": "v=1", "LANG": "C", "IPYTHONDIR": "i", "KEYBOARD": "k"}
    assert without_secrets({**secret, **plain}) == plain


def test_page_untouched_for_too_long_gives_its_seat_back_and_a_used_one_does_not():
    clock = Clock()
    seats = Seats(2, idle_s=60, clock=clock)
    from tests.room.test_waiting import WaitingLine, sit

    line = WaitingLine(seats, clock=clock)
    sit(seats, line, "ann"), sit(seats, line, "bob")
    for _ in range(5):
        clock.now += 50
        seats.touch("kernel of ann")
        assert "kernel of ann" not in seats.untouched()
    assert seats.untouched() == ["kernel of bob"]
    assert seats.of("ann") == ["kernel of ann"]
