"""Board layouts: judged by their picture, gates are short and guarded, what is too small is said."""

from __future__ import annotations

import math
from itertools import count as count_from

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.chain.link import from_link
from piezolab.chain.parts import GROUND, Part
from piezolab.chain.stages import Stage
from piezolab.sheets.board_words import why
from piezolab.sheets.layout_svg import layout_svg, layout_text
from piezolab.studies.board.board_parts import board_parts, lanes_of
from piezolab.studies.board.layout import METHODS, LayoutError, Options, layout, smallest_sentence
from piezolab.studies.board.patience import Patience
from piezolab.studies.board.shapes import bar, collide, disc
from tests.chain.own_stages import known
from tests.studies.board.inspector import faults_of

PINS = ("D G S", "D S G")  # the two orders of legs that are common
LINKS = (
    "",
    "stage=gain",
    "return=divider&gate_stop=1k&drain_r=1k&supply_r=1k&bypass_c=10u&bypass_part=0.5",
    "return=tap&stage=gain&bypass_part=0.7&supply_r=100&gate_stop=1k",
    "source_r=0&out_c=100u&supply_c=1m",
)


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("link", LINKS)
def test_picture_is_the_network(link: str, method: str) -> None:
    chain = from_link(link)
    for pins in PINS:
        found = layout(chain, Options(method=method, pins=pins))
        assert faults_of(layout_svg(found), chain, method, pins) == []
        assert not [crossing for crossing in found.crossings if crossing.node != found.guard]


def test_leads_are_bent_no_farther_than_they_reach() -> None:
    chain = from_link(LINKS[3])
    sizes = {part.name: part.size for part in board_parts(assemble(chain.values))[0]}
    for method in METHODS:
        found = layout(chain, Options(method=method))
        assert found.lengthened == ()
        for part in found.parts:
            if part.shape in ("bar", "box", "can"):
                assert sizes[part.name].pitch - 0.11 <= math.dist(*part.leads) <= sizes[part.name].reach
    wide = layout(SignalChain(), Options(method="tape", lane_width=8))
    assert {name for name, _ in wide.lengthened} == {"Q1"}


def test_without_a_stage_there_is_no_board() -> None:
    assert layout(from_link("stage=direct")) is None


def test_a_search_can_be_watched_and_ended_with_the_best_so_far() -> None:
    chain, counts = from_link("stage=gain"), []
    whole = layout(chain, Options(), lambda count: counts.append(count) or False)
    assert counts == list(range(1, whole.choice.tried + 1)) and not whole.choice.stopped and whole == layout(chain)
    ended = layout(chain, Options(), lambda count: count == 4)
    assert ended.choice.tried == 4 and ended.choice.stopped
    assert faults_of(layout_svg(ended), chain, "stripboard", "D G S") == []
    assert "4 layouts, where the search was ended," in why(ended)


@pytest.mark.parametrize(("step", "end", "told"), [(0.01, 99, []), (0.3, 99, [4, 7, 10]), (0.3, 4, [4])])
def test_a_long_search_says_so_and_a_short_one_does_not(step: float, end: int, told: list[int]) -> None:
    clock, heard = (n * step for n in count_from(0)), []

    def say(count: int) -> None:
        heard.append(count)
        if count >= end:
            patience.enough()

    patience = Patience(say, 0.75, lambda: next(clock))
    found = patience(from_link("stage=gain"), Options())
    assert heard[:3] == told and found.choice.stopped == (end < 99)
    assert patience(from_link("stage=gain"), Options()).choice.stopped == (end < 99), "the next begins anew"


def test_same_chain_same_board() -> None:
    assert layout(from_link("stage=gain")) == layout(from_link("stage=gain"))


def test_board_that_is_too_small() -> None:
    chain = from_link("stage=gain")
    free = layout(chain)
    assert free.fits
    small = layout(chain, Options(board=(20, 20)))
    assert not small.fits
    told = smallest_sentence(small, (20, 20))
    assert told.startswith("A board of 20 × 20 mm is too small for stripboard")
    wide, tall = sorted((small.width, small.height), reverse=True)
    assert f"{wide:.1f} × {tall:.1f} mm." in told
    would_do = (math.ceil(tall * 10) / 10, math.ceil(wide * 10) / 10)  # the other way round
    assert layout(chain, Options(board=would_do)).fits


def test_wider_tape_makes_a_higher_board() -> None:
    narrow = layout(SignalChain(), Options(method="tape", lane_width=4))
    wide = layout(SignalChain(), Options(method="tape", lane_width=8))
    assert wide.height > narrow.height
    assert {strip[0][1] for lane in wide.lanes for strip in lane.strips} != set()


def test_gate_lane_is_short_and_lies_apart() -> None:
    """The strip of a bare gate ends behind its last lead; the way it was chosen is told in numbers."""
    found = layout(from_link("stage=gain"))
    assert len(found.cuts) == 1 and found.choice.tried >= 10 and found.choice.clean == found.choice.tried
    lengths = {lane.node: sum(math.dist(*strip) for strip in lane.strips) for lane in found.lanes}
    assert min(lengths, key=lengths.__getitem__) == "pickup" and lengths["pickup"] == found.choice.gate_mm
    for method in METHODS:
        choice = layout(from_link("stage=gain"), Options(method=method)).choice
        assert choice.clean >= 3 and choice.away_mm > 3, method


@pytest.mark.parametrize(("link", "node"), [("gate_r=22M", "source"), ("stage=gain&gate_r=100M", "ground")])
def test_large_gate_resistor_has_a_guard(link: str, node: str) -> None:
    for method in ("tape", "stripboard", "wire"):
        found = layout(from_link(link), Options(method=method))
        assert found.wants_guard and found.guard == node, method
        assert {crossing.node for crossing in found.crossings} <= {node}
    many = "gate_r=241M&return=tap&gate_stop=61R&drain_r=410k&bypass_c=1500u&out_c=25u&supply_c=1u3"  # eight lanes
    for method in ("tape", "stripboard"):
        found = layout(from_link(many), Options(method=method, pins="D S G"))
        assert faults_of(layout_svg(found), from_link(many), method, "D S G") == []
    assert layout(from_link("gate_r=21M")).guard == ""
    plugged = layout(from_link("stage=gain&gate_r=100M"), Options(method="breadboard"))
    assert plugged.wants_guard and plugged.guard == ""  # ground is a rail there


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"method": "glue"}, "(method): 'glue' is not known; allowed is tape, stripboard, wire or breadboard."),
        ({"board": (2, 30)}, "(board): '2x30' is out of range; allowed is width x height, each 5 to 500 mm"),
        ({"lane_width": 0.1}, "(lane_width): '0.1 mm' is out of range; allowed is 1 to 20 mm."),
        ({"gap": 30}, "gap between lanes (gap): '30 mm' is out of range; allowed is 0.5 to 20 mm."),
        ({"pins": "D D S"}, "(pins): 'D D S' is no order of legs; allowed is D G S, D S G, G D S"),
    ],
)
def test_options_are_checked(options, message) -> None:
    with pytest.raises(LayoutError) as raised:
        Options(**options)
    assert message in str(raised.value)


class _Endless(Stage):
    key = "endless"
    title = "more resistors on one node than a breadboard's column has holes"

    def parts(self, values):
        parts = [Part(f"R_{n}", "resistor", "resistor", ("pickup", f"n{n}"), 1e5) for n in range(9)]
        parts += [Part(f"R_{n}x", "resistor", "resistor", (f"n{n}", "jack"), 1e5) for n in range(9)]
        return (*parts, Part("R_s", "supply load", "resistor", ("supply", GROUND), 1e5))


def test_a_method_that_cannot_hold_the_parts_is_refused() -> None:
    with known(_Endless):
        with pytest.raises(LayoutError, match="has no room for the parts of this chain; allowed is tape, strip"):
            layout(SignalChain(stage="endless"), Options(method="breadboard"))
        found = layout(SignalChain(stage="endless"))
        assert faults_of(layout_svg(found), SignalChain(stage="endless"), "stripboard", "D G S") == []


def _inside(point, shape) -> bool:
    x, y = point
    turns = [
        (b[0] - a[0]) * (y - a[1]) - (b[1] - a[1]) * (x - a[0])
        for a, b in zip(shape, (*shape[1:], shape[0]), strict=True)
    ]
    return all(turn > 0.05 for turn in turns) or all(turn < -0.05 for turn in turns)


@given(st.tuples(*[st.floats(-10, 10)] * 4), st.tuples(*[st.floats(-10, 10)] * 2), st.floats(0.5, 6))
def test_shapes_collide_where_they_share_points(ends, centre, across) -> None:
    a, b = ends[:2], ends[2:]
    if math.dist(a, b) < 0.1:
        return
    one, other = bar(a, b, 6.5, 2.5), disc(centre, across)
    grid = [
        (centre[0] + across / 2 * r * math.cos(t), centre[1] + across / 2 * r * math.sin(t))
        for r in (0, 0.5, 0.98)
        for t in np.linspace(0, 2 * math.pi, 25)
    ]
    if any(_inside(point, one) for point in grid):
        assert collide(one, other) and collide(other, one)
    middle = ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
    if math.dist(middle, centre) > math.hypot(6.5, 2.5) / 2 + across / 2 / math.cos(math.pi / 12) + 0.01:
        assert not collide(one, other)


def test_words_tell_the_lanes() -> None:
    found = layout(SignalChain())
    text = layout_text(found)
    assert "Source lane: " in text and "Q1 (S)" in text
    assert lanes_of(*board_parts(assemble(SignalChain().values))) and "CC" not in text
