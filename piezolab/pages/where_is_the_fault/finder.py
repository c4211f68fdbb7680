"""The fault finder's panel: what is heard, the reading to take next, the readings taken, the meter.

It writes these into the page's state and shows the diagnosis that is observed there.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from ipywidgets import VBox

from piezolab.pages.kit.blocks import Block, Buttons, guard, paragraphs
from piezolab.pages.kit.form import Field, FieldError, Form
from piezolab.pages.kit.keepsake import Keepsake
from piezolab.pages.kit.kept_build import meter_in_fault
from piezolab.pages.kit.option_form import OptionForm
from piezolab.pages.kit.tone import TonePlayer
from piezolab.pages.where_is_the_fault import sentences as say
from piezolab.pages.where_is_the_fault.entry import MOST_READINGS, Entry, MeterEntry, entered, read
from piezolab.pages.where_is_the_fault.fault_state import FaultState
from piezolab.pages.where_is_the_fault.feed_words import fed
from piezolab.pages.where_is_the_fault.finder_blocks import drawing_html, next_html, places_html, taken_html, try_html
from piezolab.pages.where_is_the_fault.heard_words import heard_words
from piezolab.studies.board_as_built import BoardAsBuilt, read_build
from piezolab.studies.build_options import FAULT_KEYS
from piezolab.studies.faults.hearing import KNOCKED
from piezolab.studies.faults.readings import SWEEP_CHECKS, Check, excluded
from piezolab.studies.faults.simulate import HIGH_HZ, LOW_HZ

FIRST = ("diode", "ohm_max", "meter_ohm")  # of the fields; the others are folded
EAR = (
    "Warm, or a smell? Switch off, unclip the battery, set it down away from people, and press “something gets hot”. "
    "Else what fits."
)
AFTER_A_KNOCK = (
    "After a knock a sound stage, too, is silent for a moment and comes back by itself: what stays away is a fault."
)
PROBING = (
    "Measure on the battery side only, never on the mains. Volume down, headphones off before you touch plugs or probe."
)


class Finder:
    """Readings, what is heard, the meter, and the next reading.

    Its parts stand in three places of the page: `opens`, what is heard; `asks`, the next reading and those taken, with
    the places and their repair; `meter_form`.
    """

    def __init__(self, state: FaultState) -> None:
        self._state, self._keepsake = state, None
        self._listed: tuple[Check, ...] = ()
        self._adapter = state.chain.supply == "adapter"
        self._older: Mapping[str, str] = {}  # the meter, where an older page kept it with the readings
        self._heard_words = heard_words()
        self.stop = Block("cautions", title="")
        self.ear = Block("heard", paragraphs(fed(EAR, state.chain)), title="What do you hear?")
        self.care = Block("care", guard(fed(PROBING, state.chain)))
        self.ear_buttons = Buttons("what you hear", {word: self._hearer(word) for word in self._heard_words})
        self.next = Block("next", title="Measure next", spoken=True)
        self.tone = TonePlayer(hertz=[LOW_HZ, HIGH_HZ])
        self.meter_form = OptionForm(
            "Your build and meter", FAULT_KEYS, FIRST, "use these", self._metered, more="more about meter, tone, sweep"
        )
        self.taken = Block("taken", title="")
        self.drop = Buttons(
            "readings", {"all": self._forget} | {f"drop-{n}": self._dropper(n) for n in range(MOST_READINGS)}
        )
        self.places = Block("places", title="Likely places, and how to mend them")
        self.entry = self._entry()
        self.opens = VBox([self.stop, self.ear, self.ear_buttons])
        self.asks = VBox(self._laid_out())
        state.observe(lambda _: self._show(), "diagnosis")
        self._show_buttons()
        if state.diagnosis is None and not state.outlook.problem:
            self.next.content = paragraphs("Every fault of this chain is being worked out.")
            self.entry.layout.display = self.tone.layout.display = "none"
        else:
            self._show()

    def _laid_out(self) -> list[VBox]:
        return [
            self.next, self.tone, self.entry, self.taken, self.drop, self.places,
        ]  # fmt: skip

    def _entry(self) -> Form:
        chain = self._state.chain
        options = tuple((check.key, fed(say.check_words(check), chain)) for check in self._listed)
        return Form(
            "A reading",
            [
                Field("check", "what you read", options=options, most=120),
                Field("value", "what it says", hint="1.23 V, 4k7, OL; for the tone: none, weak, normal or distorted."),
            ],
            "add this reading",
            self._read,
        )  # fmt: skip

    # -- what comes in ------------------------------------------------------------------------------------------
    def _read(self, texts: Mapping[str, str]) -> str:
        state = self._state
        if len(state.entries) >= MOST_READINGS:
            raise FieldError("", f"readings: {MOST_READINGS} are enough; forget some first.")
        check = next((c for c in self._listed if c.key == texts["check"]), None)
        if check is None:
            raise FieldError("check", "what you read: pick one of the list.")
        entry = Entry(read(check, texts["value"]), texts["value"].strip())
        state.entries = (*state.entries, entry)
        self._changed()
        self.entry.fill({"value": ""})
        weighed = state.diagnosis
        then = weighed.found.next if weighed is not None and weighed.entries == state.entries else None
        words = f"Taken: {say.reading_words(entry.reading)}."
        return fed(words + (f" Next: {say.check_words(then.check)}." if then else ""), state.chain)

    def _metered(self, build: BoardAsBuilt) -> str:
        self._state.metering = MeterEntry(build)
        self._changed()
        return "The expected readings are for this build and meter now."

    def _hearer(self, word: str) -> Callable[[], None]:
        def press() -> None:
            heard = self._state.heard
            if word in heard:
                self._state.heard = tuple(w for w in heard if w != word)
            else:
                self._state.heard = (*(w for w in heard if w not in excluded(word)), word)
            self._changed()

        return press

    def _dropper(self, n: int) -> Callable[[], None]:
        def drop() -> None:
            self._state.entries = tuple(entry for k, entry in enumerate(self._state.entries) if k != n)
            self._changed()

        return drop

    def _forget(self) -> None:
        self._state.entries, self._state.heard = (), ()
        self._changed()

    def kept_in(self, keepsake: Keepsake) -> None:
        """Keep readings, what was heard and the meter in the visitor's browser."""
        self._keepsake = keepsake

        def given(texts: Mapping[str, str]) -> None:
            state = self._state
            heard = [word for word in texts.get("heard", "").split(",") if word in self._heard_words]
            state.heard = tuple(word for word in heard if not set(excluded(word)) & set(heard[: heard.index(word)]))
            state.entries = entered(texts)
            self._older = meter_in_fault(texts)
            self._put(read_build(self._older, state.metering.build)[0])

        def built(texts: Mapping[str, str]) -> None:
            self._put(read_build({**self._older, **texts})[0])

        keepsake.use("fault", given)
        keepsake.use("build", built)

    def _put(self, build: BoardAsBuilt) -> None:
        self._state.metering = MeterEntry(build)
        self.meter_form.show(build)
        self._changed()

    def _changed(self) -> None:
        self._keep()
        self._show_buttons()
        self._state.weigh()

    # -- what comes out -----------------------------------------------------------------------------------------
    def _show_buttons(self) -> None:
        entries, heard = self._state.entries, self._state.heard
        self.ear_buttons.show([
            {"word": word, "label": fed(label, self._state.chain), "held": word in heard}
            for word, label in self._heard_words.items()
        ])  # fmt: skip
        self.drop.show([
            *([{"word": "all", "label": "forget all"}] if entries or heard else []),
            *({"word": f"drop-{n}", "label": f"forget no. {n + 1}"} for n in range(len(entries))),
        ])  # fmt: skip

    def _show(self) -> None:
        weighed, chain = self._state.diagnosis, self._state.chain
        self._show_buttons()  # their words, too, are of what feeds the board
        self.ear.content, self.care.content = paragraphs(fed(EAR, chain)), guard(fed(PROBING, chain))
        self._list(() if weighed is None else tuple(dict.fromkeys((*weighed.table.checks, *SWEEP_CHECKS))))
        if weighed is None:
            self.stop.content = self.taken.content = self.places.content = ""
            self.next.content = paragraphs("Nothing can be proposed for this chain.")
            return
        found = weighed.found
        stop = fed(say.stop_words(found.reversed), chain)
        self.stop.content = f"<p><strong>{stop}</strong></p>" if found.stop else ""
        asked = found.next is not None and any(r.check == found.next.check for r in weighed.readings)
        first = paragraphs(AFTER_A_KNOCK) if KNOCKED in weighed.heard else ""
        if weighed.entries or weighed.heard:  # before that it is the verdict
            first += try_html(found, chain)
        query = self._state.carried
        self.next.content = first + next_html(found, chain, weighed.metering, asked, query) + drawing_html(found, query)
        # no tone is fed in, and none is offered, before the battery may go in
        self.tone.layout.display = "none" if found.unpowered_only else None
        if found.next is not None:
            self.entry.fill({"check": found.next.check.key})
        self.taken.content = taken_html(weighed.entries, weighed.used, found, chain)
        self.places.content = places_html(found, chain, self._state.carried) if weighed.entries or weighed.heard else ""

    def _list(self, checks: tuple[Check, ...]) -> None:
        """What can be read on this chain; other lanes are another list to pick from."""
        listed = (checks, self._state.chain.supply == "adapter")
        if listed != (self._listed, self._adapter):
            self._listed, self._adapter = listed
            self.entry = self._entry()
            self.asks.children = self._laid_out()
        self.entry.layout.display = None if checks else "none"

    def _keep(self) -> None:
        if self._keepsake is None:
            return
        state = self._state
        texts = {f"reading {n:02d}": f"{e.reading.check.key}={e.text}" for n, e in enumerate(state.entries)}
        if state.heard:
            texts["heard"] = ",".join(state.heard)
        self._keepsake.keep("fault", texts or None)
        self._keepsake.keep("build", state.metering.build.texts or None)
