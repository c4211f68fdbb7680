"""Work at rest: at once without a loop; on a loop in turns, that give way, and never for an earlier chain."""

import asyncio
import contextvars
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from piezolab.circuit.errors import CircuitError
from piezolab.giving_way import give_way
from piezolab.pages.kit import at_rest
from piezolab.pages.kit.at_rest import GAP_S, PAUSE_S, TURN_S, AtRest, Dropped
from piezolab.pages.kit.page_state import PageState


class Hand:
    """A loop and a clock moved by hand: `pass_on` runs what is due, and says at what times it ran."""

    def __init__(self) -> None:
        self.now, self.due, self.ran = 0.0, [], []

    def call_later(self, delay, callback):
        entry = [self.now + delay, callback]
        self.due.append(entry)

        class Handle:
            def cancel(_self) -> None:
                if entry in self.due:
                    self.due.remove(entry)

        return Handle()

    def pass_on(self, seconds: float) -> None:
        end = self.now + seconds
        while self.due and min(self.due)[0] <= end:
            entry = min(self.due, key=lambda each: each[0])
            self.due.remove(entry)
            self.now = max(self.now, entry[0])
            self.ran.append(self.now)
            entry[1]()
        self.now = max(self.now, end)


@pytest.fixture
def hand():
    return Hand()


@pytest.fixture
def said():
    return []


@pytest.fixture
def rest(hand, said):
    return AtRest(said.append, loop=hand, clock=lambda: hand.now)


def test_without_a_loop_everything_is_done_at_once_and_in_order(said):
    rest, done = AtRest(said.append), []

    def parts():
        done.append("first half")
        give_way()
        done.append("second half")

    rest.hold()
    rest.put("a", parts)
    rest.put("b", lambda: done.append("b"))
    assert done == ["first half", "second half", "b"] and rest.at_once and not rest.waiting


def test_on_a_loop_it_waits_for_a_pause_and_keeps_its_order(rest, hand):
    done = []
    rest.moved()
    for name in "abc":
        rest.put(name, lambda name=name: done.append(name))
    hand.pass_on(0.9 * PAUSE_S)
    assert done == [] and rest.waiting
    hand.pass_on(0.2 * PAUSE_S)
    assert done == ["a", "b", "c"] and not rest.waiting


def test_every_move_puts_it_off(rest, hand):
    done = []
    rest.put("a", lambda: done.append("a"))
    for _ in range(20):
        rest.moved()
        hand.pass_on(0.5 * PAUSE_S)
    assert done == []
    hand.pass_on(PAUSE_S)
    assert done == ["a"]


def test_between_two_turns_the_loop_gets_its_own(rest, hand):
    done = []

    def parts():
        for n in range(6):
            done.append(n)
            hand.now += 0.6 * TURN_S  # what the piece takes
            give_way()

    rest.put("a", parts)
    hand.pass_on(2.0)
    assert done == list(range(6))
    starts = hand.ran
    assert len(starts) >= 3, "two pieces fit one turn"
    assert all(b - a >= 1.2 * TURN_S + 0.99 * GAP_S for a, b in zip(starts[:2], starts[1:3], strict=True))


def test_a_turn_that_is_not_used_up_is_not_given_away(rest, hand):
    def parts():
        for _ in range(50):
            give_way()

    rest.put("a", parts)
    hand.pass_on(0.0)
    assert len(hand.ran) == 1 and not rest.waiting


def test_a_newer_chain_drops_what_was_begun_and_it_is_made_for_the_newest(rest, hand):
    done, dropped, chain = [], [], ["old"]

    def parts():
        mine = chain[0]
        hand.now += TURN_S
        try:
            give_way()
        except Dropped:
            dropped.append(mine)
            raise
        done.append(mine)

    rest.put("a", parts)
    hand.pass_on(0.0)
    assert done == [] and rest.waiting, "begun, and interrupted"
    chain[0] = "new"
    rest.moved()
    assert dropped == ["old"]
    hand.pass_on(2.0)
    assert done == ["new"]


def test_what_is_asked_for_while_work_stands_still_is_not_interrupted(rest, hand):
    """A move is answered between two turns, by the same maths, and gives way to nobody."""
    done = []

    def parts():
        hand.now += TURN_S
        give_way()
        done.append("rest")

    rest.put("a", parts)
    hand.pass_on(0.0)
    hand.now += TURN_S
    give_way()
    done.append("move")
    hand.pass_on(2.0)
    assert done == ["move", "rest"]


def test_work_that_moves_the_chain_itself_ends_and_what_it_dropped_is_done_after_it(rest, hand):
    done = []

    def interrupted():
        hand.now += TURN_S
        give_way()
        done.append("interrupted")

    def moves():
        rest.moved()
        hand.now += TURN_S
        give_way()
        done.append("moves")

    rest.put("a", interrupted)
    hand.pass_on(0.0)
    rest.put("b", lambda: None)
    rest.drop("a")
    rest.put("c", moves)
    rest.put("a", interrupted)
    hand.pass_on(2.0)
    assert done == ["moves", "interrupted"] and not rest.waiting


def test_work_has_the_context_of_the_turn_in_which_it_began(rest, hand):
    """A widget's messages say what they answer by a context variable."""
    answers, seen = contextvars.ContextVar("answers", default="nothing"), []
    answers.set("the message")
    rest.put("a", lambda: seen.append(answers.get()))
    hand.pass_on(0.0)
    assert seen == ["the message"]


def test_new_work_of_the_same_owner_replaces_the_old(rest, hand):
    done = []
    rest.moved()
    rest.put("a", lambda: done.append("old"))
    rest.put("a", lambda: done.append("new"))
    rest.put("b", lambda: done.append("b"))
    rest.drop("b")
    hand.pass_on(2.0)
    assert done == ["new"]


@pytest.mark.parametrize("when", ["at once", "on a loop"])
def test_a_piece_that_fails_is_said_and_stops_no_other(hand, said, when, caplog):
    rest = AtRest(said.append) if when == "at once" else AtRest(said.append, loop=hand, clock=lambda: hand.now)
    done = []

    def no_point():
        give_way()
        raise CircuitError("Q1: no operating point was found")

    rest.put("a", no_point)
    rest.put("b", lambda: 1 // 0)
    rest.put("c", lambda: done.append("c"))
    hand.pass_on(2.0)
    assert "Q1: no operating point was found" in said[0] and "went wrong" in said[1] and len(said) == 2
    assert done == ["c"] and not rest.waiting
    assert "ZeroDivisionError" in caplog.text


def test_work_may_put_in_new_work_of_its_own(rest, hand):
    done = []

    def again():
        give_way()
        done.append("first")
        rest.put("a", lambda: done.append("second"))

    rest.put("a", again)
    hand.pass_on(2.0)
    assert done == ["first", "second"] and not rest.waiting


def test_nothing_begins_before_the_page_is_there(rest, hand):
    done, told = [], []
    rest.changed = lambda: told.append(rest.waiting)
    rest.hold()
    rest.put("a", lambda: done.append("a"))
    hand.pass_on(60.0)
    assert done == [] and told == [True]
    rest.go()
    rest.go()
    hand.pass_on(0.0)
    assert done == ["a"] and told == [True, False]


def test_a_page_says_what_went_wrong_at_rest():
    state = PageState()

    def fails():
        raise CircuitError("no such point")

    state.at_rest.put("a", fails)
    assert state.trouble == "This chain could not be worked out: no such point"


def test_on_a_real_loop_a_move_comes_between_and_the_newest_chain_is_worked_out(monkeypatch):
    """A drag of the source resistor while pieces of the first value are under way."""
    monkeypatch.setattr(at_rest, "_in_a_kernel", lambda: True)
    state, done = PageState(), []

    def parts():
        chain = state.chain
        for _ in range(3):
            time.sleep(TURN_S)
            give_way()
        done.append(chain)

    state.observe(lambda _: state.at_rest.put("a", parts), "settled")

    async def page() -> None:
        state.enter("source_r", "4k7")
        await asyncio.sleep(0)
        assert done == [] and state.at_rest.waiting
        state.enter("source_r", "3k3", live=True)
        state.enter("source_r", "2k2")
        while state.at_rest.waiting:
            await asyncio.sleep(0.01)

    with ThreadPoolExecutor(1) as own:  # a browser of other tests may hold this thread's loop
        own.submit(asyncio.run, page()).result()
    assert done == [state.chain] and state.chain.source_r == 2.2e3
