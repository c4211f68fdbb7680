"""Hear your own instrument, without a browser: the sentence, the loop that is sent, what there is without a take."""

import io
import json

import pytest
import soundfile

from piezolab.audio import RATE
from piezolab.pages.did_it_do_what_was_predicted import chapter
from piezolab.pages.did_it_do_what_was_predicted.own_player import NO_TAKE, OWN
from piezolab.studies.listening import PEAK

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
