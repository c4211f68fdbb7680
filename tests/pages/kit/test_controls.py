"""Panels of controls: what they show, and what they take from a browser."""

import pytest

from piezolab.chain import SignalChain
from piezolab.chain.link import from_link
from piezolab.chain.parameters import GROUPS, all_parameters
from piezolab.pages.kit.controls import Controls, Group, folded_groups
from piezolab.pages.kit.describe import item, keys_of
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.parts_list import parts_list


@pytest.fixture
def state():
    return PageState()


@pytest.fixture
def panel(state):
    """A panel of everything, which keeps what it sends."""
    panel = Controls(state, folded_groups(), "everything")
    panel.sent = []
    panel.send = lambda content, buffers=None: panel.sent.append(content)
    return panel


def say(panel, **content):
    """As a browser would."""
    panel._handle_custom_msg(content, [])


def test_every_parameter_has_a_control_with_label_and_hint():
    grouped = [key for group in folded_groups() for key in group.keys]
    assert set(grouped) == set(all_parameters()) - {"v"} and len(grouped) == len(set(grouped))
    assert set(GROUPS) == {parameter.group for parameter in all_parameters().values()} - {"link"}
    for key in grouped:
        about = item(all_parameters()[key])
        assert about["label"] and about["hint"].endswith(".")
        assert about["kind"] in {"quantity", "choice", "words", "several", "text"}


def test_own_controls_are_not_repeated_among_the_folded():
    folded = [key for group in folded_groups(without=("gate_r", "input")) for key in group.keys]
    assert "gate_r" not in folded and "input" not in folded and "gate_stop" in folded


def test_folded_groups_come_in_signal_order():
    titles = " ".join(group.title for group in folded_groups())
    places = [titles.index(word) for word in ("strings", "pickup", "stage", "battery", "cable", "input", "room")]
    assert places == sorted(places)


def test_a_browsers_entry_is_read_and_answered(state, panel):
    say(panel, word="enter", key="gate_r", text="3,3M", live=False, number=7)
    assert state.query == "gate_r=3M3"
    assert panel.sent[-1]["seen"] == 7 and panel.sent[-1]["states"]["gate_r"]["text"] == "3M3"


def test_a_refused_entry_gets_its_sentence_and_nothing_changes(state, panel):
    say(panel, word="enter", key="gate_r", text="3m3", live=False, number=1)
    assert state.chain == SignalChain()
    assert "did you mean 3M3?" in panel.sent[-1]["states"]["gate_r"]["message"]
    say(panel, word="enter", key="gate_r", text="1M", live=False, number=2)
    assert panel.sent[-1]["states"]["gate_r"]["message"] == ""


HOSTILE = [
    None, 7, [], "enter", {}, {"word": None}, {"word": ["enter"]}, {"word": "enter"}, {"word": "__init__"},
    {"word": "enter", "key": "gate_r"}, {"word": "enter", "key": ["gate_r"], "text": "1M"},
    {"word": "enter", "key": "gate_r", "text": 1e6}, {"word": "enter", "key": "gate_r", "text": "9" * 10**6},
    {"word": "enter", "key": "v", "text": "2"}, {"word": "enter", "key": "_bench", "text": "x"},
    {"word": "enter", "key": "gate_r", "text": "1e999"}, {"word": "enter", "key": "gate_r", "text": "nan"},
    {"word": "enter", "key": "gate_r", "text": "-1M", "number": -4}, {"word": "enter", "key": "pad", "text": "1,,2"},
    {"word": "enter", "key": "tuning", "text": "<img src=x>", "number": {"a": 1}},
    {"word": "enter", "key": "gate_r", "text": "1M\x00", "live": "yes", "number": True},
]  # fmt: skip


@pytest.mark.parametrize("content", HOSTILE, ids=str)
def test_hostile_messages_change_nothing_and_raise_nothing(state, panel, content):
    panel._heard(panel, content, [])
    assert state.chain == SignalChain()


def test_state_from_the_browser_is_ignored(state, panel):
    before = (panel.groups, panel.name)
    panel.set_state({"groups": [], "name": "<b>mine</b>", "layout": "IPY_MODEL_x"})
    assert (panel.groups, panel.name) == before


def test_only_what_changed_is_sent(state, panel):
    say(panel, word="ready")
    assert set(panel.sent[-1]["states"]) == set(all_parameters()) - {"v"}
    state.enter("gate_r", "1M")
    assert set(panel.sent[-1]["states"]) == {"gate_r"}


def test_undo_is_written_back_to_every_panel(state, panel):
    other = Controls(state, [Group(("gate_r",))], "own")
    say(panel, word="enter", key="gate_r", text="1M", live=False, number=1)
    assert other.states()["gate_r"]["text"] == "1M"
    state.undo()
    assert panel.states()["gate_r"]["text"] == "4M7" and other.states()["gate_r"]["text"] == "4M7"


def test_a_panel_takes_only_its_own_controls(state):
    own = Controls(state, [Group(("gate_r",))], "own")
    say(own, word="enter", key="pickup_c", text="1n", live=False, number=1)
    assert state.chain == SignalChain()
    assert own.enter("pickup_c", "1n") != ""


def test_typical_values_say_so_and_can_be_gone_back_to(state, panel):
    told = panel.states()["jfet_idss"]
    assert told["note"].startswith("typical, not yours") and not told["back"]
    assert len(told["text"]) <= 6
    panel.enter("jfet_idss", "3m2")
    told = panel.states()["jfet_idss"]
    assert told["text"] == "3m2" and not told["note"] and told["back"] == "back to typical"
    say(panel, word="enter", key="jfet_idss", text="", live=False, number=1)
    assert state.chain == SignalChain()


def test_a_row_from_memory_says_so(state, panel):
    from piezolab import catalogue

    for name, row in catalogue.transistors().items():
        panel.enter("jfet", name)
        assert ("memory" in panel.states()["jfet"]["aside"]) is row.from_memory


def test_a_row_that_another_corrects_is_shown_where_a_link_has_it_and_not_offered(state, panel):
    # in the old one's place
    assert list(dict(item(all_parameters()["jfet"])["options"]))[:3] == ["2N3819", "2N4416", "2N5457-2"]
    jfet, supply = (dict(item(all_parameters()[key])["options"]) for key in ("jfet", "supply"))
    assert {"J113", "2N5457-2", "MMBF5457"} <= jfet.keys() and jfet["2N5457-2"] == "2N5457" and "2N5457" not in jfet
    assert {"adapter", "li-ion-9v-converter-2"} <= supply.keys() and "li-ion-9v-converter" not in supply
    panel.enter("jfet", "2N5457")
    assert panel.states()["jfet"]["text"] == "2N5457"
    assert panel.states()["jfet"]["shown"] == "2N5457, as old links have it"
    panel.enter("jfet", "2N5457-2")
    assert "shown" not in panel.states()["jfet"]
    assert "2N5457 (typical" in parts_list(state.chain) and "2N5457-2" not in parts_list(state.chain)


@pytest.mark.parametrize(
    "link, shown, hidden",
    [
        ("stage=direct", {"pickup_c", "cable_m", "stage"}, {"gate_r", "source_r", "supply_v", "jfet", "ripple_v"}),
        ("", {"gate_r", "jfet", "supply_v"}, {"return_part", "divider_r", "ripple_v", "bypass_part", "jfet_vds"}),
        ("return=tap", {"return_part"}, {"divider_r"}),
        ("return=divider", {"return_part", "divider_r", "divider_c"}, set()),
        ("supply=adapter", {"ripple_v"}, set()),
        ("stage=gain", {"bypass_part", "drain_r"}, set()),
        ("jfet_idss=3m", {"jfet_vds"}, set()),
        ("input=pedal,interface", {"input"}, {"input_r", "input_c", "input_max", "input_noise"}),
    ],
)
def test_only_controls_that_mean_something_are_shown(link, shown, hidden):
    panel = Controls(PageState(from_link(link)), [Group(keys_of(*GROUPS))], "everything")
    states = panel.states()
    assert {key for key in shown | hidden if states[key]["applies"]} == shown


def test_several_part_values_are_put_in_and_taken_out(state, panel):
    start = item(all_parameters()["pad"])["start"]
    assert panel.states()["pad"]["text"] == "none"
    panel.enter("pad", start)
    assert state.chain.pad == (10e3, 10e3) and len(panel.states()["pad"]["at"]) == 2
    panel.enter("pad", "none")
    assert state.chain == SignalChain()
    panel.enter("resonance", item(all_parameters()["resonance"])["start"])
    assert state.chain.resonance == (4e3, 20.0, 0.3)
