"""What you hear, drawn: nothing before it is played, all versions of what plays, nothing of a chain that is gone."""

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.pages.how_loud_before_it_clips.seen_sound_section import PRESS, SILENT, SeenSoundSection, seen_figure
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.player import NAMES, Player
from piezolab.pages.kit.touch_words import offer
from piezolab.sheets.what_and_why import change_words
from piezolab.studies.first_touch import room_touch
from piezolab.studies.listening import Heard

ASK = {"word": "play", "serial": 1, "versions": ["stage"], "sound": "lowest", "level": "true", "noises": []}
LOUD = SignalChain(stage="follower", play_v=3.0)


@pytest.fixture
def bench():
    state = PageState(LOUD)
    player = Player(state, clips=True, touch=lambda chain: offer(room_touch(chain), change_words))
    player.send = lambda content, buffers=None: None
    section = SeenSoundSection(state)
    section.head._turned({"open": True})
    return state, player, section


def names(section) -> list[str]:
    return [trace["name"] for trace in section.plot.traces if "xaxis" not in trace]


def test_nothing_is_drawn_before_it_is_played(bench) -> None:
    _, player, section = bench
    assert PRESS in section.head.content and not section.plot.traces
    player._asked_for_sound(ASK)
    assert names(section) == [NAMES["bare"], NAMES["stage"]]
    assert "at its loudest" in section.plot.label and section.head.content == ""


def test_another_chain_has_to_be_played_anew(bench) -> None:
    state, player, section = bench
    player._asked_for_sound(ASK)
    state.put(LOUD.but(source_r=10e3))
    assert PRESS in section.head.content and not section.plot.traces
    state.keep()
    player._played_again({**ASK, "word": "again"})
    assert names(section) == [NAMES["bare"], NAMES["stage"], NAMES["kept"]]
    player._played_again({**ASK, "word": "again", "sound": "no such"})
    assert len(names(section)) == 3


def test_the_one_change_is_drawn_before_and_after(bench) -> None:
    state, player, section = bench
    words = player._offer.heard
    player._touched({**ASK, "word": "touch"})
    assert state.chain != LOUD and names(section) == list(words)


def test_clipping_shows_as_a_flat_top() -> None:
    state = PageState(SignalChain(stage="follower", play_v=20.0))
    player = Player(state, clips=True)
    player.send = lambda content, buffers=None: None
    player._asked_for_sound(ASK)
    traces = seen_figure(state.played)[0]
    stage = np.asarray(traces[2]["y"])
    flat = np.abs(stage) > 0.995 * np.abs(stage).max()
    assert flat.mean() > 0.1


def test_silence_is_said() -> None:
    silent = Heard(np.zeros(200_000), 1.0, 0.0, 0.0, 100.0)
    assert seen_figure({"bare": silent})[0] == [] and seen_figure({"bare": silent})[3] == SILENT
