"""The state of a page: entries, history, the opened link."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from piezolab.chain import SignalChain
from piezolab.chain.link import from_link, to_query
from piezolab.chain.parameters import all_parameters
from piezolab.pages.bench import Bench


def test_without_an_address_it_is_the_default_chain(monkeypatch):
    monkeypatch.delenv("QUERY_STRING", raising=False)
    assert Bench.opened().chain == SignalChain()


def test_the_address_gives_the_chain_and_its_mistakes(monkeypatch):
    monkeypatch.setenv("QUERY_STRING", "pickup_c=1n5&gate_r=3m3&lesson=two&seat=abc")
    bench = Bench.opened()
    assert bench.chain == SignalChain(pickup_c=1.5e-9)
    assert len(bench.problems) == 1 and bench.problems[0].startswith("gate resistor")
    assert bench.page_words == "lesson=two&seat=abc"


def test_an_entry_is_read_as_a_maker_writes_it():
    bench = Bench()
    assert bench.enter("gate_r", "3.3 Mohm") == ""
    assert bench.chain.gate_r == 3.3e6 and bench.query == "gate_r=3M3"


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
    bench = Bench(from_link("pickup_c=1n5"))
    message = bench.enter(key, text)
    assert part in message and message.rstrip().endswith((".", "?"))
    assert bench.chain == from_link("pickup_c=1n5") and not bench.can_undo and bench.settled == 0


def test_what_contradicts_another_value_is_refused():
    bench = Bench(from_link("input_r=220k"))
    assert "two inputs" in bench.enter("input", "amplifier,pedal")
    assert bench.query == "input_r=220k"


def test_an_empty_entry_takes_an_optional_value_back():
    bench = Bench(from_link("jfet_idss=3m"))
    assert bench.enter("jfet_idss", " ") == ""
    assert bench.chain == SignalChain()


def test_one_drag_is_one_step_back():
    bench = Bench()
    for text in ("5M1", "5M6", "6M2"):
        bench.enter("gate_r", text, live=True)
    assert bench.settled == 0
    bench.enter("gate_r", "6M8")
    bench.enter("pickup_c", "1n5", live=True)
    bench.enter("pickup_c", "1n2")
    assert bench.settled == 2
    bench.undo()
    assert bench.query == "gate_r=6M8"
    bench.undo()
    assert bench.chain == SignalChain() and not bench.can_undo
    bench.redo()
    bench.redo()
    assert bench.query == "pickup_c=1n2&gate_r=6M8" and not bench.can_redo


def test_two_drags_of_one_control_are_two_steps():
    bench = Bench()
    for text in ("5M1", "5M6"):
        bench.enter("gate_r", text, live=True)
        bench.enter("gate_r", text)
    bench.undo()
    assert bench.query == "gate_r=5M1"


def test_a_new_change_ends_what_could_be_redone():
    bench = Bench()
    bench.enter("gate_r", "10M")
    bench.undo()
    bench.enter("gate_r", "1M")
    assert not bench.can_redo


def test_start_over_and_the_follower_can_be_undone():
    bench = Bench(from_link("pickup_c=2n2&stage=direct"))
    bench.put_stage_in()
    assert bench.query == "pickup_c=2n2"
    bench.start_over()
    assert bench.query == ""
    bench.undo()
    bench.undo()
    assert bench.query == "pickup_c=2n2&stage=direct"


def test_a_shared_configuration_is_opened_or_refused():
    bench = Bench()
    assert bench.open("http://workshop.example/x?pickup_c=1n5") == ()
    assert bench.query == "pickup_c=1n5"
    assert len(bench.open("pickup_c=9F&gate_r=10M")) == 1  # what is good in it is taken
    assert bench.query == "gate_r=10M"
    for junk in ("", "   ", "hello", "x" * 10_000):
        assert bench.open(junk)
        assert bench.query == "gate_r=10M"


TABLE = all_parameters()


@given(st.lists(st.tuples(st.sampled_from([*TABLE, "nothing"]), st.text(max_size=30), st.booleans()), max_size=8))
def test_no_entry_ever_raises_and_history_leads_back(entries):
    bench = Bench()
    for key, text, live in entries:
        message = bench.enter(key, text, live=live)
        assert isinstance(message, str)
        assert from_link(bench.query) == bench.chain
    while bench.can_undo:
        bench.undo()
    assert bench.chain == SignalChain()


@given(st.sampled_from([key for key in TABLE if key != "v"]), st.data())
def test_what_a_control_shows_can_be_entered_again(key, data):
    links = ["", "stage=gain&input=pedal,line", "pad=10k,1k"]
    chain = from_link(data.draw(st.sampled_from(links)))
    if chain[key] is None:
        return
    bench = Bench(chain)
    assert bench.enter(key, TABLE[key].write(chain[key])) == ""
    assert to_query(bench.chain) == to_query(chain)
