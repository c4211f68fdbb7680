"""The order of the lanes: none is cheaper where all can be tried, and the guard lies where it must."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from piezolab.studies.board.board_parts import TRANSISTOR, BoardPart, Size, size_of
from piezolab.studies.board.lane_order import LaneRules, best_orders, cost, heights

RULES = LaneRules(2.54, step=2.54)


def _price(lanes: list[str], parts: list[BoardPart], order, rules: LaneRules = RULES) -> float:
    numbers = np.array([[lanes.index(lane) for lane in order]])
    return float(cost(heights(numbers, lanes, parts, rules), lanes, parts, rules)[0])


def _random_parts(draw: st.DrawFn, lanes: list[str]) -> list[BoardPart]:
    two = st.lists(st.sampled_from(lanes), min_size=2, max_size=2, unique=True)
    sizes = st.sampled_from([size_of("resistor", 1e3), size_of("capacitor", 1e-8), size_of("capacitor", 1e-5)])
    count = draw(st.integers(2, 8))
    return [BoardPart(f"p{n}", "x", tuple(draw(two)), ("", ""), draw(sizes)) for n in range(count)]


@given(st.data())
@settings(max_examples=15)
def test_no_order_of_lanes_is_cheaper(data) -> None:
    lanes = list("abcdef")
    parts = _random_parts(data.draw, lanes)
    price = _price(lanes, parts, best_orders(lanes, parts, RULES)[0])
    every = np.array(list(permutations(range(6))))
    assert price <= cost(heights(every, lanes, parts, RULES), lanes, parts, RULES).min() + 1e-9


@given(st.data())
@settings(max_examples=15)
def test_lanes_leave_room_for_what_lies_between_them(data) -> None:
    """By another route: one order at a time, each lane as low as those below it let it."""
    lanes = list("abcde")
    parts = _random_parts(data.draw, lanes)
    order = data.draw(st.permutations(lanes))
    at: dict[str, float] = {}
    for n, lane in enumerate(order):
        below = [at[order[n - 1]] + 2.54] if n else [0.0]
        for part in parts:
            others = [other for other in part.lanes if other in at]
            if lane in part.lanes and others:
                below.append(at[others[0]] + np.ceil(round(part.size.pitch / 2.54, 6)) * 2.54)
        at[lane] = max(below)
    numbers = np.array([[lanes.index(lane) for lane in order]])
    assert heights(numbers, lanes, parts, RULES)[0] == pytest.approx([at[lane] for lane in lanes])


def test_search_over_many_lanes_comes_near_the_best() -> None:
    """Eight lanes in a ring of film capacitors: the best order is known by trying all 40320."""
    lanes = list("abcdefgh")
    size = Size("box", 5.08, 17.8, 7.2, 3.5)
    parts = [BoardPart(f"C{n}", "capacitor", (lanes[n], lanes[(n * 3 + 1) % 8]), ("", ""), size) for n in range(8)]
    every = np.array(list(permutations(range(8))))
    best = float(cost(heights(every, lanes, parts, RULES), lanes, parts, RULES).min())
    assert _price(lanes, parts, best_orders(lanes, parts, RULES)[0]) <= 1.1 * best + 1e-9


def test_guard_lies_beside_the_gate_and_supply_far_from_it() -> None:
    lanes = ["plus", "gate", "source", "zero", "out"]
    parts = [
        BoardPart("Q", "jfet", ("plus", "gate", "source"), ("D", "G", "S"), TRANSISTOR),
        BoardPart("R1", "resistor", ("gate", "zero"), ("", ""), size_of("resistor", 1e6)),
        BoardPart("R2", "resistor", ("source", "zero"), ("", ""), size_of("resistor", 1e3)),
        BoardPart("C", "capacitor", ("source", "out"), ("", ""), size_of("capacitor", 1e-6)),
    ]
    rules = LaneRules(2.54, step=2.54, gate=("gate",), guard="source", away=("plus", "out"))
    for order in best_orders(lanes, parts, rules, 5):
        assert list(order[-2:]) == ["source", "gate"]
    apart = LaneRules(2.54, step=2.54, gate=("gate",), away=("plus", "out"))
    best = best_orders(lanes, parts[1:], apart)[0]
    near = best_orders(lanes, parts[1:], LaneRules(2.54, step=2.54))[0]

    def distance(order):
        at = heights(np.array([[lanes.index(lane) for lane in order]]), lanes, parts[1:], RULES)[0]
        return min(abs(at[1] - at[0]), abs(at[1] - at[4]))

    assert distance(best) >= distance(near) and distance(best) > 2.6
