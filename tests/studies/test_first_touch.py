"""The one change: it brings what is said of it by another route, does no harm, and is not there without a benefit."""

import os

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.chain.link import from_link
from piezolab.pages.kit.examples import examples
from piezolab.studies.first_touch import bass_touch, output_touch, quiet_touch, room_touch
from piezolab.studies.hum import hum
from piezolab.studies.judging.judgement import judgement
from piezolab.studies.judging.wish import Wish, judged_figures, margins
from piezolab.studies.levels import levels
from piezolab.studies.loading import loading
from piezolab.studies.response import low_note_hz, response

FINDERS = (bass_touch, output_touch, quiet_touch, room_touch)
COUNT = 60 if os.environ.get("PIEZOLAB_LONG") else 3


def note_db(chain: SignalChain) -> float:
    """The lowest string's level by the plain response."""
    return float(response(chain, np.array([low_note_hz(chain)])).gain_db[0])


def test_chapter_1_its_example_bare_into_an_amplifier():
    touch = bass_touch(examples()["where-does-the-bass-go"].chain)
    before, after = touch.heard
    assert (touch.name, touch.brings, touch.bare) == ("input", "bass", True)
    assert before.stage == after.stage == "direct" and after.input == ("amplifier",)
    closed = [float(loading(chain).low_note_re_open_db) for chain in touch.heard]
    assert touch.gain_db == pytest.approx(closed[1] - closed[0], abs=0.05) and 16 < touch.gain_db < 18


def test_output_a_follower_for_the_bare_pickup():
    touch = output_touch(examples()["what-do-cable-and-input-change"].chain)
    assert (touch.name, touch.after.stage) == ("stage", "follower")
    assert touch.gain_db == pytest.approx(note_db(touch.after) - note_db(touch.before), abs=1e-6) and touch.gain_db > 10


def test_hum_a_shield_by_so_much():
    touch = quiet_touch(examples()["who-makes-the-hiss-and-the-hum"].chain)
    assert (touch.name, touch.brings) == ("shield", "hum")
    by_hand = hum(touch.before).relative_db - hum(touch.after).relative_db
    assert touch.gain_db == pytest.approx(by_hand, abs=0.5) and touch.gain_db > 15


def test_room_in_the_example_and_under_an_input_that_clips_first():
    touch = room_touch(examples()["how-loud-before-it-clips"].chain)
    edges = [float(levels(chain).clip_input_v_peak) for chain in (touch.before, touch.after)]
    assert touch.gain_db == pytest.approx(20 * np.log10(edges[1] / edges[0]), abs=1e-6)
    assert judgement(touch.before).edges.clips and not judgement(touch.after).edges.clips
    touch = room_touch(from_link("stage=direct&input=pedal-vintage&play_v=3"))
    assert touch is None or judgement(touch.after).edges.headroom_db > judgement(touch.before).edges.headroom_db + 1


def test_a_thin_stage_gets_its_part_before_the_bare_pickup_gets_an_input():
    touch = bass_touch(from_link("gate_r=470k&pickup_c=1n&input=line"))
    assert (touch.name, touch.bare, list(touch.changes)) == ("thin", False, ["gate_r"])
    assert note_db(touch.after) - note_db(touch.before) == pytest.approx(touch.gain_db, abs=1e-6)


@pytest.mark.parametrize("link", ["v=1", "stage=direct", "stage=direct&discs=2px", "pickup_c=10n&input=pedal"])
def test_where_nothing_is_lost_nothing_is_offered(link):
    chain = from_link(link)
    assert bass_touch(chain) is None and output_touch(chain) is None
    assert room_touch(chain) is None


def test_what_cannot_be_heard_is_not_quietened():
    assert quiet_touch(from_link("hum_c=0&shield_db=80&input=line")) is None


def test_what_is_offered_brings_its_least_and_misses_no_wish_that_was_met():
    chance = np.random.default_rng(7)
    offered = 0
    for _ in range(COUNT):
        chain = SignalChain(
            stage=str(chance.choice(["direct", "follower", "gain"])),
            input=str(chance.choice(["line", "pedal-vintage"])),
            pickup_c=float(10 ** chance.uniform(-9.3, -7.5)), play_v=float(chance.uniform(0.2, 4.0)),
            gate_r=float(10 ** chance.uniform(5.5, 7.0)),
        )  # fmt: skip
        for find in FINDERS:
            touch = find(chain)
            if touch is None:
                continue
            offered += 1
            assert touch.before == chain and chain.but(touch.changes) == touch.after != chain
            assert touch.gain_db >= (3.0 if touch.brings in ("hum", "hiss") else 1.0)
            if touch.name == "stage":
                assert judgement(chain).worth.worth_it
                continue
            had, has = (margins(judged_figures(judgement(each)), Wish()) for each in (chain, touch.after))
            assert not [name for name in had if name in has and had[name] >= 0 > has[name] + 0.5]
    assert offered >= COUNT
