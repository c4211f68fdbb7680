"""What cures clipping: each change is made and judged again, and the pad is reckoned by hand."""

from html import unescape

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.pages.how_loud_before_it_clips import chapter as page
from piezolab.pages.how_loud_before_it_clips.cure_words import before_after, cure_words
from piezolab.pages.how_loud_before_it_clips.room_section import LOUD, RoomSection
from piezolab.quantity import nearest_preferred
from piezolab.studies.judging.judgement import judgement
from piezolab.studies.level_cures import FITTED, STRAIGHT, THROUGH, fitting_pad, level_cures
from piezolab.studies.levels import levels
from tests.chain.strategies import random_chain

CHAINS = ({}, {"input": ("recorder",)}, {"stage": "direct", "play_v": 4.0}, {"stage": "gain", "play_v": 1.0})


def room(chain: SignalChain) -> float:
    return float(judgement(chain).edges.headroom_db)


@pytest.mark.parametrize("link", CHAINS)
def test_each_cure_does_what_it_says(link: dict) -> None:
    chain = SignalChain(link)
    cures = level_cures(chain)
    assert cures
    for cure in cures:
        after = chain.but(cure.changes)
        assert float(cure.after.headroom_db) == pytest.approx(room(after), abs=1e-6)
        assert float(levels(after).input_headroom_db) >= room(chain) + 0.5 - 1e-6
        assert cure_words(chain, cure) and "room" in before_after(cure)
    gains = [cure.more_db for cure in cures]
    assert gains == sorted(gains, reverse=True)


def test_a_pad_is_the_least_of_two_preferred_resistors_that_fits() -> None:
    """By hand on a bare, large disc: the divider's ratio, with the input beside the shunt resistor."""
    chain = SignalChain(stage="direct", play_v=4.0, pickup_c=500e-9, cable_m=0.0, lead_m=0.0)
    series, shunt = fitting_pad(chain)
    assert [nearest_preferred(ohm, "E12") for ohm in (series, shunt)] == [series, shunt]
    v = chain.values

    def by_hand(one: float, other: float) -> float:
        beside = other * v.input_r / (other + v.input_r)
        return 20 * np.log10(v.input_max / v.play_v * (one + beside) / beside)

    assert room(chain.but(pad=(series, shunt))) == pytest.approx(by_hand(series, shunt), abs=0.1)
    assert by_hand(series, shunt) >= 6.0 - 0.1
    less = [p for p in ((12e3, 12e3), (12e3, 8.2e3), (15e3, 8.2e3), (15e3, 10e3)) if p[1] / sum(p) > 1.05 * shunt /
            (series + shunt)]  # fmt: skip
    assert less and all(by_hand(*pair) < 6.0 for pair in less)


def test_the_pickup_straight_in_and_a_through_jack() -> None:
    names = {cure.name for cure in level_cures(SignalChain())}
    assert STRAIGHT in names and FITTED not in names, "the stage clips, so no pad"
    pair = SignalChain(stage="follower", input=("line", "recorder"))
    cures = {cure.name: cure for cure in level_cures(pair)}
    through = cures[THROUGH]
    assert pair.but(through.changes).input == ("line",), "the one with more room takes the sound"
    assert "feed the portable recorder" in cure_words(pair, through)
    assert room(pair.but(through.changes)) > room(pair) + 0.5
    assert level_cures(SignalChain(play_v=0.01)) == ()
    alone = SignalChain(input="recorder", input_max=0.15)
    through = {cure.name: cure for cure in level_cures(alone)}[THROUGH]
    assert alone.but(through.changes).input == ("line",) and alone.but(through.changes).input_max is None
    assert cure_words(alone, through) == cure_words(pair, cures[THROUGH])
    assert "lets both load" in before_after(through) and THROUGH not in names, "no other input helps a stage that clips"


def test_one_press_puts_a_cure_in() -> None:
    made = page.make("input=recorder")
    (section,) = (each for each in page.more(made.state) if isinstance(each, RoomSection))
    shown = [button["word"] for button in section.cures.buttons]
    assert FITTED in shown and "press" in section.head.content and LOUD in unescape(section.head.content)
    section.cures.press(FITTED)
    assert made.state.chain.pad == fitting_pad(SignalChain(input="recorder"))
    assert room(made.state.chain) >= 0


def test_cures_of_any_chain_give_room() -> None:
    rng = np.random.default_rng(11)
    for _ in range(12):
        chain = random_chain(rng)
        for cure in level_cures(chain):
            assert cure.more_db >= 0.5 - 1e-6
