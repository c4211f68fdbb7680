"""Hear your own instrument, without a browser: the sentence, the loop that is sent, what there is without a take."""

import io
import json
from html import unescape
from itertools import combinations

import numpy as np
import pytest
import soundfile

from piezolab.audio import RATE
from piezolab.pages.did_it_do_what_was_predicted import chapter
from piezolab.pages.did_it_do_what_was_predicted.own_player import NO_TAKE, OWN
from piezolab.pages.what_shall_i_build_from_my_drawer import chapter as drawer_chapter
from piezolab.studies.choosing.one_build import as_chain, surroundings, with_stage_of
from piezolab.studies.listening import PEAK
from tests.chain.strategies import random_chain

ASKED = {"word": "play", "serial": 4, "sound": OWN, "level": "matched", "noises": [], "versions": ["bare", "stage"]}


@pytest.fixture
def page():
    return chapter.make("pickup_c=2n2&input=amplifier")


def asked(page, **more):
    said = []
    page.own_sound.player.send = lambda content, buffers=None: said.append((content, buffers))
    page.own_sound.player._heard(page.own_sound.player, {**ASKED, **more}, [])
    return said[-1]


def test_a_loop_in_which_each_has_its_turn(page):
    content, buffers = asked(page)
    assert content["turns"] == ["bare pickup", "with the stage"] and "problem" not in content
    samples, rate = soundfile.read(io.BytesIO(buffers[0]))
    assert rate == RATE and len(samples) == 4 * RATE and 0.2 < abs(samples).max() <= PEAK
    json.dumps(content)


def test_the_kept_chain_is_heard_too(page):
    page.state.keep()
    page.state.put(page.state.chain.but(pickup_c=4.7e-9))
    assert [word for word, _ in page.own_sound.player.versions] == ["bare", "stage", "kept"]
    content, _ = asked(page, versions=["stage", "kept"], level="true")
    assert content["turns"] == ["with the stage", "kept curve"]
    content, _ = asked(page, versions=["stage", "no such"])
    assert "not offered" in content["problem"]


def test_from_where_it_is_ones_own_is_said_once_it_is_opened(page):
    assert not page.own_sound.words.content
    page.own_sound.head._turned({"open": True})
    assert "is yours" in page.own_sound.words.content or "no longer yours" in page.own_sound.words.content
    page.state.heard = None
    assert NO_TAKE in asked(page)[0]["problem"]


# -- the drawer's builds ---------------------------------------------------------------------------------------------
def given(page, *rows):
    """What the page makes of builds in the browser's store."""
    page.keepsake._heard(page.keepsake, {"word": "kept", "sections": {"offers": json.dumps(rows)}}, [])


def words_there(page):
    return [word for word, _ in page.own_sound.player.versions]


def test_what_the_drawers_search_offered_is_heard_here():
    drawer = drawer_chapter.make("pickup_c=500p")
    sent = []
    drawer.keepsake.send = lambda content, buffers=None: sent.append(content["keep"])
    drawer.drawer.form.submit({"resistors": "2k2 6k8 22k 1M 4M7", "capacitors": "100n 10u", "transistors": "J113"})
    builds, kept = drawer.drawer.found.builds, {name: text for each in sent for name, text in each.items()}
    here = chapter.make("pickup_c=500p")
    before = words_there(here)
    here.keepsake._heard(here.keepsake, {"word": "kept", "sections": kept}, [])
    assert 1 <= len(builds) and words_there(here) == [*before, *(f"drawer {n}" for n in range(min(len(builds), 3)))]
    names = [name for _, name in here.own_sound.player.versions[2:]]
    assert names[0] == "drawer: first choice" and len(set(names)) == len(names)
    chains = here.own_sound.player._chains()
    assert chains["drawer 0"] == as_chain(drawer.state.chain, drawer.drawer.drawer, builds[0])
    content, buffers = asked(here, versions=words_there(here), level="true")
    samples, rate = soundfile.read(io.BytesIO(buffers[0]))
    assert content["turns"] == [name for _, name in here.own_sound.player.versions]
    turns = samples.reshape(len(content["turns"]), 2 * rate)
    assert all(abs(one - other).max() > 1e-3 for one, other in combinations(turns, 2))
    here.state.put(chains["drawer 0"])
    assert "drawer 0" not in words_there(here), "it is the page's own chain by now"
    drawer.drawer.form.submit({"resistors": "", "capacitors": "", "transistors": ""})
    assert sent[-1]["offers"] is None, "that drawer offers nothing"


def test_builds_stand_on_this_bench(page):
    given(page, ["quietest", "pickup_c=500p&input=interface&stage=gain&drain_r=10k&jfet_idss=5m&jfet_vgsoff=2"])
    chain = page.own_sound.player._chains()["drawer 0"]
    assert (chain.pickup_c, chain.input) == (2.2e-9, page.state.chain.input)
    assert (chain.stage, chain.drain_r, chain.jfet_idss) == ("gain", 10e3, 5e-3)


def test_any_stage_goes_on_any_bench():
    numbers = np.random.default_rng(17)
    for _ in range(200):
        one, other = random_chain(numbers), random_chain(numbers)
        put = with_stage_of(one, other)
        assert surroundings(put) == surroundings(one) and with_stage_of(other, put) == other


def test_one_bad_build_does_not_lose_the_others(page):
    given(page, ["quietest", "stage=gain"], ["most <b>room", "stage=choir"], ["most level", "stage=gain&drain_r=10k"])
    assert words_there(page) == ["bare", "stage", "drawer 0", "drawer 1"]
    page.own_sound.head._turned({"open": True})
    assert "<b>" not in page.own_sound.words.content
    said = unescape(page.own_sound.words.content)
    assert "The drawer's build “most <b>room” is left out. stage" in said and "choir" in said
    given(page, ["quietest", "stage=gain"])
    assert "left out" not in page.own_sound.words.content


@pytest.mark.parametrize(
    "value",
    [7, "x", {}, [["a", "b"]] * 4, [["a"]], [["a", 7]], ["ab"], [["", "v=1"]], [["a\nb", "v=1"]], [["a" * 41, "v=1"]],
     [["a", "x" * 4001]], [[["a"], "v=1"]]],
)  # fmt: skip
def test_a_section_that_is_none_is_said_in_one_sentence(page, value):
    shown = words_there(page)
    page.keepsake._heard(page.keepsake, {"word": "kept", "sections": {"offers": json.dumps(value)}}, [])
    assert words_there(page) == shown
    assert page.keepsake.said.startswith("the drawer's builds: left out, since") and page.keepsake.said.count(".") == 1
