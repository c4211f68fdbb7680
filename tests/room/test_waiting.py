"""The line for a seat, without a server: a clock that the test moves."""

from hypothesis import given
from hypothesis import strategies as st

from piezolab.serving.addresses import household
from piezolab.serving.seats import Seats, Visit
from piezolab.serving.waiting import LONGEST_LINE, WaitingLine
from tests.serving.test_seats import Clock


def room(limit: int) -> tuple[Seats, WaitingLine, Clock]:
    clock = Clock()
    seats = Seats(limit, clock=clock)
    return seats, WaitingLine(seats, clock=clock), clock


def sit(seats: Seats, line: WaitingLine, who: str, address: str = "") -> None:
    """The visitor's page is made and open."""
    visit = Visit(who, address=address)
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


def test_many_cookies_at_one_address_keep_no_other_address_out():
    """Thirty of them ask seven times a second and never sit down; an honest guest elsewhere is let in next."""
    seats, line, clock = room(5)
    waited, came_in = 0.0, False
    for tick in range(7 * 120):
        clock.now = tick / 7
        for number in range(30):
            line.enters(f"rude{number}", "203.0.113.9")
        if tick >= 7 * 20:
            came_in = line.enters("ann", "203.0.113.77")
            if came_in:
                break
            waited += 1 / 7
    assert came_in and waited <= 16  # one hold that lapses, not thirty


def test_one_address_may_take_every_seat():
    seats, line, _ = room(30)
    for number in range(30):
        assert line.enters(f"v{number}", "203.0.113.9")
        sit(seats, line, f"v{number}", "203.0.113.9")
    assert seats.full


def test_a_place_is_kept_over_one_hold_that_lapses_and_lost_with_the_second():
    seats, line, clock = room(1)
    assert line.enters("ann")
    assert not line.enters("bob") and not line.enters("cid")
    clock.now += 16
    assert line.enters("bob")  # ann has not come
    assert not line.enters("ann") and line.place("ann") == 1 and line.place("cid") == 2
    clock.now += 16
    assert line.enters("ann") and not line.enters("cid")
    clock.now += 10
    assert not line.enters("cid")
    clock.now += 6
    assert not line.enters("dot")
    assert not line.enters("ann") and line.place("ann") == 2  # behind cid, who came after her; bob does not ask
    assert line.enters("cid")


def test_a_full_line_makes_room_for_another_address():
    seats, line, _ = room(1)
    sit(seats, line, "ann")
    for number in range(LONGEST_LINE):
        line.enters(f"v{number}", "203.0.113.9")
    assert not line.enters("late", "203.0.113.9") and len(line) == LONGEST_LINE
    assert not line.enters("eve", "203.0.113.77") and len(line) == LONGEST_LINE
    assert line.place("eve") == 2  # before all of the other address but its first


def test_an_address_is_a_line_of_its_own_in_ipv6_too():
    assert household("2001:db8:1:2::7") == household("2001:db8:1:2:ffff::1") != household("2001:db8:1:3::7")
    assert household("::ffff:203.0.113.9") == household("203.0.113.9") != household("203.0.113.10")
    assert household("fe80::1%wlan0") == "fe80::/64" and household("@room") == "@room"


@given(st.lists(st.sampled_from("abc"), min_size=1, max_size=14), st.integers(1, 4), st.data())
def test_who_is_let_in_has_no_more_seats_at_home_than_anybody_who_waits(homes, limit, data):
    seats, line, clock = room(limit)
    people = [(f"v{number}", home) for number, home in enumerate(homes)]
    sitting: list[str] = []
    for _ in range(60):
        clock.now += 1
        for who, home in data.draw(st.permutations([p for p in people if p[0] not in sitting])):
            before, waiting = seats.by_address(), set(line._tickets)
            if line.enters(who, home):
                others = [before[theirs] for name, theirs in people if name in waiting and name != who]
                assert before[home] <= min(others, default=before[home])
                sit(seats, line, who, home)
                sitting.append(who)
        if sitting and len(seats) == limit:
            seats.remove(f"kernel of {sitting.pop(0)}")
        assert len(seats) <= limit
