"""The state of a page: entries, history, the opened link."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from piezolab.chain import SignalChain
from piezolab.chain.link import from_link, read_link, to_query
from piezolab.chain.parameter import ParameterError
from piezolab.chain.parameters import all_parameters
from piezolab.pages.kit.page_state import PageState
from tests.chain.strategies import values_of

near_a_value = st.from_regex(r"[0-9]{1,4}([.,][0-9]{1,2})? ?([pnumkMGR]|meg|ft)?", fullmatch=True)


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
    "key, text, value",
    [("gate_r", "10 meg", 10e6), ("gate_r", "2.2 megohm", 2.2e6), ("cable_m", "10 ft", 3.048), ("lead_m", "1'", 0.3048),
     ("pad", "10 kilohm,2k2", (10e3, 2200.0))],
)  # fmt: skip
def test_a_field_reads_what_people_type_and_a_link_does_not(key, text, value):
    state = PageState()
    assert state.enter(key, text) == "" and state.chain[key] == value
    assert from_link(state.query) == state.chain
    assert [problem.key for problem in read_link(f"{key}={text}")[1]] == [key]


@pytest.mark.parametrize(
    "key, text, said",
    [
        ("pickup_c", "203", "pickup capacitance: '203' would be farads; did you mean 20 nF? Allowed is 50 pF"),
        ("cable_m", "400 ft", "output cable length: '400 ft' is out of range; allowed is 0 m to 100 m."),
        ("tuning", "H3", "strings: 'H3'"),
        ("pad", "1,2,3", "pad: '1,2,3' is not 2 values joined by commas"),
        ("resonance", "5 meg,30,0.3", "resonance frequency: '5 meg' is out of range"),
        ("stage", "nought", "stage: 'nought' is not known"),
        ("mains_v", "3", "mains voltage: '3' is not in the list"),
        ("jfet_ciss", "p1", "input capacitance C_iss: "),
    ],
)
def test_a_fields_refusal_names_its_label_and_no_key(key, text, said):
    message = PageState().enter(key, text)
    assert message.startswith(said) and f"({key})" not in message


@given(st.data())
def test_a_field_takes_whatever_a_link_takes(data):
    """And with the same value: a text copied out of a link may be put into a field."""
    parameter = data.draw(st.sampled_from([p for key, p in all_parameters().items() if key != "v"]))
    text = data.draw(st.one_of(values_of(parameter).map(parameter.write), near_a_value))
    try:
        value = parameter.read(text)
    except ParameterError:
        return
    assert parameter.as_typed.read(text) == value


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
    said = state.enter("input", "amplifier,pedal")
    assert "two inputs" in said and "(input_r)" not in said
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
    half = "pickup_c=9F&gate_r=10M"
    assert len(state.open(half)) == 1 and state.query == "pickup_c=1n5"
    assert len(state.open(half, partly=True)) == 1  # what is good in it is taken
    assert state.query == "gate_r=10M"
    for junk in ("", "   ", "hello", "x" * 10_000):
        assert state.open(junk) and state.open(junk, partly=True)
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
