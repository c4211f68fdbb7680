"""The inspector of pictures rejects what a maker must not build: boards with one deliberate fault each."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache

import pytest

from piezolab.chain.link import from_link
from piezolab.sheets.layout_svg import layout_svg
from piezolab.studies.board.layout import Layout, Options, layout
from tests.studies.board.inspector import faults_of

GAIN = "stage=gain"


@cache
def board(link: str, method: str) -> Layout:
    return layout(from_link(link), Options(method=method))


def part_of(found: Layout, name: str):
    return next(part for part in found.parts if part.name == name)


def changed(found: Layout, name: str, **more) -> Layout:
    return replace(
        found, parts=tuple(replace(part, **more) if part.name == name else part for part in found.parts), crossings=()
    )


def judged(found: Layout, link: str, method: str, pins: str = "D G S") -> list[str]:
    return faults_of(layout_svg(found), from_link(link), method, pins)


def bare_source_leg() -> list[str]:
    """A follower on tape with gate, source and supply one below the other and its leg straight over the gate's lane."""
    found = board("", "tape")
    q1 = part_of(found, "Q1")
    x, y = q1.centre
    gate = found.lane("pickup").strips[0]
    low = replace(q1, centre=(x, gate[0][1] - 6.0), leads=tuple((jx, jy) for jx, jy in q1.leads))
    moved = replace(found, parts=tuple(low if part is q1 else part for part in found.parts), height=found.height + 20)
    return judged(replace(moved, crossings=()), "", "tape")


def legs_swapped() -> list[str]:
    q1 = part_of(board("", "stripboard"), "Q1")
    return judged(changed(board("", "stripboard"), "Q1", leads=q1.leads[::-1], flat=q1.flat), "", "stripboard")


def turned_round() -> list[str]:
    return judged(changed(board("", "tape"), "Q1", flat=-part_of(board("", "tape"), "Q1").flat), "", "tape")


def wrong_pins() -> list[str]:
    return judged(board("", "wire"), "", "wire", "D S G")


def polarity() -> list[str]:
    return judged(changed(board(GAIN, "stripboard"), "C_S", labels=("-", "+")), GAIN, "stripboard")


def lanes_touch() -> list[str]:
    found = board("", "tape")
    lower, *rest = found.lanes
    grown = replace(lower, strips=tuple(((ax, rest[0].strips[0][0][1]), b) for (ax, _), b in lower.strips))
    return judged(replace(found, lanes=(grown, *rest)), "", "tape")


def too_near() -> list[str]:
    found = board("", "tape")
    y = found.lanes[0].strips[0][0][1]
    near = [lane if n != 0 else lane.moved(0, found.lanes[1].strips[0][0][1] - y - 6.0) for n, lane in
            enumerate(found.lanes)]  # fmt: skip
    return judged(replace(found, lanes=tuple(near)), "", "tape")


def off_the_board() -> list[str]:
    found = board(GAIN, "wire")
    return judged(replace(found, width=found.width - 6), GAIN, "wire")


def bodies_overlap() -> list[str]:
    found = board(GAIN, "stripboard")
    x = part_of(found, "R_S").centre[0] - part_of(found, "R_bleed").centre[0]
    return judged(changed(found, "R_S", **_shifted(part_of(found, "R_S"), -x)), GAIN, "stripboard")


def _shifted(part, dx: float) -> dict:
    moved = part.moved(dx)
    return {"leads": moved.leads, "centre": moved.centre}


def beside_its_hole() -> list[str]:
    found = board(GAIN, "stripboard")
    return judged(changed(found, "R_D", **_shifted(part_of(found, "R_D"), 1.0)), GAIN, "stripboard")


def diagonal() -> list[str]:
    found = board(GAIN, "wire")
    (ax, ay), (bx, by) = part_of(found, "R_D").leads
    return judged(changed(found, "R_D", leads=((ax, ay), (bx + 2.54, by))), GAIN, "wire")


def cut_forgotten() -> list[str]:
    """The other side of the cut put to use, and the strip drawn whole."""
    found = board(GAIN, "stripboard")
    lanes = tuple(
        replace(lane, strips=((lane.strips[0][0], (found.width, lane.strips[0][1][1])),)) if lane.node == "pickup"
        else lane for lane in found.lanes
    )  # fmt: skip
    return judged(replace(found, lanes=lanes), GAIN, "stripboard")


def sleeve_forgotten() -> list[str]:
    found = board("gate_r=100M", "tape")
    assert found.crossings and judged(found, "gate_r=100M", "tape") == []
    return judged(replace(found, crossings=()), "gate_r=100M", "tape")


def part_missing() -> list[str]:
    found = board("", "wire")
    return judged(replace(found, parts=found.parts[:-1]), "", "wire")


def wire_on_another_lane() -> list[str]:
    found = board("", "stripboard")
    tip = part_of(found, "jack tip")
    at = (tip.leads[0][0], found.lane("ground").strips[0][0][1])
    return judged(changed(found, "jack tip", leads=(at,), centre=at), "", "stripboard")


def link_missing() -> list[str]:
    chain = "source_r=0&out_c=100u"  # ground has a row and a rail there
    found = board(chain, "breadboard")
    assert judged(found, chain, "breadboard") == []
    return judged(replace(found, lanes=tuple(replace(lane, links=()) for lane in found.lanes)), chain, "breadboard")


def _unguarded() -> bool:
    order = [lane.node for lane in board("stage=gain", "stripboard").lanes]
    return abs(order.index("pickup") - order.index("ground")) > 1


@pytest.mark.parametrize(
    ("fault", "told"),
    [
        (bare_source_leg, "lies bare over copper of another node"),
        (legs_swapped, "are joined"),
        (turned_round, "leads of Q1 and Q1 come too near"),
        (wrong_pins, "the pins say"),
        (polarity, "are joined"),
        (lanes_touch, "are joined"),
        (too_near, "too near each other"),
        (off_the_board, "leaves the board"),
        (bodies_overlap, "overlap"),
        (beside_its_hole, "lands beside its hole"),
        (diagonal, "lies across the grid"),
        (cut_forgotten, "copper lies in a cut"),
        (sleeve_forgotten, "lies bare over copper of another node"),
        (part_missing, "not both drawn and in the chain"),
        (wire_on_another_lane, "are joined"),
        (link_missing, "pieces"),
    ],
)
def test_a_deliberate_fault_is_rejected(fault, told: str) -> None:
    try:
        found = fault()
    except AssertionError as error:
        found = [str(error)]
    assert any(told in each for each in found), found


def test_a_gate_without_its_guard_is_rejected() -> None:
    found = board("stage=gain", "stripboard")
    assert _unguarded() and judged(found, "stage=gain", "stripboard") == []
    assert any("guard" in each for each in judged(found, "stage=gain&gate_r=100M", "stripboard"))


def test_the_untouched_boards_pass() -> None:
    for link in ("", GAIN, "gate_r=100M"):
        for method in ("tape", "stripboard", "wire", "breadboard"):
            assert judged(board(link, method), link, method) == []


def test_the_picture_says_which_plus_is_whose() -> None:
    svg = layout_svg(board(GAIN, "stripboard"))
    without = re.sub(r'<text[^>]*class="leg"[^>]*>\+</text>', "", svg)
    told = faults_of(without, from_link(GAIN), "stripboard", "D G S", polar=frozenset({"C_S", "C_out", "C_sup"}))
    assert any("shows no plus" in each for each in told)
    assert faults_of(svg, from_link(GAIN), "stripboard", "D G S", polar=frozenset({"C_S", "C_out", "C_sup"})) == []
