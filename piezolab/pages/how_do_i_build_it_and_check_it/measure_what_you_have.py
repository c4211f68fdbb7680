"""Measure what you have: four small measurements, each put into the chain by one click, with the range it lies in."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

from ipywidgets import VBox

from piezolab.chain import ChainError, SignalChain
from piezolab.chain.parameters import all_parameters
from piezolab.circuit.errors import CircuitError
from piezolab.fields import parse_field
from piezolab.pages.kit.blocks import Block, Buttons, paragraphs, table
from piezolab.pages.kit.form import Field, FieldError, Form, last_digit
from piezolab.pages.kit.keepsake import Keepsake
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.sections import FoldedParts
from piezolab.pages.kit.sentences import your_note
from piezolab.pitch import note
from piezolab.quantity import QuantityError, show
from piezolab.studies.in_hand.measure_pickup import (
    KEYS,
    Measured,
    MeasureError,
    consequence,
    pickup_by_meter,
    pickup_by_recordings,
    playing_by_take,
    put_in,
)
from piezolab.studies.in_hand.own_measurements import input_resistance
from piezolab.studies.response import low_note_hz

UNITS = {"pickup_c": "F", "play_v": "V", "input_r": "ohm"}
ABOUT = (
    "Catalogue values are typical, not yours. A few minutes each, with a meter or an audio interface; nothing is "
    "opened. Volume down and headphones off before you plug, and keep a knock off an open disc: it makes tens of volts."
)
_NOTE = "A note such as D3, or hertz. Empty: your lowest string."
METER = (
    Field("reading", "meter's reading", "F", "", "Such as 14.7n. Hold still: a disc is a microphone."),
    Field("lead", "measured", value="lead", options=(("lead", "through the lead"), ("disc", "at the disc itself"))),
    Field("percent", "meter's accuracy", "%", "2", "From its sheet, capacitance range.", more=True),
    Field("counts", "and counts of the last place", "", "5", more=True),
)
RECORDINGS = (
    Field("r1", "first resistor", "Ω", "100k"),
    Field("db1", "level with the first", "dB", "", "As the recorder shows it."),
    Field("r2", "second resistor", "Ω", "1M", "About ten times the first."),
    Field("db2", "level with the second", "dB"),
    Field("pitch", "the note", "", "", _NOTE),
    Field("out_db", "the levels may be out by", "dB", "0.5", "Repeat the stroke: how far do they scatter?", more=True),
    Field("percent", "resistor tolerance", "%", "1", more=True),
)
TAKE = (
    Field("peak", "peak of the take", "dBFS", "", "Such as -8.5."),
    Field("full", "interface's full scale", "V peak", "", "From its sheet; 10 dBu are 3.46 V peak. Gain at its least."),
    Field("pitch", "the note", "", "", _NOTE),
    Field(
        "way", "recorded", value="stage",
        options=(("stage", "through this stage"), ("bare", "bare pickup")),
    ),
    Field("out_db", "full scale may be out by", "dB", "1", more=True),
)  # fmt: skip
INPUT = (
    Field("series", "resistor in series", "Ω", "1M"),
    Field("drop", "it lowers the level by", "dB", "6.02", "6.02 dB is half."),
    Field("out_db", "which may be out by", "dB", "0.5", more=True),
    Field("percent", "resistor tolerance", "%", "1", more=True),
)
_LIMITS = {"percent": (0.0, 20.0), "counts": (0.0, 100.0), "out_db": (0.0, 6.0)}


class Texts:
    """The texts of a form as numbers; each refusal names its field. Raises FieldError."""

    def __init__(self, fields: tuple[Field, ...], texts: Mapping[str, str]) -> None:
        self._labels = {field.name: field.label for field in fields}
        self._texts = texts

    def number(self, name: str, unit: str) -> float:
        try:
            value = parse_field(self._texts[name], unit, what=self._labels[name])
        except QuantityError as error:
            raise FieldError(name, str(error)) from None
        low, high = _LIMITS.get(name, (-math.inf, math.inf))
        if not low <= value <= high:
            told = f"{self._labels[name]}: {self._texts[name]} is out of range; allowed is {low:g} to {high:g}."
            raise FieldError(name, told)
        return value

    def more_than_zero(self, name: str, unit: str) -> float:
        value = self.number(name, unit)
        if not value > 0:
            told = f"{self._labels[name]}: {self._texts[name]} is out of range; allowed is more than 0."
            raise FieldError(name, told)
        return value

    def pitch(self, name: str, chain: SignalChain) -> float:
        text = self._texts[name]
        if not text:
            return low_note_hz(chain)
        try:
            hertz = note(text, what=self._labels[name]).frequency_hz if text[0].isalpha() else parse_field(text, "Hz")
        except QuantityError as error:
            raise FieldError(name, str(error)) from None
        if not 10 <= hertz <= 20_000:
            raise FieldError(name, f"{self._labels[name]}: {text} is out of range; allowed is 10 Hz to 20 kHz.")
        return hertz


def by_meter(texts: Mapping[str, str], chain: SignalChain) -> Measured:
    """Capacitance from a meter's range. Raises FieldError, MeasureError."""
    read = Texts(METER, texts)
    farad = read.more_than_zero("reading", "F")
    digit = read.number("counts", "") * last_digit(texts["reading"], "F")
    return pickup_by_meter(chain, farad, read.number("percent", "") / 100, digit, texts["lead"] == "lead")


def by_recordings(texts: Mapping[str, str], chain: SignalChain) -> Measured:
    """Capacitance from two levels. Raises FieldError, MeasureError."""
    read = Texts(RECORDINGS, texts)
    pairs = [(read.more_than_zero(f"r{n}", "ohm"), read.number(f"db{n}", "dB")) for n in (1, 2)]
    if pairs[0][0] == pairs[1][0]:
        raise FieldError("r2", "second resistor: it equals the first; allowed is another one.")
    out, percent = read.number("out_db", "dB"), read.number("percent", "")
    return pickup_by_recordings(chain, *pairs, read.pitch("pitch", chain), out, percent / 100)


def by_take(texts: Mapping[str, str], chain: SignalChain) -> Measured:
    """Playing level from a take. Raises FieldError, MeasureError."""
    read = Texts(TAKE, texts)
    peak, full = read.number("peak", "dB"), read.more_than_zero("full", "V")
    staged = texts["way"] == "stage" and chain.topology.powered
    return playing_by_take(chain, peak, full, read.pitch("pitch", chain), staged, read.number("out_db", "dB"))


def by_resistor(texts: Mapping[str, str], chain: SignalChain) -> Measured:
    """An input's resistance. Raises FieldError, MeasureError."""
    read = Texts(INPUT, texts)
    series, drop = read.more_than_zero("series", "ohm"), read.number("drop", "dB")
    return input_resistance(series, drop, read.number("percent", "") / 100, read.number("out_db", "dB"))


#: word: link key, title, what to do, fields, how it is worked out.
WAYS: dict[str, tuple[str, str, str, tuple[Field, ...], Callable[[Mapping[str, str], SignalChain], Measured]]] = {
    "meter": (
        "pickup_c", "Pickup capacitance, by the meter's own range",
        "Unplug the pickup from everything else; a meter without such a range needs the next way.",
        METER, by_meter,
    ),
    "recordings": (
        "pickup_c", "Pickup capacitance, by two recordings",
        "Plug the bare pickup into this chain's input, one resistor across its plug, and record a tap or a string; "
        "then the other resistor and the same stroke. The smaller resistor should cost several decibels.",
        RECORDINGS, by_recordings,
    ),
    "take": (
        "play_v", "Playing level, from a take",
        "Play as hard as you ever will, and look at the highest peak. It must stay under 0 dBFS.",
        TAKE, by_take,
    ),
    "input": (
        "input_r", "An input's resistance, by the resistor that halves it",
        "Send a tone of about 100 Hz from a headphone socket into the input and note the level; then put a resistor in "
        "series with the tip until the level falls by half.",
        INPUT, by_resistor,
    ),
}  # fmt: skip


def found_words(chain: SignalChain, key: str, found: Measured) -> str:
    """The value, its range, and what the range means to the ear."""
    unit, value = UNITS[key], show(found.value, UNITS[key])
    if not math.isfinite(found.high):
        ends = f"{show(found.low, unit)} or more: the take may have clipped"
    elif found.low <= 0:
        ends = f"at most {show(found.high, unit)}"
    else:
        ends = f"between {show(found.low, unit)} and {show(found.high, unit)}"
    try:
        heard = consequence(chain, key, found)
    except (ChainError, CircuitError):
        return f"{value}; {ends}."
    if not all(map(math.isfinite, (heard.low, heard.value, heard.high))):
        return f"{value}; {ends}."
    what = "room before it clips" if key == "play_v" else f"bare, {your_note(chain)} against the full level"
    span = f"{heard.value:.1f} dB, {min(heard.low, heard.high):.1f} to {max(heard.low, heard.high):.1f} dB at the ends"
    close = "That is close enough to decide by." if heard.apart < 1.5 else "Measure again, if you can, with less doubt."
    return f"{value}; {ends}. What it means: {what}: {span}. {close}".replace(" -", " −")


class MeasureWhatYouHave(VBox):
    """The four forms, each with the button that puts its result into the chain, and what was measured so far."""

    def __init__(self, state: PageState) -> None:
        self._state = state
        self._keepsake: Keepsake | None = None
        self._found: dict[str, Measured] = {}
        self.measured: dict[str, Measured] = {}
        self.forms, self.takes = dict[str, Form](), dict[str, Buttons]()
        parts: list[Any] = []
        for word, (_, title, how, fields, _) in WAYS.items():
            self.forms[word] = Form(title, fields, "work it out", self._asker(word), "accuracy", how)
            self.takes[word] = Buttons(f"result: {title}", {"use": self._user(word)})
            parts += [self.forms[word], self.takes[word]]
        self.shown = Block("measured")
        self.drop = Buttons("what was measured", {"drop": self._drop})
        self.fold = FoldedParts("Measure what you have", parts, paragraphs(ABOUT))
        super().__init__([self.fold, self.shown, self.drop])
        self.add_class("pz-measuring")
        state.observe(lambda _: self._show(), "settled")
        self._show()

    def kept_in(self, keepsake: Keepsake) -> None:
        """Keep what was put into the chain, with its range, and take from the browser what was kept."""
        self._keepsake = keepsake

        def given(rows: Mapping[str, list[float | None]]) -> None:
            self.measured = {
                key: Measured(value, 0.0 if low is None else low, math.inf if high is None else high)
                for key, (value, low, high) in rows.items()
            }
            self._show()

        keepsake.use("measured", given)

    def _asker(self, word: str) -> Callable[[Mapping[str, str]], str]:
        key, _, _, _, work_out = WAYS[word]

        def asked(texts: Mapping[str, str]) -> str:
            self._offer(word, None)
            chain = self._state.chain
            try:
                found = work_out(texts, chain)
            except MeasureError as error:
                raise FieldError("", str(error)) from None
            try:
                put_in(chain, key, found)
            except ChainError as error:
                raise FieldError("", " ".join(problem.in_field for problem in error.problems)) from None
            self._offer(word, found)
            return found_words(chain, key, found)

        return asked

    def _offer(self, word: str, found: Measured | None) -> None:
        self._found.pop(word, None)
        if found is not None:
            self._found[word] = found
        label = all_parameters()[WAYS[word][0]].label
        self.takes[word].show([] if found is None else [{"word": "use", "label": f"put it into the chain as {label}"}])

    def _user(self, word: str) -> Callable[[], None]:
        def use() -> None:
            found, key = self._found.get(word), WAYS[word][0]
            if found is None:
                return
            try:
                chain = put_in(self._state.chain, key, found)
            except ChainError as error:
                self.forms[word].said = " ".join(problem.in_field for problem in error.problems)
                return
            self._set({**self.measured, key: found})
            self._offer(word, None)
            self._state.put(chain)

        return use

    def _drop(self) -> None:
        self._set({})
        self._show()

    def _set(self, measured: Mapping[str, Measured]) -> None:
        self.measured = dict(measured)
        if self._keepsake is not None:
            rows = {
                key: [found.value, found.low, found.high if math.isfinite(found.high) else None]
                for key, found in self.measured.items()
            }
            self._keepsake.keep("measured", rows or None)

    def _show(self) -> None:
        """What was measured beside what the chain has now."""
        rows = []
        for key in KEYS:
            if key not in self.measured:
                continue
            found, unit = self.measured[key], UNITS[key]
            high = show(found.high, unit) if math.isfinite(found.high) else "no upper end"
            now = float(self._state.chain.values[key])
            there = "yes" if math.isclose(now, found.value, rel_tol=1e-3) else f"no, it has {show(now, unit)}"
            ends = f"{show(found.low, unit)} to {high}"
            rows.append((all_parameters()[key].label, show(found.value, unit), ends, there))
        head = ("what", "measured", "within", "in the chain")
        self.shown.content = table(head, rows, "Measured by you; the ranges stay in this browser.") if rows else ""
        self.drop.show([{"word": "drop", "label": "forget these ranges"}] if rows else [])
