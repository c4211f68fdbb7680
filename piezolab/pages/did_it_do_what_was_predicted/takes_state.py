"""The recordings page's state: beside the chain the takes that were listened to, and how they compare with it.

One thing more can be observed: `heard`. Before anybody brought a take it holds invented ones of the first chain with a
stage that the page had; they stay what they are while the prediction moves.
"""

from __future__ import annotations

from dataclasses import dataclass

import traitlets

from piezolab.audio import AudioError
from piezolab.chain import SignalChain
from piezolab.circuit.errors import CircuitError
from piezolab.pages.kit.page_state import PageState
from piezolab.studies.kept import kept
from piezolab.studies.recordings.against_prediction import MOST_TAKES, Compared, compared
from piezolab.studies.recordings.invented_takes import invented_takes
from piezolab.studies.recordings.shared_notes import SharedNote, shared_notes
from piezolab.studies.recordings.studied_take import StudiedTake, check_new, studied
from piezolab.studies.recordings.sweep_against import SetUp
from piezolab.studies.recordings.swept import SweptTake


@dataclass(frozen=True, eq=False)
class HeardTakes:
    """Takes, the notes that both kinds share, whether they are invented, and why there are none, "" where there are."""

    takes: tuple[StudiedTake, ...] = ()
    notes: tuple[SharedNote, ...] = ()
    invented: bool = False
    problem: str = ""

    def of(self, staged: bool) -> tuple[StudiedTake, ...]:
        """Those of one kind."""
        return tuple(take for take in self.takes if take.staged == staged)


@kept(4)
def invented(chain: SignalChain) -> HeardTakes:
    """Invented takes of a chain, listened to. Raises AudioError and CircuitError."""
    takes = tuple(studied(recording, n == 1) for n, recording in enumerate(invented_takes(chain)))
    return HeardTakes(takes, shared_notes(takes), invented=True)


class TakesState(PageState):
    """See the module; `heard` is None until there is something. swept: a recorded sweep; set_up: how it was made;
    offers: builds that the drawer's search offered last in this browser, by name, each a chain."""

    heard = traitlets.Instance(HeardTakes, allow_none=True)
    swept = traitlets.Instance(SweptTake, allow_none=True)
    set_up = traitlets.Instance(SetUp, ())
    offers = traitlets.Dict()

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self._compared: tuple[object, Compared | str] | None = None
        self.observe(lambda _: self._wants_invented(), ["settled", "chain"])

    def begin(self) -> None:
        """The page opens: invent takes, when the hand rests, for the chain that it opened on."""
        self._wants_invented()

    @property
    def compared(self) -> Compared | str:
        """The takes against this chain, or the sentence why they cannot be compared."""
        asked = self.heard, self.chain
        if self._compared is None or self._compared[0] != asked:
            self._compared = asked, self._compare()
        return self._compared[1]

    def _compare(self) -> Compared | str:
        heard = self.heard
        if heard is None:
            return ""
        if heard.problem:
            return heard.problem
        try:
            return compared(heard.takes, heard.notes, self.chain)
        except AudioError as error:
            return str(error)

    def add(self, take: StudiedTake) -> None:
        """One more take of the visitor's own; the first one takes the invented ones' place. Raises AudioError for a
        sound that is there already, and for more takes than are compared."""
        there = () if self.heard is None or self.heard.invented else self.heard.takes
        check_new(take, there)
        self.check_room(take.staged, take.name)
        takes = (*there, take)
        self.heard = HeardTakes(takes, shared_notes(takes))

    def check_room(self, staged: bool, name: str) -> None:
        """Raises AudioError where there are as many takes of a kind as are compared."""
        if self.heard is not None and not self.heard.invented and len(self.heard.of(staged)) >= MOST_TAKES:
            raise AudioError(f"{name}: {MOST_TAKES} takes of each kind are enough; remove one first.")

    def drop(self, n: int) -> None:
        """Forget a take of the visitor's own; after the last one the invented ones are back."""
        heard = self.heard
        if heard is None or heard.invented or not 0 <= n < len(heard.takes):
            return
        takes = tuple(take for k, take in enumerate(heard.takes) if k != n)
        self.heard = HeardTakes(takes, shared_notes(takes)) if takes else None
        self._wants_invented()

    def _wants_invented(self) -> None:
        if self.heard is None and self.chain.topology.powered:
            self.at_rest.put((self, "invented"), self._invent)

    def _invent(self) -> None:
        if self.heard is not None or not self.chain.topology.powered:
            return
        try:
            self.heard = invented(self.chain)
        except AudioError as error:
            self.heard = HeardTakes(invented=True, problem=f"No takes could be invented for this chain. {error}")
        except CircuitError as error:
            self.heard = HeardTakes(invented=True, problem=f"This chain could not be worked out: {error}")
