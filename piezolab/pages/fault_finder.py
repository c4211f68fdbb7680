"""The fault finder's panel: what is heard, the reading to take next, the readings taken, the meter."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from html import escape

from ipywidgets import VBox

from piezolab.chain import SignalChain
from piezolab.circuit.errors import CircuitError
from piezolab.pages import sentences_fault as say
from piezolab.pages.bench import Bench
from piezolab.pages.blocks import Block, Buttons, bullets, paragraphs, table
from piezolab.pages.form import Field, FieldError, Form
from piezolab.pages.keepsake import Keepsake
from piezolab.pages.measuring import last_digit
from piezolab.quantity import QuantityError, parse
from piezolab.studies.faults.diagnosis import Diagnosis, diagnose
from piezolab.studies.faults.hearing import FINE, TONES
from piezolab.studies.faults.making import fault_table
from piezolab.studies.faults.readings import KINDS, UNITS, Check, Reading, ReadingError
from piezolab.studies.faults.table import FaultTable
from piezolab.studies.metering import Meter

MOST_READINGS = 20
_OVER = re.compile(r"(?i)\s*(ol|o\.l\.?|over|over range|inf|∞|1\s*\.?\s*)\s*\Z")
METER = (
    Field("input_ohm", "input resistance on volts", "Ω", "10M", "Cheap ones have 1 MΩ."),
    Field("counts", "largest number it shows", "", "2000", "1999 and 2000 are the same here."),
    Field("ac", "small AC volts", value="yes", options=(("yes", "it reads them"), ("no", "of no use"))),
)


class Finder(VBox):
    """Readings, what is heard, the meter, and the next reading; `changed` is called when the diagnosis is new."""

    def __init__(self, bench: Bench) -> None:
        self._bench, self._keepsake = bench, None
        self.changed: Callable[[], None] = lambda: None
        self.readings: tuple[Reading, ...] = ()
        self.heard: tuple[str, ...] = ()
        self.meter = Meter()
        self.kinds: tuple[str, ...] = KINDS
        self.found: Diagnosis | None = None
        self.table: FaultTable | None = None
        self._heard_words = say.heard_words()
        self.stop = Block("cautions", title="")
        self.ear = Block("heard", paragraphs("Press all that you hear."), title="What do you hear?")
        self.ear_buttons = Buttons("what you hear", {word: self._hearer(word) for word in self._heard_words})
        self.next = Block("next", title="Measure next", spoken=True)
        self.meter_form = Form("Your meter", METER, "use this meter", self._metered)
        self.taken = Block("taken", title="")
        self.drop = Buttons(
            "readings", {f"drop-{n}": self._dropper(n) for n in range(MOST_READINGS)} | {"all": self._forget}
        )
        self.entry = self._entry()
        super().__init__([
            self.stop, self.ear, self.ear_buttons, self.next, self.entry, self.taken, self.drop, self.meter_form,
        ])  # fmt: skip
        bench.observe(lambda _: self.look(), "settled")

    def _entry(self) -> Form:
        self._work_out()
        checks = self.table.checks if self.table else ()
        options = tuple((check.key, say.check_words(check)) for check in checks)
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

    # -- what comes in ------------------------------------------------------------------------------------------
    def _read(self, texts: Mapping[str, str]) -> str:
        if len(self.readings) >= MOST_READINGS:
            raise FieldError("", f"readings: {MOST_READINGS} are enough; forget some first.")
        check = next((c for c in self.table.checks if c.key == texts["check"]), None)
        if check is None:
            raise FieldError("check", "what you read: pick one of the list.")
        reading = read(check, texts["value"])
        before = self.readings
        self.readings = (*before, reading)
        try:
            self._work_out(fail=True)
        except ReadingError as error:
            self.readings = before
            raise FieldError("value", str(error)) from None
        self._show()
        self.entry.fill({"value": ""})
        return f"Taken: {say.reading_words(reading)}."

    def _metered(self, texts: Mapping[str, str]) -> str:
        try:
            ohm, counts = (
                parse(texts["input_ohm"], "ohm", what="input resistance"),
                parse(texts["counts"], "", what="counts"),
            )
            meter = Meter(input_ohm=ohm, counts=int(counts))
        except (QuantityError, ValueError) as error:
            name = "counts" if "counts" in str(error) else "input_ohm"
            raise FieldError(name, str(error)) from None
        self.meter = meter
        self.kinds = KINDS if texts["ac"] == "yes" else tuple(kind for kind in KINDS if kind not in ("low", "high"))
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
            self.readings = tuple(r for k, r in enumerate(self.readings) if k != n)
            self.look()

        return drop

    def _forget(self) -> None:
        self.readings, self.heard = (), ()
        self.look()

    def kept_in(self, keepsake: Keepsake) -> None:
        """Keep readings and what was heard in the visitor's browser."""
        self._keepsake = keepsake

        def given(texts: Mapping[str, str]) -> None:
            heard = tuple(word for word in texts.get("heard", "").split(",") if word in self._heard_words)
            self.heard = (FINE,) if FINE in heard else heard
            by_key = {check.key: check for check in self.table.checks} if self.table else {}
            readings = []
            for name in sorted(key for key in texts if key.startswith("reading ")):
                key, _, value = texts[name].partition("=")
                try:
                    readings.append(read(by_key[key], value))
                except (KeyError, FieldError):
                    continue
            self.readings = tuple(readings[:MOST_READINGS])
            self.look()

        keepsake.use("fault", given)

    # -- what comes out -----------------------------------------------------------------------------------------
    def look(self) -> None:
        """Weigh the faults again for the chain as it is, and show what follows."""
        self._work_out()
        self._show()

    def _work_out(self, fail: bool = False) -> None:
        chain = self._bench.chain
        try:
            self.table = fault_table(chain, self.meter)
            known = {check.key for check in self.table.checks}
            self.readings = tuple(r for r in self.readings if r.check.key in known)
            self.found = diagnose(self.table, self.readings, self.heard, self.kinds)
        except ReadingError:
            if fail:
                raise
            self.readings = ()
            self.found = diagnose(self.table, (), self.heard, self.kinds)
        except CircuitError as error:
            self.found = None
            self._bench.trouble = f"This chain could not be worked out: {error}"

    def _show(self) -> None:
        found, chain = self.found, self._bench.chain
        self.ear_buttons.show([
            {"word": word, "label": label, "held": word in self.heard} for word, label in self._heard_words.items()
        ])  # fmt: skip
        if found is None:
            self.next.content = paragraphs("Nothing can be proposed for this chain.")
            return
        stop = f"<p><strong>{escape(str(say.knowledge().texts['stop']['text']))}</strong></p>"
        self.stop.content = stop if found.stop or (self.readings and found.short > 0.3) else ""
        self.next.content = next_html(found, chain)
        if found.next is not None:
            self.entry.fill({"check": found.next.check.key})
        self.taken.content = taken_html(self.readings, found)
        self.drop.show([
            *({"word": f"drop-{n}", "label": f"forget no. {n + 1}"} for n in range(len(self.readings))),
            *([{"word": "all", "label": "forget all"}] if self.readings or self.heard else []),
        ])  # fmt: skip
        if self._keepsake is not None:
            texts = {f"reading {n:02d}": f"{r.check.key}={as_typed(r)}" for n, r in enumerate(self.readings)}
            self._keepsake.keep("fault", {**texts, "heard": ",".join(self.heard)} if texts or self.heard else None)
        self.changed()


def read(check: Check, text: str) -> Reading:
    """A reading as it was typed. Raises FieldError."""
    text = text.strip()
    if check.kind == "tone":
        if text.lower() not in TONES:
            raise FieldError("value", f"the tone: {text[:30]!r} is not known; allowed is one of {', '.join(TONES)}.")
        return Reading(check.kind, check.place, text.lower())
    if check.kind == "ohm" and _OVER.match(text):
        return Reading(check.kind, check.place, math.inf)
    unit = UNITS[check.kind]
    try:
        value = parse(text, unit, what="what it says")
        digit = last_digit(text, unit) or None
    except QuantityError as error:
        raise FieldError("value", str(error)) from None
    return Reading(check.kind, check.place, value, digit)


def as_typed(reading: Reading) -> str:
    """A reading as text that `read` takes back."""
    if isinstance(reading.value, str):
        return reading.value
    return "OL" if math.isinf(reading.value) else repr(float(reading.value))


def next_html(found: Diagnosis, chain: SignalChain) -> str:
    """The reading that tells most, how to take it, and what it would say."""
    step = found.next
    if step is None:
        return paragraphs("No further reading would tell more. Mend the likeliest, or look at what no reading shows.")
    how, caution = say.check_how(step.check)
    again = " once more, since the last one is doubtful" if step.again else ""
    said = f"<p><strong>{escape(say.check_words(step.check))}{again}</strong></p>" + paragraphs(how)
    if caution:
        said += f"<p><strong>{escape(caution)}</strong></p>"
    if found.unpowered_only and not found.stop:
        said += paragraphs("Battery out for now: a short is not ruled out yet.")
    expected = say.expected_words(step, chain)
    if expected:
        said += paragraphs("It would say:") + bullets(expected)
    bits = "tells the likely places apart best" if step.bits > 0.2 else "still tells a little"
    return said + paragraphs(f"Why this one: it {bits} ({step.bits:.1f} bit on average).")


def taken_html(readings: tuple[Reading, ...], found: Diagnosis) -> str:
    """The readings so far, with those that are doubtful or that nothing explains."""
    if not readings:
        return ""
    doubtful = dict(found.doubtful)
    rows = []
    for n, reading in enumerate(readings):
        note = ""
        if n in found.unexplained:
            note = "no single fault explains it: read it again"
        elif n in doubtful:
            note = "doubtful: perhaps the probe was on the next lane"
        rows.append((f"{n + 1}", say.check_words(reading.check), say.value_words(reading.kind, reading.value), note))
    return table(("no.", "reading", "it said", ""), rows, "Taken so far.")
