"""The line for a seat, without a server: a clock that the test moves."""

from hypothesis import given
from hypothesis import strategies as st

from piezolab.serving.seats import Seats, Visit
from piezolab.serving.waiting import LONGEST_LINE, WaitingLine
from tests.serving.test_seats import Clock


def room(limit: int) -> tuple[Seats, WaitingLine, Clock]:
    clock = Clock()
    seats = Seats(limit, clock=clock)
    return seats, WaitingLine(seats, clock=clock), clock


def sit(seats: Seats, line: WaitingLine, who: str) -> None:
    """The visitor's page is made and open."""
    visit = Visit(who)
    seats.opening(visit)
    line.seated(who)
    seats.started(visit, f"kernel of {who}")
    seats.sent(visit)
    seats.connect(f"kernel of {who}", who)


def test_whoever_finds_a_free_seat_comes_in_and_the_next_one_waits():
    seats, line, _ = room(1)
    assert line.enters("ann")
    sit(seats, line, "ann")
    assert not line.enters("bob") and not line.enters("cid")
    assert (line.place("bob"), line.place("cid"), len(line)) == (1, 2, 2)


def test_a_seat_is_kept_for_somebody_who_was_told_to_come_in_but_not_for_ever():
    seats, line, clock = room(1)
    assert line.enters("ann")
    assert not line.enters("bob")
    clock.now += 14
    assert not line.enters("bob") and line.enters("ann")
    clock.now += 2
    assert line.enters("bob")


def test_sleeping_phone_is_passed_over_and_keeps_its_place():
    seats, line, clock = room(1)
    sit(seats, line, "ann")
    line.enters("bob"), line.enters("cid"), line.enters("dot")
    clock.now += 60
    line.enters("cid"), line.enters("dot")
    assert len(line) == 2 and line.place("cid") == 1
    line.enters("bob")  # awake again
    assert line.place("bob") == 1 and line.place("cid") == 2
    seats.remove("kernel of ann")
    assert not line.enters("cid")
    assert line.enters("bob")


def test_line_is_no_longer_than_can_be_kept():
    seats, line, _ = room(1)
    sit(seats, line, "ann")
    for number in range(LONGEST_LINE + 5):
        assert not line.enters(f"v{number}")
    assert len(line) == LONGEST_LINE


def test_unopened_pages_are_given_less_time_while_somebody_waits():
    seats, line, clock = room(1)
    visit = Visit("crawler")
    seats.opening(visit)
    seats.started(visit, "k")
    seats.sent(visit)
    clock.now += seats.hurry_s + 1
    assert seats.overdue() == []
    assert not line.enters("ann")
    assert seats.overdue() == ["k"]


@given(st.integers(1, 5), st.integers(1, 20), st.data())
def test_everybody_who_keeps_asking_is_served_in_turn(limit, people, data):
    """Whoever came first sits first, never more sit than there are seats, and in the end all have sat."""
    seats, line, clock = room(limit)
    waiting = [f"v{number}" for number in range(people)]
    served: list[str] = []
    sitting: list[str] = []
    for who in waiting:  # they arrive in this order
        if line.enters(who):
            sit(seats, line, who)
            served.append(who)
            sitting.append(who)
    for _ in range(400):
        if len(served) == people:
            break
        clock.now += 1
        if sitting and data.draw(st.booleans(), label="somebody leaves"):
            leaver = sitting.pop(0)
            seats.remove(f"kernel of {leaver}")
        for who in data.draw(st.permutations([w for w in waiting if w not in served]), label="they ask"):
            if line.enters(who):
                sit(seats, line, who)
                served.append(who)
                sitting.append(who)
        assert len(seats) <= limit
    # Within one round the asking order may not matter: a seat goes to the first of the line only.
    assert served == waiting[: len(served)]
