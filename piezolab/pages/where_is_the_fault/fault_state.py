"""The fault page's state: beside the chain what was read and heard, the meter, and what follows from them.

Two things more can be observed: `outlook`, how probable each place is, which headline and figure show; and `diagnosis`,
which also proposes the next reading. Before anything was read or heard the outlook needs no simulation and follows a
change at once; all else waits for the chain's table of faults, which is made when the hand rests.
"""

from __future__ import annotations

from dataclasses import dataclass

import traitlets

from piezolab.circuit.errors import CircuitError
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.where_is_the_fault.entry import Entry, MeterEntry
from piezolab.studies.faults.beforehand import beforehand
from piezolab.studies.faults.diagnosis import Diagnosis, SpotShare, diagnose
from piezolab.studies.faults.drawn_board import table_of
from piezolab.studies.faults.readings import SWEPT, Reading
from piezolab.studies.faults.table import FaultTable
from piezolab.studies.metering.instrument import Meter


@dataclass(frozen=True, eq=False)
class Weighed:
    """A diagnosis with what it was made from; used: places in `entries` of the readings that this chain has."""

    table: FaultTable
    found: Diagnosis
    entries: tuple[Entry, ...]
    heard: tuple[str, ...]
    metering: MeterEntry
    used: tuple[int, ...]

    @property
    def readings(self) -> tuple[Reading, ...]:
        """The readings that were weighed."""
        return tuple(self.entries[n].reading for n in self.used)

    @property
    def doubted(self) -> tuple[int, ...]:
        """Numbers, as shown, of the readings that no single fault explains."""
        return tuple(self.used[k] + 1 for k in self.found.unexplained)


@dataclass(frozen=True, eq=False)
class Outlook:
    """How probable each place is; weighed: from which diagnosis, None before anything was read or heard; problem: why
    nothing can be said about the chain, "" where something can."""

    spots: tuple[SpotShare, ...] = ()
    weighed: Weighed | None = None
    problem: str = ""


class FaultState(PageState):
    """See the module. `diagnosis` is None before the first, and where the chain cannot be worked out; after a change it
    is that of the earlier chain or meter until the new table is there.

    entries: what was entered, in that order; the readings among them that this chain has are weighed.
    """

    outlook = traitlets.Instance(Outlook, ())
    diagnosis = traitlets.Instance(Weighed, allow_none=True)

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.entries: tuple[Entry, ...] = ()
        self.heard: tuple[str, ...] = ()
        self.metering: MeterEntry = MeterEntry()
        self._table: FaultTable | None = None
        self._asked: tuple[object, ...] | None = None
        self.observe(lambda _: self.weigh(), "settled")
        self.weigh()

    @property
    def meter(self) -> Meter:
        """The meter in use."""
        return self.metering.meter

    @property
    def table(self) -> FaultTable | None:
        """The table of this chain and meter, or None while it is not there."""
        return self._table if self._asked == self._question else None

    @property
    def _question(self) -> tuple[object, ...]:
        return self.chain, self.metering.build, any(entry.reading.kind in SWEPT for entry in self.entries)

    def weigh(self) -> None:
        """Weigh the faults again: at once where the table is there, else when the hand rests."""
        if not (self.entries or self.heard):
            try:
                build = self.metering.build
                self.outlook = Outlook(beforehand(self.chain, build.guarded, build.ring, build.led))
            except CircuitError as error:
                self._give_up(error)
                return
        if self.table is None:
            self.at_rest.put((self, "table"), self._make_table)
        else:
            self.at_rest.drop((self, "table"))
            self._weigh()

    def _make_table(self) -> None:
        asked = self._question
        try:
            self._table, self._asked = table_of(*asked), asked
        except CircuitError as error:
            self._give_up(error)
            return
        self._weigh()

    def _give_up(self, error: CircuitError) -> None:
        self._table = self._asked = self.diagnosis = None
        self.outlook = Outlook(problem=f"This chain could not be worked out: {error}")

    def _weigh(self) -> None:
        table, known = self._table, {check.key for check in self._table.checks}
        used = tuple(n for n, entry in enumerate(self.entries) if entry.reading.check.key in known)
        readings = tuple(self.entries[n].reading for n in used)
        found = diagnose(table, readings, self.heard, self.metering.kinds)
        weighed = Weighed(table, found, self.entries, self.heard, self.metering, used)
        if found.stop or self.entries or self.heard:
            self.outlook = Outlook(found.spots, weighed)
        self.diagnosis = weighed
