"""Stages of two transistors in the drawer's search: who stands where, counts, what they may be, and when they are
offered. `test_search_bar` tries everything, these stages included."""

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.pages.what_shall_i_build_from_my_drawer.drawer_answer import answer_html, build_words
from piezolab.studies.bias import bias
from piezolab.studies.choosing.bench import Bench
from piezolab.studies.choosing.choosing_figures import drawer_figures
from piezolab.studies.choosing.drawer import Drawer, DrawerTransistor, buildable, casts, within_counts
from piezolab.studies.choosing.further_figures import further
from piezolab.studies.choosing.offers import search
from piezolab.studies.choosing.one_build import as_chain
from piezolab.studies.choosing.parts_search import looked_at
from piezolab.studies.choosing.wirings import wirings
from piezolab.studies.choosing.worst_case import batch, fresh_margins, voltages
from piezolab.studies.judging.wish import Wish
from piezolab.studies.judging.worth import second_worth
from piezolab.studies.population import population

ONE, TWO = DrawerTransistor("J113", 6.2e-3, 1.6, name="1"), DrawerTransistor("J113", 3.1e-3, 0.95, name="4")
BOTH = (ONE, TWO)
RESISTORS = (2.2e3, 6.8e3, 10e3, 100e3, 2.2e6, 10e6)
DRAWER = Drawer(RESISTORS, (2.2e-6, 22e-6), BOTH)
#: An input that no drain resistor of use can drive.
HEAVY = SignalChain(play_v=0.02, input_r=2e3)
MUCH = Wish(gain_db=12.0)


def of_kind(drawer: Drawer, name: str):
    return [kind for kind in wirings(drawer) if kind.name == name]


def test_who_may_stand_where() -> None:
    """A measured part is there once, one of a type as often as it was counted."""
    typed = (DrawerTransistor("J113", count=1), DrawerTransistor("2N5457", count=2), DrawerTransistor("J201"))
    assert casts(Drawer(transistors=BOTH), 2) == ((0, 1), (1, 0))
    assert casts(Drawer(transistors=(ONE,)), 2) == () and casts(Drawer(transistors=(ONE,)), 1) == ((0,),)
    both = casts(Drawer(transistors=typed), 2)
    assert (0, 0) not in both and {(1, 1), (2, 2), (0, 1), (1, 0)} < set(both) and len(both) == 8
    assert not of_kind(Drawer(RESISTORS, (2.2e-6,), (ONE,)), "steady")
    kinds = of_kind(Drawer(transistors=typed), "driven")
    assert sorted(kind.fixed["second"] for kind in kinds) == ["2N5457", "J113", "J201"]


def test_a_second_transistor_is_offered_where_it_alone_brings_what_is_wished() -> None:
    found = search(HEAVY, DRAWER, MUCH)
    assert found.builds and {build.kind for build in found.builds} == {"driven"}
    for build in found.builds:
        made = as_chain(HEAVY, DRAWER, build)
        assert build.transistors in ((0, 1), (1, 0)) and buildable(made, DRAWER)
        assert second_worth(made).worth_it and bias(made).works
        assert made.measured("jfet") and made.measured("second")
        assert build.parts == sum(len(taken.pieces) for taken in build.takes) + 2
        words = build_words(build, DRAWER)
        assert "no. 1" in words and "no. 4" in words and "as the follower" in words
    said = answer_html(found, DRAWER, HEAVY)
    assert said.count("Its second transistor brings every note") == len(found.builds)
    fresh = fresh_margins(as_chain(HEAVY, DRAWER, found.builds[0]), MUCH, (5.0, 20.0), 1000, 77)
    share = np.mean(np.all([margin >= 0 for margin in fresh.values()], axis=0))
    assert share >= 0.975 and found.builds[0].fit.low <= share <= found.builds[0].fit.high
    told = drawer_figures(HEAVY, DRAWER, MUCH)["builds"][0]
    assert {told["transistor"]["name"], told["second_transistor"]["name"]} == {"1", "4"}


def test_none_is_offered_where_the_second_brings_nothing() -> None:
    """Steady followers fit there at their worst, too, but no better than one transistor by what one hears."""
    chain = SignalChain(play_v=0.3, pickup_c=1e-9)
    bench = Bench(chain, DRAWER, Wish())
    (steady,) = of_kind(DRAWER, "steady")
    pool = looked_at(bench, steady)
    assert pool.stood.fit[0] == 1.0
    found = search(chain, DRAWER)
    assert found.builds and not any(build.second is not None for build in (*found.builds, *found.front))


def test_the_search_tells_which_of_the_two_is_the_sink() -> None:
    """By the operating points of both ways round, from a fresh battery to a spent one, with the drawer's resistors."""
    bench = Bench(SignalChain(), DRAWER, Wish())
    (steady,) = of_kind(DRAWER, "steady")
    pool = looked_at(bench, steady)
    for k in (0, len(pool.rows) - 1):
        upper, lower = bench.casts(steady)[pool.rows[k, 0]]
        changes = {key: float(values[pool.rows[k, n]]) for n, slot in enumerate(steady.slots, 1)
                   for key, values in slot.settings.items()}  # fmt: skip
        made = SignalChain().but(steady.fixed | changes)
        made = made.but(DRAWER.transistors[upper].entered()).but(DRAWER.transistors[lower].entered_second())
        assert all(bias(made.but(supply_v=supply_v)).works for supply_v in voltages(made)) == (
            pool.stood.margins["works"][k] >= 0
        )


def test_counts_hold_for_both_and_for_the_holding_resistor() -> None:
    counts = {10e6: 1, 2.2e6: 3, 6.8e3: 1, 2.2e3: 1}
    counted = Drawer(RESISTORS, DRAWER.capacitors, BOTH, counts)
    for build in (told := search(HEAVY, counted, MUCH)).builds:
        assert within_counts([piece for taken in build.takes for piece in taken.pieces], counts)
    assert told.builds
    (steady,) = of_kind(counted, "steady")
    pool = looked_at(Bench(SignalChain(), counted, Wish()), steady)
    gate = steady.slot("gate_r").settings["gate_r"][pool.rows[:, 1]]
    assert len(gate) and not np.any(gate == 10e6), "the only one holds"
    (without,) = of_kind(Drawer((1e3, 100e3, 1e6), (2.2e-6,), BOTH), "steady")
    assert without.lacks == ("hold_r",)


def test_what_a_pair_of_types_is_taken_for() -> None:
    """Each end of one with each end of the other, and the middle, since they are drawn apart."""
    drawer = Drawer(RESISTORS, DRAWER.capacitors, (DrawerTransistor("J113"), TWO))
    bench = Bench(SignalChain(), drawer, Wish())
    for kind in (*of_kind(drawer, "steady"), *of_kind(drawer, "driven")):
        for cast, may_be in zip(bench.casts(kind), bench.members(kind), strict=True):
            assert len(may_be) == {(0, 0): 5, (0, 1): 3, (1, 0): 3}[cast]
            row = np.zeros((len(may_be), 1 + len(kind.slots)), int)
            row[:, 0] = np.arange(len(may_be))
            values = batch(SignalChain().but(kind.fixed).values, may_be, kind, row)
            off = population("J113").vgsoff
            ends = np.percentile(off, [1, 99])
            if cast == (0, 0):
                corners = {
                    (round(a, 6), round(b, 6)) for a, b in zip(values.jfet_vgsoff, values.second_vgsoff, strict=True)
                }
                assert len(corners) == 5
            for key, k in (("jfet_vgsoff", cast[0]), ("second_vgsoff", cast[1])):
                low, high = ends if k == 0 else (-0.95, -0.95)
                assert values[key].min() == pytest.approx(low, rel=0.02)
                assert values[key].max() == pytest.approx(high, rel=0.02)


def test_two_transistors_cost_two() -> None:
    (driven,) = of_kind(DRAWER, "driven")
    rows = np.zeros((1, 1 + len(driven.slots)), int)
    chain = HEAVY.but(driven.fixed)
    found = further(chain, chain.values, Wish(parts=20), (1,), (driven, rows))
    assert found["parts"] == 2 + sum(len(slot.takes[0]) for slot in driven.slots)


def test_a_build_of_two_must_be_there_twice() -> None:
    chain = SignalChain(stage="driven", jfet="J113", second="2N5457", gate_r=2.2e6, drain_r=6.8e3, source_r=2.2e3,
                        bypass_c=22e-6, follow_r=10e3, out_c=2.2e-6, bleed_r=100e3, supply_c=0)  # fmt: skip
    both = (DrawerTransistor("J113"), DrawerTransistor("2N5457"))
    assert buildable(chain, Drawer(RESISTORS, DRAWER.capacitors, both))
    assert not buildable(chain, Drawer(RESISTORS, DRAWER.capacitors, both[:1]))
    twins = chain.but(second="J113")
    assert buildable(twins, Drawer(RESISTORS, DRAWER.capacitors, both[:1]))
    assert not buildable(twins, Drawer(RESISTORS, DRAWER.capacitors, (DrawerTransistor("J113", count=1),)))
