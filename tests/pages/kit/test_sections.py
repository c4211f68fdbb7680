"""Sections below the controls: when they are worked out, and what they say when they cannot be."""

import logging

import pytest

from piezolab.circuit.errors import CircuitError
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.sections import PlotSection, Section

OPEN, SHUT = {"word": "fold", "open": True}, {"word": "fold", "open": False}


@pytest.fixture
def state():
    return PageState()


def turn(head, message) -> None:
    head._heard(head, message, [])


def test_an_open_section_follows_when_the_hand_rests(state):
    section = Section(state, "words", "Title", lambda chain: f"<p>{chain.stage}</p>")
    assert section.content == "<p>follower</p>"
    state.enter("stage", "gain", live=True)
    assert section.content == "<p>follower</p>"
    state.enter("stage", "gain")
    assert section.content == "<p>gain</p>"


def test_a_folded_section_is_worked_out_when_it_is_opened_and_once_for_each_chain(state):
    asked = []
    section = Section(state, "words", "Title", lambda chain: asked.append(chain.stage) or chain.stage, folded=True)
    state.enter("stage", "gain")
    assert asked == [] and section.content == "" and section.lazy and section.title == "Title"
    turn(section, OPEN)
    turn(section, SHUT)
    turn(section, OPEN)
    assert asked == ["gain"] and section.content == "gain"
    turn(section, SHUT)
    state.enter("stage", "direct")
    assert section.content == "gain"
    turn(section, OPEN)
    assert asked == ["gain", "direct"] and section.content == "direct"


@pytest.mark.parametrize("message", [{"word": "fold"}, {"word": "fold", "open": "yes"}, {"word": "open"}, "fold", None])
def test_other_messages_open_nothing(state, message):
    section = Section(state, "words", "Title", lambda chain: "<p>in</p>", folded=True)
    turn(section, message)
    assert not section.opened and section.content == ""


def test_a_section_that_stands_open_cannot_be_shut_from_outside(state):
    section = Section(state, "words", "Title", lambda chain: chain.stage)
    turn(section, SHUT)
    state.enter("stage", "gain")
    assert section.content == "gain"


def test_what_cannot_be_worked_out_is_said_and_the_next_section_goes_on(state, caplog):
    def fails(chain):
        if chain.stage == "gain":
            raise CircuitError("Q1: <no> operating point was found")
        return "<p>good</p>"

    first = Section(state, "words", "First", fails)
    broken = Section(state, "words", "Broken", lambda chain: 1 // (chain.stage != "gain") and "fine")
    last = Section(state, "words", "Last", lambda chain: chain.stage)
    with caplog.at_level(logging.CRITICAL + 1, logger="piezolab.pages.kit.sections"):
        state.enter("stage", "gain")
    assert "worked out" in first.content and "&lt;no&gt;" in first.content
    assert "went wrong" in broken.content
    assert last.content == "gain"
    state.undo()
    assert (first.content, broken.content, last.content) == ("<p>good</p>", "fine", "follower")


def drawn(chain, kept):
    if chain.stage == "gain":
        raise CircuitError("no such point")
    y = [0.0, 1.0 if kept is None else 2.0]
    return [{"x": [0, 1], "y": y}], {"height": 200}, {}, f"A line, {chain.stage}."


def test_a_plot_section_follows_chain_and_kept_curve(state):
    section = PlotSection(state, "Figure", drawn)
    assert section.plot.label == "A line, follower." and section.plot.layout.display is None
    state.keep()
    assert section.plot.traces[0]["y"][1] == 2.0
    state.enter("stage", "direct")
    assert section.plot.label == "A line, direct."


def test_a_plot_that_cannot_be_drawn_makes_room_for_the_sentence(state):
    section = PlotSection(state, "Figure", drawn)
    state.enter("stage", "gain")
    assert "no such point" in section.head.content and section.plot.layout.display == "none"
    state.undo()
    assert section.head.content == "" and section.plot.layout.display is None


def test_a_folded_plot_is_drawn_when_it_is_opened(state):
    section = PlotSection(state, "Figure", drawn, folded=True)
    assert section.plot.revision == 0 and section.plot.layout.display == "none"
    turn(section.head, OPEN)
    assert section.plot.revision == 1 and section.plot.layout.display is None
    turn(section.head, SHUT)
    assert section.plot.layout.display == "none"
