"""Whatever takes long at rest gives way often enough to be interrupted: counted, since a clock says another thing on
every machine. How long the pieces are is measured in the benchmarks."""

import pytest

from piezolab import giving_way
from piezolab.chain import SignalChain
from piezolab.pages.how_loud_before_it_clips.room_section import room_words
from piezolab.pages.what_do_cable_and_input_change.sections import every_input
from piezolab.pages.who_makes_the_hiss_and_the_hum.chapter import steps_html
from piezolab.sheets.sheet_data import SheetData
from piezolab.studies.faults.diagnosis import diagnose
from piezolab.studies.faults.making import fault_table
from piezolab.studies.faults.readings import Reading
from piezolab.studies.kept import forget

CHAIN = SignalChain({"source_r": 3.6e3})


WORK = {
    "every input": lambda: every_input(CHAIN),
    "more room": lambda: room_words(CHAIN),
    "what to try": lambda: steps_html(CHAIN),
    "the layout": lambda: SheetData(CHAIN).layout,
    "first power": lambda: SheetData(CHAIN).power,
    "the tone": lambda: SheetData(CHAIN).tone,
    "other transistors": lambda: SheetData(CHAIN).types,
    "the table of faults": lambda: fault_table(CHAIN),
    "a diagnosis": lambda: diagnose(fault_table(CHAIN), (Reading("ohm", "source", 3.6e3),)),
}


@pytest.mark.parametrize("name", WORK)
def test_it_gives_way(name):
    forget()
    count = 0

    def interrupted():
        nonlocal count
        count += 1

    with giving_way.heard_by(interrupted):
        WORK[name]()
    assert count > 40
    before = count
    giving_way.give_way()
    assert count == before, "nobody listens any more"
