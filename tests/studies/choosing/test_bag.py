"""Which of the measured transistors to solder."""

import pytest

from piezolab.chain import SignalChain
from piezolab.studies.bias import bias
from piezolab.studies.choosing.bag import outside_the_sheet, ranked
from piezolab.studies.choosing.best_resistor import ResistorChoice, best_resistor
from piezolab.studies.choosing.drawer import DrawerTransistor
from piezolab.studies.in_hand.two_readings import Accuracy, Readings, two_readings

BAG = (
    DrawerTransistor("2N3819", 3e-3, 1.6, name="1"),
    DrawerTransistor("2N3819", 12e-3, 4.9, name="2"),
    DrawerTransistor("2N3819", 7e-3, 3.0, name="3"),
    DrawerTransistor("2N3819", 14e-3, 7.0, name="4"),
)


def test_each_is_given_its_own_best_resistor_and_the_best_comes_first() -> None:
    chain = SignalChain(jfet="2N3819")
    rows = ranked(chain, BAG)
    assert sorted(row.place for row in rows) == [0, 1, 2, 3]
    for row in rows:
        own = chain.but(row.part.entered())
        assert row.best.changes == best_resistor(own).changes
        assert row.chain == own.but(row.best.changes)
        assert row.best.feasible == (bias(row.chain.but(supply_v=6.0)).region == "saturation")
    # a follower with its gate at ground swings down by |V_GS(off)| and up by V+ - |V_GS(off)| at most: 3 V is half of a
    # spent battery, 1.6 V leaves less below, 4.9 V less above, and 7 V is more than there is
    assert [row.place for row in rows if row.best.feasible] == [2, 0, 1]
    limits = [min(row.part.vgsoff, 6.0 - row.part.vgsoff) for row in rows]
    for row, limit in zip(rows[:3], limits[:3], strict=True):
        assert row.best.headroom_v <= 1.02 * limit
    assert rows[-1].place == 3 and not rows[-1].best.feasible


def test_a_wanted_source_voltage_ranks_by_nearness() -> None:
    rows = ranked(SignalChain(jfet="2N3819"), BAG, choice=ResistorChoice(source_v=1.5))
    miss = [abs(row.best.source_v / 1.5 - 1) for row in rows if row.best.feasible]
    assert miss == sorted(miss)


def test_nothing_to_rank() -> None:
    assert ranked(SignalChain(), ()) == ()
    assert ranked(SignalChain(stage="direct"), BAG) == ()


def test_readings_of_another_type_are_noticed() -> None:
    found = two_readings(Readings(330.0, 0.61, 3300.0, 1.02, 9.0), lambda_=0.02)
    assert outside_the_sheet("J113", found) == ()
    assert outside_the_sheet("J201", found) == ("idss",)
    # too much V_GS(off), with a current that would still do
    wide = two_readings(Readings(330.0, 2.0, 3300.0, 4.2, 12.0), Accuracy(resistor_percent=0.1), 0.02)
    assert outside_the_sheet("J113", wide) == ("vgsoff",)
    with pytest.raises(KeyError):
        outside_the_sheet("NONE", found)
