"""Two parts of a bag in a follower on a steady current: against every pair tried by itself."""

from itertools import permutations

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.studies.bias import Bias, bias
from piezolab.studies.choosing.drawer import Drawer, DrawerTransistor
from piezolab.studies.choosing.steady_pair import steady_pair
from piezolab.studies.fading_battery import battery_range

TIN = (330.0, 1e3, 2.2e3, 4.7e3, 100e3, 1e6, 4.7e6)
BAG = tuple(
    DrawerTransistor("J113", idss, vgsoff, name=str(n))
    for n, (idss, vgsoff) in enumerate(((4e-3, -0.9), (9e-3, -1.4), (20e-3, -2.4)), start=1)
)


def room(at: Bias) -> float:
    return min(float(q.v_ds - q.v_ds_sat) for q in (at, *at.others))


def alone(chain: SignalChain, upper: DrawerTransistor, lower: DrawerTransistor, ohm: float) -> float | None:
    """Room of one pair with one resistor, from chains of their own; None where it will not do."""
    made = chain.but(
        stage="steady", steady_r=ohm, **{**upper.entered(), "second": lower.jfet}, second_idss=lower.idss,
        second_vds=lower.vds, second_vgsoff=lower.vgsoff,
    )  # fmt: skip
    fresh, spent, _ = battery_range(made)
    points = [bias(made), *(bias(made.but(supply_v=volts)) for volts in (fresh, spent))]
    if not all(bool(at.works) for at in points) or not 0.1e-3 <= points[0].i_d <= 1e-3:
        return None
    return min(map(room, points))


def test_no_other_pair_and_resistor_has_more_room() -> None:
    chain, drawer = SignalChain(), Drawer(TIN, (2.2e-6, 1e-6), BAG)
    found = steady_pair(chain, drawer, range(3))
    rooms = {
        (*pair, ohm): alone(chain.but(gate_r=4.7e6), *(BAG[k] for k in pair), ohm)
        for pair in permutations(range(3), 2)
        for ohm in TIN[:5]
    }
    possible = {case: size for case, size in rooms.items() if size is not None}
    assert 0 < len(possible) < len(rooms)
    assert possible[found.upper, found.lower, found.ohm] == max(possible.values())
    assert found.room_v == pytest.approx(max(possible.values()), rel=1e-6)


def test_what_is_put_in_is_of_the_drawer() -> None:
    drawer = Drawer(TIN, (4.7e-6, 0.1e-6), BAG)
    made = SignalChain().but(steady_pair(SignalChain(), drawer, range(3)).changes)
    assert made.transistor_measured and bias(made).works
    assert (made.gate_r, made.bleed_r, made.divider_r, made.out_c) == (4.7e6, 100e3, 2e6, 4.7e-6)


def test_none_where_nothing_works() -> None:
    wide = tuple(DrawerTransistor("2N5459", 9e-3, -6.5, name=str(n)) for n in range(2))
    assert steady_pair(SignalChain(), Drawer((330.0, 1e3), (), wide), range(2)) is None
    assert steady_pair(SignalChain(), Drawer((), (), BAG), range(3)) is None
    assert steady_pair(SignalChain(), Drawer(TIN, (), BAG), [0]) is None
    assert np.isfinite(steady_pair(SignalChain(), Drawer(TIN, (), BAG), [0, 1]).room_v)
