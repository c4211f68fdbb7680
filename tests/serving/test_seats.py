"""Who owns a kernel and when it is given back, without kernels: a clock that the test moves."""

import asyncio
from concurrent.futures import ThreadPoolExecutor

import pytest
from hypothesis import given
from hypothesis import strategies as st

from piezolab.serving.seats import Seats, Visit


class Clock:
    """Seconds that pass only when told to."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock():
    """A clock for one test."""
    return Clock()


@pytest.fixture
def seats(clock):
    """Three seats with the stock patience."""
    return Seats(3, clock=clock)


def take(seats: Seats, kernel_id: str, owner: str = "ann") -> Visit:
    """A visit whose page has been sent."""
    visit = Visit(owner)
    seats.opening(visit)
    seats.started(visit, kernel_id)
    seats.sent(visit)
    return visit


def test_stock_patience_frees_every_lost_kernel_within_two_minutes(seats):
    sweep_s = 2
    assert seats.unopened_s + sweep_s < 60 and seats.lost_s + sweep_s < 120


def test_page_never_opened_is_overdue(seats, clock):
    take(seats, "k")
    clock.now += seats.unopened_s
    assert seats.overdue() == []
    clock.now += 1
    assert seats.overdue() == ["k"]


def test_open_page_is_never_overdue(seats, clock):
    take(seats, "k")
    seats.connect("k", "socket")
    clock.now += 1e6
    assert seats.overdue() == []


def test_lost_page_has_time_to_come_back(seats, clock):
    take(seats, "k")
    seats.connect("k", "first")
    clock.now += 5000
    seats.disconnect("k", "first")
    clock.now += seats.lost_s - 1
    assert seats.overdue() == []
    seats.connect("k", "second")
    clock.now += 5000
    assert seats.overdue() == []
    seats.disconnect("k", "second")
    clock.now += seats.lost_s + 1
    assert seats.overdue() == ["k"]


def test_late_goodbye_of_an_old_connection_does_not_lose_the_new_one(seats, clock):
    take(seats, "k")
    seats.connect("k", "old")
    seats.connect("k", "new")
    seats.disconnect("k", "old")
    clock.now += 1e6
    assert seats.overdue() == []


def test_page_in_the_making_has_minutes_not_seconds(seats, clock):
    visit = Visit("ann")
    seats.opening(visit)
    seats.started(visit, "k")
    clock.now += 120
    assert seats.overdue() == []
    clock.now += 120
    assert seats.overdue() == ["k"]


def test_only_the_owner_owns(seats):
    take(seats, "k", "ann")
    assert seats.owns("k", "ann")
    for who in ("bob", "an", "ann ", "", None, "änn"):
        assert not seats.owns("k", who)
    assert not seats.owns("other", "ann")
    assert not seats.owns("other", None)


def test_pages_being_opened_count_as_taken_once(seats):
    first, second = Visit("ann"), Visit("bob")
    seats.opening(first)
    seats.opening(second)
    assert len(seats) == 2 and not seats.full
    seats.started(first, "k")
    assert len(seats) == 2
    take(seats, "l")
    assert seats.full
    seats.sent(second)  # its kernel never started
    assert len(seats) == 2 and not seats.full


def test_sweep_frees_the_dead_and_the_overdue_and_nobody_else(seats, clock):
    for kernel_id in ("alive", "dead", "overdue"):
        take(seats, kernel_id)
    seats.connect("alive", 1)
    seats.connect("dead", 2)
    clock.now += seats.unopened_s + 1
    freed = []

    async def alive(kernel_id: str) -> bool:
        return kernel_id != "dead"

    async def free(kernel_id: str) -> None:
        seats.remove(kernel_id)
        freed.append(kernel_id)

    # In a thread of its own: a browser under test keeps a loop running in this one.
    with ThreadPoolExecutor(1) as pool:
        pool.submit(asyncio.run, seats.sweep(alive, free)).result(10)
    assert sorted(freed) == ["dead", "overdue"] and "alive" in seats


steps = st.lists(
    st.tuples(
        st.sampled_from(["open", "connect", "disconnect", "remove", "wait"]),
        st.integers(0, 3),
        st.integers(0, 3),
    ),
    max_size=60,
)


@given(steps)
def test_whatever_happens_a_connected_kernel_stays_and_the_count_is_right(steps):
    clock = Clock()
    seats = Seats(3, clock=clock)
    model: dict[str, set[int]] = {}
    for what, kernel, socket in steps:
        name = f"k{kernel}"
        if what == "open" and name not in model:
            take(seats, name)
            model[name] = set()
        elif what == "connect":
            seats.connect(name, socket)
            model.get(name, set()).add(socket)
        elif what == "disconnect":
            seats.disconnect(name, socket)
            model.get(name, set()).discard(socket)
        elif what == "remove":
            assert (seats.remove(name) is None) == (name not in model)
            model.pop(name, None)
        else:
            clock.now += 40 * kernel
        assert len(seats) == len(model)
        assert not [name for name in seats.overdue() if model[name]]
    clock.now += 1e4
    assert sorted(seats.overdue()) == sorted(name for name in model if not model[name])
