"""Allowances and what is on its way, with a clock that the test moves."""

import asyncio
from concurrent.futures import ThreadPoolExecutor

from hypothesis import given
from hypothesis import strategies as st

from piezolab.serving.channels import dealt_with
from piezolab.serving.limits import Allowance, Allowances, InFlight
from tests.serving.test_seats import Clock


@given(st.lists(st.tuples(st.integers(0, 40), st.integers(1, 50)), max_size=60))
def test_no_more_is_on_its_way_than_allowed_and_one_message(steps):
    """Messages go only while there is room, each is done or given up, and nothing stays for ever."""
    clock = Clock()
    flight, waiting = InFlight(100, 60.0, clock), []
    for number, (size, seconds) in enumerate(steps):
        clock.now += seconds / 10
        if flight.too_much:
            flight.done(waiting.pop(0))
            continue
        flight.sent(str(number), size)
        waiting.append(str(number))
        assert flight.size <= 100 + 40
    clock.now += 61
    assert not flight.too_much and flight.size <= 100


def test_a_short_message_counts_for_what_its_answer_may_take():
    flight = InFlight(100, least=30)
    for name in "abcd":
        assert not flight.too_much and name not in flight
        flight.sent(name, 1)
    assert flight.too_much and "d" in flight
    flight.done("b")
    assert not flight.too_much and "b" not in flight


def test_who_waits_goes_on_when_the_kernel_has_dealt_with_something():
    async def play() -> list[str]:
        flight, said = InFlight(10), []
        flight.sent("a", 11)

        async def next_one() -> None:
            await flight.less()
            said.append("sent")

        task = asyncio.create_task(next_one())
        await asyncio.sleep(0.01)
        said.append("done")
        flight.done("a")
        await task
        return said

    with ThreadPoolExecutor(1) as elsewhere:  # a browser's tests before may have left a loop running here
        assert elsewhere.submit(asyncio.run, play()).result() == ["done", "sent"]


@given(st.floats(1, 100), st.floats(0.1, 10), st.floats(0, 200), st.floats(0, 100))
def test_what_is_waited_for_can_be_taken_then_and_not_before(most, rate, count, already):
    clock = Clock()
    allowance = Allowance(most, rate, clock)
    allowance.take(min(already, most))
    count = min(count, most)
    wait = allowance.wait_s(count)
    if wait > 1e-6:
        assert not allowance.take(count)
    clock.now += wait + 1e-6
    assert allowance.take(count)


def test_a_message_is_dealt_with_when_its_kernel_is_idle_again():
    idle = {"header": {"msg_type": "status"}, "parent_header": {"msg_id": "m"}, "content": {"execution_state": "idle"}}
    assert dealt_with(idle, True) == "m"
    assert dealt_with({**idle, "content": {"execution_state": "busy"}}, True) == ""
    assert dealt_with({**idle, "header": {"msg_type": "comm_msg"}}, True) == ""
    assert dealt_with(b"nothing", True) == ""


def test_what_is_given_back_can_be_taken_again_and_no_more():
    clock = Clock()
    allowances = Allowances(2, 0.1, clock=clock)
    assert [allowances.take("a") for _ in range(3)] == [True, True, False]
    allowances.give_back("a")
    allowances.give_back("b")
    assert [allowances.take("a") for _ in range(2)] == [True, False]
    allowances.give_back("a", 5)
    assert [allowances.take("a") for _ in range(3)] == [True, True, False]
    clock.now += 10.5
    assert [allowances.take("a") for _ in range(2)] == [True, False]
