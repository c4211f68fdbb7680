"""The state of a page: entries, history, the opened link."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from piezolab.chain import SignalChain
from piezolab.chain.link import from_link, to_query
from piezolab.chain.parameters import all_parameters
from piezolab.pages.kit.page_state import PageState


def test_without_an_address_it_is_the_default_chain(monkeypatch):
    monkeypatch.delenv("QUERY_STRING", raising=False)
    assert PageState.opened().chain == SignalChain()


def test_the_address_gives_the_chain_and_its_mistakes(monkeypatch):
    monkeypatch.setenv("QUERY_STRING", "pickup_c=1n5&gate_r=3m3&lesson=two&seat=abc")
    state = PageState.opened()
    assert state.chain == SignalChain(pickup_c=1.5e-9)
    assert len(state.problems) == 1 and state.problems[0].startswith("gate resistor")
    assert state.page_words == "lesson=two&seat=abc"


def test_an_entry_is_read_as_a_maker_writes_it():
    state = PageState()
    assert state.enter("gate_r", "3.3 Mohm") == ""
    assert state.chain.gate_r == 3.3e6 and state.query == "gate_r=3M3"


@pytest.mark.parametrize(
    "key, text, part",
    [
        ("gate_r", "3m3", "did you mean 3M3?"),
        ("gate_r", "5G", "allowed is 1 kΩ to 1 GΩ"),
        ("gate_r", "", "gate resistor"),
        ("gate_r", "9" * 500, "too long"),
        ("gate_r", None, "too long"),
        ("input", "amplifier,pedal,line", "one or two kinds"),
        ("stage", "<script>", "stage"),
        ("tuning", "H3", "strings"),
        ("v", "2", "no such control"),
        ("__class__", "x", "no such control"),
    ],
)
def test_a_bad_entry_is_refused_in_a_sentence_and_changes_nothing(key, text, part):
    state = PageState(from_link("pickup_c=1n5"))
    message = state.enter(key, text)
    assert part in message and message.rstrip().endswith((".", "?"))
    assert state.chain == from_link("pickup_c=1n5") and not state.can_undo and state.settled == 0


def test_what_contradicts_another_value_is_refused():
    state = PageState(from_link("input_r=220k"))
    assert "two inputs" in state.enter("input", "amplifier,pedal")
    assert state.query == "input_r=220k"


def test_an_empty_entry_takes_an_optional_value_back():
    state = PageState(from_link("jfet_idss=3m"))
    assert state.enter("jfet_idss", " ") == ""
    assert state.chain == SignalChain()


def test_one_drag_is_one_step_back():
    state = PageState()
    for text in ("5M1", "5M6", "6M2"):
        state.enter("gate_r", text, live=True)
    assert state.settled == 0
    state.enter("gate_r", "6M8")
    state.enter("pickup_c", "1n5", live=True)
    state.enter("pickup_c", "1n2")
    assert state.settled == 2
    state.undo()
    assert state.query == "gate_r=6M8"
    state.undo()
    assert state.chain == SignalChain() and not state.can_undo
    state.redo()
    state.redo()
    assert state.query == "pickup_c=1n2&gate_r=6M8" and not state.can_redo


def test_two_drags_of_one_control_are_two_steps():
    state = PageState()
    for text in ("5M1", "5M6"):
        state.enter("gate_r", text, live=True)
        state.enter("gate_r", text)
    state.undo()
    assert state.query == "gate_r=5M1"


def test_a_new_change_ends_what_could_be_redone():
    state = PageState()
    state.enter("gate_r", "10M")
    state.undo()
    state.enter("gate_r", "1M")
    assert not state.can_redo


def test_start_over_and_the_follower_can_be_undone():
    state = PageState(from_link("pickup_c=2n2&stage=direct"))
    state.put_stage_in()
    assert state.query == "pickup_c=2n2"
    state.start_over()
    assert state.query == ""
    state.undo()
    state.undo()
    assert state.query == "pickup_c=2n2&stage=direct"


def test_a_shared_configuration_is_opened_or_refused():
    state = PageState()
    assert state.open("http://workshop.example/x?pickup_c=1n5") == ()
    assert state.query == "pickup_c=1n5"
    assert len(state.open("pickup_c=9F&gate_r=10M")) == 1  # what is good in it is taken
    assert state.query == "gate_r=10M"
    for junk in ("", "   ", "hello", "x" * 10_000):
        assert state.open(junk)
        assert state.query == "gate_r=10M"


TABLE = all_parameters()


@given(st.lists(st.tuples(st.sampled_from([*TABLE, "nothing"]), st.text(max_size=30), st.booleans()), max_size=8))
def test_no_entry_ever_raises_and_history_leads_back(entries):
    state = PageState()
    for key, text, live in entries:
        message = state.enter(key, text, live=live)
        assert isinstance(message, str)
        assert from_link(state.query) == state.chain
    while state.can_undo:
        state.undo()
    assert state.chain == SignalChain()


@given(st.sampled_from([key for key in TABLE if key != "v"]), st.data())
def test_what_a_control_shows_can_be_entered_again(key, data):
    links = ["", "stage=gain&input=pedal,line", "pad=10k,1k"]
    chain = from_link(data.draw(st.sampled_from(links)))
    if chain[key] is None:
        return
    state = PageState(chain)
    assert state.enter(key, TABLE[key].write(chain[key])) == ""
    assert to_query(state.chain) == to_query(chain)
