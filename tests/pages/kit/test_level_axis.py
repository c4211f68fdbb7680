"""The level axis stands still while a curve moves, and a curve that leaves it below is marked."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from piezolab.chain import SignalChain
from piezolab.pages.how_loud_before_it_clips import chapter as loud
from piezolab.pages.kit.bode import Curve, below_marks, figure, level_range
from piezolab.pages.what_do_cable_and_input_change import chapter as cable
from piezolab.pages.where_does_the_bass_go import chapter as bass
from piezolab.pages.who_makes_the_hiss_and_the_hum import chapter as hiss
from piezolab.pages.will_this_transistor_do.curves import over_frequency

FREQUENCY = np.geomspace(10, 40e3, 60)


@given(st.floats(-300, 10), st.floats(-300, 10))
def test_the_ends_are_the_same_for_every_quiet_curve(first, last):
    level = np.linspace(first, last, FREQUENCY.size)
    assert level_range([level], [FREQUENCY], False) == (-40, 10)
    assert level_range([level], [FREQUENCY], True) == (-40, 30)


def test_what_is_louder_than_the_axis_is_still_seen():
    assert level_range([np.full(60, 34.0)], [FREQUENCY], True) == (-40, 40)
    assert level_range([np.where(FREQUENCY < 20, 90.0, 0)], [FREQUENCY], False) == (-40, 10)


def test_only_curves_that_leave_the_axis_are_marked_where_they_do():
    deep = np.where(FREQUENCY < 200, -60.0, -10.0)
    curves = [Curve("deep", FREQUENCY, deep, None, "bare"), Curve("high", FREQUENCY, deep + 30, None, "stage")]
    [mark] = below_marks(curves, -40.0)
    assert mark["text"] == "▼" and mark["y"] == -40 and 20 < 10 ** mark["x"] < 200
    [whole] = below_marks([Curve("deep", FREQUENCY, deep - 60, None, "bare")], -40.0)
    assert whole["text"] == "▼ deep"  # its name can stand nowhere else
    _, layout, narrow = figure(curves, [])
    assert mark in layout["annotations"] and mark in narrow["annotations"]


def test_the_chapters_axes():
    for chapter in (bass, cable):
        for stage, top in (("follower", 10), ("gain", 30)):
            for pickup_c in (1e-9, 15e-9):
                chain = SignalChain(stage=stage, pickup_c=pickup_c)
                assert tuple(chapter.CHAPTER.view(chain, None, False).layout["yaxis"]["range"]) == (-40, top)


def test_the_axis_of_the_builds_is_that_of_the_chain_and_of_hiss_its_own():
    _, layout, _, _ = over_frequency(SignalChain(), None)
    assert tuple(layout["yaxis"]["range"]) == (-40, 10) and layout["meta"] == {"steady": True}
    for hum_c in (0.0, 2e-12):
        view = hiss.CHAPTER.view(SignalChain(hum_c=hum_c), None, False)
        assert view.layout["yaxis"]["range"] == [-150.0, 30.0]


def test_names_of_playing_levels_stand_in_the_corner_without_the_curve():
    for stage in ("follower", "gain"):
        view = loud.CHAPTER.view(SignalChain(stage=stage), None, False)
        rises = next(np.asarray(t["y"])[-1] > 0 for t in view.traces if t["name"] == "this chain")
        names = [note for note in view.layout["annotations"] if note["text"] in ("normal", "hard")]
        assert len(names) == 2
        assert all("textangle" not in note and note["y"] == (0 if rises else 1) for note in names)
