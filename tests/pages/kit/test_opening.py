"""On which chain a page opens: each place that may bring one before the next, and what is kept as one's own."""

from itertools import combinations
from urllib.parse import quote

import numpy as np
import pytest
import scipy.signal

from piezolab.audio import RATE
from piezolab.chain import SignalChain
from piezolab.chain.link import from_link, read_link
from piezolab.chapters import find_chapters
from piezolab.lessons.shelf import known_lessons
from piezolab.location import notebooks_dir
from piezolab.pages.kit.examples import HOME, MOST_OWN, examples, own_chain
from piezolab.pages.kit.opened_lesson import opened_lesson
from piezolab.pages.kit.opening import Opening
from piezolab.pages.kit.page_state import PageState
from piezolab.studies import listening
from piezolab.studies.first_touch import bass_touch
from piezolab.studies.judging.judgement import judgement
from piezolab.studies.loading import loading

SLUG = "where-does-the-bass-go"
LESSON = known_lessons()[0]
OWN, LINKED = "pickup_c=2n2", "pickup_c=3n3"
PLACES = {
    "address": (LINKED, from_link(LINKED)),
    "lesson": (f"lesson={LESSON.name}", LESSON.chain),
    "own": (f"own={quote(OWN)}", from_link(OWN)),
    "example": ("", examples()[SLUG].chain),
}


@pytest.fixture
def opened(monkeypatch):
    """A served page opened with a query, its lesson taken up as a page does."""

    def open_it(query: str, slug: str = SLUG) -> PageState:
        monkeypatch.setenv("QUERY_STRING", query)
        state = PageState.opened(None, slug)
        opened_lesson(state)
        return state

    return open_it


@pytest.mark.parametrize(("first", "second"), list(combinations(PLACES, 2)))
def test_the_first_place_that_brings_a_chain_counts(opened, first, second):
    words = [PLACES[place][0] for place in (first, second)]
    assert opened("&".join(filter(None, words))).chain == PLACES[first][1]
    assert opened(PLACES[second][0]).chain == PLACES[second][1] != PLACES[first][1]


def test_the_default_chain_has_a_link_of_its_own(opened):
    for words in ("v=1", f"v=1&own={quote(OWN)}", f"v=1&lesson={LESSON.name}"):
        assert opened(words).chain == SignalChain()
    state = opened("v=1")
    assert state.carried == state.whole_query == "v=1" and from_link("v=1") == SignalChain()


def test_outside_a_served_page_it_is_the_default_chain(monkeypatch):
    monkeypatch.delenv("QUERY_STRING", raising=False)
    for state in (PageState.opened(None, SLUG), PageState.opened("", SLUG), PageState.opened(f"own={OWN}", SLUG)):
        assert state.chain == SignalChain() and state.example is None and not state.mine


BAD = ("pickup_c=lots", "warmth=7", "x" * (MOST_OWN + 1), "<b>", "pickup_c=1n&pickup_c=2n", "")


@pytest.mark.parametrize("bad", BAD)
def test_what_cannot_be_read_is_not_ones_own(opened, bad):
    assert own_chain(bad) is None
    state = opened(f"own={quote(bad)}")
    assert state.chain == examples()[SLUG].chain and not state.mine and state.problems == ()


def test_an_address_with_a_mistake_is_an_address_all_the_same(opened):
    state = opened(f"pickup_c=lots&own={quote(OWN)}")
    assert state.chain == SignalChain() and state.problems


def test_an_untouched_example_gives_way_and_a_moved_one_is_carried(opened):
    state = opened("")
    assert state.untouched and state.carried == ""
    state.enter("pickup_c", "4n7")
    assert not state.untouched and state.carried == "pickup_c=4n7&input=line"
    state.start_over()
    assert state.untouched and state.carried == ""


def test_ones_own_is_kept_with_its_changes_until_it_is_forgotten(opened):
    state = opened("")
    row = Opening(state)
    assert row.said == "Example: stick dulcimer into a line input." and row.offers == ["mine"] and row.kept is None
    state.enter("pickup_c", "4n7")
    assert row.said.startswith("Changed from the example") and row.offers == ["mine", "back"] and row.kept is None
    row._heard(row, {"word": "mine"}, [])
    assert row.said.startswith("Yours") and row.kept == state.whole_query and row.offers == ["back", "forget"]
    state.enter("gate_r", "10M")
    assert row.kept == state.whole_query
    assert opened(f"own={quote(row.kept)}").mine
    row._heard(row, {"word": "forget"}, [])
    assert row.kept == "" and not state.mine and state.chain.gate_r == 10e6


def test_that_it_is_kept_is_said_only_once_the_browser_has_told_so(opened):
    row = Opening(opened(""))
    row._heard(row, {"word": "mine"}, [])
    assert row.said == "Yours."
    for query, done in (("gate_r=1M", True), (row.kept, None), (7, True)):
        row._heard(row, {"word": "kept", "query": query, "done": done}, [])
        assert "this browser keeps it" not in row.said
    row._heard(row, {"word": "kept", "query": row.kept, "done": False}, [])
    assert "keeps no cookies" in row.said
    row._heard(row, {"word": "kept", "query": row.kept, "done": True}, [])
    assert row.said == "Yours: this browser keeps it."


def test_what_is_too_long_to_keep_is_said(opened, monkeypatch):
    state = opened("")
    row = Opening(state)
    monkeypatch.setattr("piezolab.pages.kit.opening.MOST_OWN", 20)
    row._heard(row, {"word": "mine"}, [])
    assert row.kept == "input=line"
    state.enter("pickup_c", "4n7")
    assert row.kept == "input=line" and f"{len(state.whole_query)} characters; allowed are up to 20" in row.said


def test_back_to_the_example_can_be_undone_and_forgets_nothing(opened):
    state = opened(f"own={quote(OWN)}")
    row = Opening(state)
    assert state.mine and row.kept == OWN
    row._heard(row, {"word": "back"}, [])
    assert state.untouched and row.kept == OWN
    state.undo()
    assert state.chain == from_link(OWN)


def test_the_default_chain_can_be_ones_own(opened):
    state = opened("v=1")
    row = Opening(state)
    row._heard(row, {"word": "mine"}, [])
    assert row.kept == "v=1"
    assert opened("own=v%3D1").chain == SignalChain()


def test_on_the_home_page_a_change_is_ones_own_at_once(opened):
    state = opened("", HOME)
    row = Opening(state, every_change=True)
    assert row.kept is None and state.untouched
    state.enter("pickup_c", "4n7")
    assert state.mine and row.kept == state.whole_query


def test_a_link_is_not_ones_own_until_it_is_made_so(opened):
    state = opened(f"{LINKED}&own={quote(OWN)}")
    row = Opening(state)
    assert not state.mine and row.kept is None and row.offers == ["mine", "back"]
    assert row.said == "", "it was never the example"
    assert opened(f"{OWN}&own={quote(OWN)}").mine


# -- the examples -----------------------------------------------------------------------------------------------------
def test_every_page_has_an_example_and_no_other_does():
    assert set(examples()) == {HOME, *(chapter.slug for chapter in find_chapters(notebooks_dir()))}


def test_the_examples_are_one_instrument():
    for example in examples().values():
        chain = example.chain
        assert example.name.startswith("stick dulcimer")
        assert (chain.tuning, chain.pickup_c, chain.play_v) == (SignalChain().tuning, 15e-9, 1.0)


def test_each_example_shows_its_effect():
    chain = {slug: example.chain for slug, example in examples().items()}
    lost = loading(chain["where-does-the-bass-go"])
    assert -18 < float(lost.low_note_re_open_db) < -16, "the low D loses 17 dB"
    assert not judgement(chain["will-this-transistor-do"]).works
    bare = judgement(chain["what-do-cable-and-input-change"])
    assert bare.chain.stage == "direct" and bare.worth.bass_db > 10
    assert judgement(chain["who-makes-the-hiss-and-the-hum"]).loudness.hum_db > -40
    assert judgement(chain["how-loud-before-it-clips"]).edges.clips
    others = ("how-do-i-build-it-and-check-it", "where-is-the-fault", "what-shall-i-build-from-my-drawer")
    for slug in (*others, "did-it-do-what-was-predicted"):
        assert judgement(chain[slug]).works and chain[slug].stage == "follower"


def test_a_word_of_the_page_is_no_part_of_a_chain():
    assert read_link(f"own={OWN}&lesson=x&seat=1") == (SignalChain(), ())


# -- heard on a phone -------------------------------------------------------------------------------------------------
PHONE_HZ, HEARD_DB = 300.0, 3.0  # what a phone's small loudspeaker leaves out, and a plain difference: both our own
THIRDS_HZ = 1000.0 * 2.0 ** (np.arange(-5, 4) / 3)  # 315 Hz to 2 kHz: where the note's overtones are, IEC 61260-1


def in_thirds(signal: np.ndarray) -> np.ndarray:
    """Power in each third-octave band of a sound as a phone plays it, dB."""
    heard = scipy.signal.sosfilt(scipy.signal.butter(4, PHONE_HZ, "highpass", fs=RATE, output="sos"), signal)
    power, at = np.abs(np.fft.rfft(heard)) ** 2, np.fft.rfftfreq(len(heard), 1 / RATE)
    bands = [power[(at >= f * 2 ** (-1 / 6)) & (at < f * 2 ** (1 / 6))].sum() for f in THIRDS_HZ]
    return 10 * np.log10(np.array(bands))


def heard_on_a_phone(sounds: dict[str, listening.Heard]) -> np.ndarray:
    """By how much the second sound exceeds the first in each band that carries the note, dB."""
    one, two = (in_thirds(sound.signal) for sound in sounds.values())
    carries = np.maximum(one, two) > np.maximum(one, two).max() - 20
    return (two - one)[carries]


@pytest.mark.parametrize("level", listening.LEVELS)
def test_on_a_phone_the_two_sounds_of_chapter_1_differ_as_the_player_makes_them(level):
    differ = heard_on_a_phone(listening.listen(examples()[SLUG].chain, level=level))
    assert np.count_nonzero(np.abs(differ) >= HEARD_DB) >= 3
    if level == listening.TRUE:
        assert differ.max() >= HEARD_DB, "low down the stage is plainly louder"
    else:
        assert np.ptp(differ) >= 2 * HEARD_DB, "as loud, and another tone: more below, less above"


def test_on_a_phone_what_the_first_touch_changes_is_heard():
    touch = bass_touch(examples()[SLUG].chain)
    differ = heard_on_a_phone(listening.listen_to(dict(zip(("before", "after"), touch.heard, strict=True))))
    assert np.count_nonzero(np.abs(differ) >= HEARD_DB) >= 3 and differ[0] > 0 > differ[-1], "more body"


def test_where_nothing_is_lost_a_phone_plays_the_same_twice():
    differ = heard_on_a_phone(listening.listen(SignalChain()))
    assert np.abs(differ).max() < 1.0
