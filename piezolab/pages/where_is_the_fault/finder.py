"""The fault finder's panel: what is heard, the reading to take next, the readings taken, the meter."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from ipywidgets import VBox

from piezolab.circuit.errors import CircuitError
from piezolab.pages.kit.blocks import Block, Buttons, paragraphs
from piezolab.pages.kit.form import Field, FieldError, Form
from piezolab.pages.kit.keepsake import Keepsake
from piezolab.pages.kit.kept_build import meter_in_fault
from piezolab.pages.kit.option_form import OptionForm
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.tone import TonePlayer
from piezolab.pages.where_is_the_fault import sentences as say
from piezolab.pages.where_is_the_fault.entry import (
    MOST_READINGS,
    Entry,
    MeterEntry,
    entered,
    read,
)
from piezolab.pages.where_is_the_fault.finder_blocks import next_html, places_html, taken_html
from piezolab.studies.board_as_built import BoardAsBuilt, read_build
from piezolab.studies.build_options import FAULT_KEYS
from piezolab.studies.faults.diagnosis import Diagnosis, diagnose
from piezolab.studies.faults.hearing import FINE
from piezolab.studies.faults.making import fault_table
from piezolab.studies.faults.readings import Reading
from piezolab.studies.faults.simulate import HIGH_HZ, LOW_HZ
from piezolab.studies.faults.table import FaultTable
from piezolab.studies.metering.instrument import Meter

FIRST = ("ohm_max", "meter_ohm", "ac")  # of the meter's fields; the others are folded
EAR = (
    "Is anything warm, or does it smell? Switch off, unclip the battery, set it down away from people, and press "
    "“something gets hot”. Else press all that you hear."
)


class Finder(VBox):
    """Readings, what is heard, the meter, and the next reading; `changed` is called when the diagnosis is new.

    entries: what was entered, in that order; the readings among them that this chain has (`readings`) are weighed.
    """

    def __init__(self, state: PageState) -> None:
        self._state, self._keepsake = state, None
        self.changed: Callable[[], None] = lambda: None
        self.entries: tuple[Entry, ...] = ()
        self.heard: tuple[str, ...] = ()
        self.metering = MeterEntry()
        self._older: Mapping[str, str] = {}  # the meter, where an older page kept it with the readings
        self.found: Diagnosis | None = None
        self.table: FaultTable | None = None
        self._heard_words = say.heard_words()
        self.stop = Block("cautions", title="")
        self.ear = Block("heard", paragraphs(EAR), title="What do you hear?")
        self.ear_buttons = Buttons("what you hear", {word: self._hearer(word) for word in self._heard_words})
        self.next = Block("next", title="Measure next", spoken=True)
        self.tone = TonePlayer(hertz=[LOW_HZ, HIGH_HZ])
        self.meter_form = OptionForm(
            "Your meter", FAULT_KEYS, FIRST, "use this meter", self._metered, more="more about meter and tone"
        )
        self.taken = Block("taken", title="")
        self.drop = Buttons(
            "readings", {"all": self._forget} | {f"drop-{n}": self._dropper(n) for n in range(MOST_READINGS)}
        )
        self.places = Block("places", title="Likely places, and how to mend them")
        self._work_out()
        self.entry = self._entry()
        super().__init__(self._laid_out())
        state.observe(lambda _: self._settled(), "settled")

    def _laid_out(self) -> list[VBox]:
        return [
            self.stop, self.ear, self.ear_buttons, self.next, self.entry, self.taken, self.drop, self.places, self.tone,
            self.meter_form,
        ]  # fmt: skip

    def _entry(self) -> Form:
        options = tuple((check.key, say.check_words(check)) for check in self.table.checks) if self.table else ()
        first = self.found.next.check.key if self.found and self.found.next else ""
        return Form(
            "A reading",
            [
                Field("check", "what you read", value=first, options=options, most=120),
                Field("value", "what it says", hint="1.23 V, 4k7, OL; for the tone: none, weak, normal or distorted."),
            ],
            "add this reading",
            self._read,
        )  # fmt: skip

    @property
    def meter(self) -> Meter:
        """The meter in use."""
        return self.metering.meter

    @property
    def used(self) -> tuple[int, ...]:
        """Places in `entries` of the readings that this chain has."""
        known = {check.key for check in self.table.checks} if self.table else set()
        return tuple(n for n, entry in enumerate(self.entries) if entry.reading.check.key in known)

    @property
    def readings(self) -> tuple[Reading, ...]:
        """The readings that are weighed."""
        return tuple(self.entries[n].reading for n in self.used)

    @property
    def doubted(self) -> tuple[int, ...]:
        """Numbers, as shown, of the readings that no single fault explains."""
        return tuple(self.used[k] + 1 for k in self.found.unexplained) if self.found else ()

    # -- what comes in ------------------------------------------------------------------------------------------
    def _read(self, texts: Mapping[str, str]) -> str:
        if len(self.entries) >= MOST_READINGS:
            raise FieldError("", f"readings: {MOST_READINGS} are enough; forget some first.")
        check = next((c for c in self.table.checks if c.key == texts["check"]), None) if self.table else None
        if check is None:
            raise FieldError("check", "what you read: pick one of the list.")
        entry = Entry(read(check, texts["value"]), texts["value"].strip())
        self.entries = (*self.entries, entry)
        self.look()
        self.entry.fill({"value": ""})
        then = self.found.next if self.found else None
        return f"Taken: {say.reading_words(entry.reading)}." + (
            f" Next: {say.check_words(then.check)}." if then else ""
        )

    def _metered(self, build: BoardAsBuilt) -> str:
        self.metering = MeterEntry(build)
        self.look()
        return "The expected readings are for this meter now."

    def _hearer(self, word: str) -> Callable[[], None]:
        def press() -> None:
            if word in self.heard:
                self.heard = tuple(w for w in self.heard if w != word)
            else:
                keep = () if word == FINE else tuple(w for w in self.heard if w != FINE)
                self.heard = (*keep, word)
            self.look()

        return press

    def _dropper(self, n: int) -> Callable[[], None]:
        def drop() -> None:
            self.entries = tuple(entry for k, entry in enumerate(self.entries) if k != n)
            self.look()

        return drop

    def _forget(self) -> None:
        self.entries, self.heard = (), ()
        self.look()

    def kept_in(self, keepsake: Keepsake) -> None:
        """Keep readings, what was heard and the meter in the visitor's browser."""
        self._keepsake = keepsake

        def given(texts: Mapping[str, str]) -> None:
            heard = tuple(word for word in texts.get("heard", "").split(",") if word in self._heard_words)
            self.heard = (FINE,) if FINE in heard else heard
            self.entries = entered(texts)
            self._older = meter_in_fault(texts)
            self._put(read_build(self._older, self.metering.build)[0])

        def built(texts: Mapping[str, str]) -> None:
            self._put(read_build({**self._older, **texts})[0])

        keepsake.use("fault", given)
        keepsake.use("build", built)

    def _put(self, build: BoardAsBuilt) -> None:
        self.metering = MeterEntry(build)
        self.meter_form.show(build)
        self.look()

    # -- what comes out -----------------------------------------------------------------------------------------
    def look(self) -> None:
        """Weigh the faults again, and show what follows."""
        self._work_out()
        self._show()

    def show(self) -> None:
        """Show the panel as it stands."""
        self._show(tell=False)

    def _settled(self) -> None:
        self._work_out()
        self._show(tell=False)  # the page follows the bench by itself

    def _work_out(self) -> None:
        before = self.table
        try:
            self.table = fault_table(self._state.chain, self.meter, self.metering.tone)
        except CircuitError as error:
            self.found = None
            self._state.trouble = f"This chain could not be worked out: {error}"
            return
        self.found = diagnose(self.table, self.readings, self.heard, self.metering.kinds)
        if before is not None and before.checks != self.table.checks:  # other lanes: another list to pick from
            self.entry = self._entry()
            self.children = self._laid_out()

    def _show(self, tell: bool = True) -> None:
        found, chain = self.found, self._state.chain
        self.ear_buttons.show([
            {"word": word, "label": label, "held": word in self.heard} for word, label in self._heard_words.items()
        ])  # fmt: skip
        self.drop.show([
            *([{"word": "all", "label": "forget all"}] if self.entries or self.heard else []),
            *({"word": f"drop-{n}", "label": f"forget no. {n + 1}"} for n in range(len(self.entries))),
        ])  # fmt: skip
        self._keep()
        if found is None:
            self.stop.content = self.taken.content = self.places.content = ""
            self.next.content = paragraphs("Nothing can be proposed for this chain.")
            return
        self.stop.content = f"<p><strong>{say.stop_words()}</strong></p>" if found.stop else ""
        asked = found.next is not None and any(r.check == found.next.check for r in self.readings)
        self.next.content = next_html(found, chain, self.metering, asked)
        # no tone is fed in, and none is offered, before the battery may go in
        self.tone.layout.display = "none" if found.unpowered_only else None
        if found.next is not None:
            self.entry.fill({"check": found.next.check.key})
        self.taken.content = taken_html(self.entries, self.used, found)
        self.places.content = places_html(found, chain) if self.entries or self.heard else ""
        if tell:
            self.changed()

    def _keep(self) -> None:
        if self._keepsake is None:
            return
        texts = {f"reading {n:02d}": f"{e.reading.check.key}={e.text}" for n, e in enumerate(self.entries)}
        if self.heard:
            texts["heard"] = ",".join(self.heard)
        self._keepsake.keep("fault", texts or None)
        self._keepsake.keep("build", self.metering.build.texts or None)
