"""What is typed into the fault finder, read and checked: a reading, the meter, and what the browser kept of them."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from piezolab.pages.kit.form import Field, FieldError, last_digit
from piezolab.quantity import QuantityError, parse
from piezolab.studies.faults.hearing import TONES
from piezolab.studies.faults.readings import INPUT, KINDS, UNITS, Check, Reading, ReadingError, checked
from piezolab.studies.faults.simulate import Tone
from piezolab.studies.metering.instrument import Meter

MOST_READINGS = 20
MOST_TEXT = 24  # characters of a reading
_OVER = re.compile(r"(?i)\s*(0l|ol|o\.l\.?|over|over range|inf|∞)\s*\Z")
_BARE_ONE = re.compile(r"\s*1\s*\.?\s*\Z")
_PLACE = re.compile(r"[A-Za-z0-9 _-]{1,24}\Z")
_TONE_V = (0.01, 3.0)
METER = (
    Field("ohm_max", "largest resistance it shows", "Ω", "20M", "Before it says OL or a lone 1; many cheap ones: 2M."),
    Field("input_ohm", "input resistance on volts", "Ω", "10M", "Cheap ones have 1 MΩ."),
    Field("ac", "small AC volts", value="yes", options=(("yes", "it reads them"), ("no", "of no use"))),
    Field("counts", "largest number it shows", "", "2000", "1999 and 2000 are the same here.", more=True),
    Field("tone_v", "the tone at its plug", "V", "0.3", "AC volts at the plug before you connect it.", more=True),
)


@dataclass(frozen=True)
class Entry:
    """A reading, and what was typed for it."""

    reading: Reading
    text: str


@dataclass(frozen=True)
class MeterEntry:
    """The meter and tone in use, the kinds of readings they allow, and the fields' texts where they were filled in."""

    meter: Meter = field(default_factory=Meter)
    tone: Tone = field(default_factory=Tone)
    kinds: tuple[str, ...] = KINDS
    texts: Mapping[str, str] = field(default_factory=dict, compare=False)

    @property
    def kept(self) -> dict[str, str]:
        """Texts for the browser's store, those that differ from the fields' first."""
        first = {each.name: each.value for each in METER}
        return {f"meter {name}": text for name, text in self.texts.items() if text != first[name]}

    @staticmethod
    def texts_in(kept: Mapping[str, str]) -> dict[str, str]:
        """The fields' texts in what the browser kept."""
        return {each.name: kept[f"meter {each.name}"] for each in METER if f"meter {each.name}" in kept}


DEFAULT_METER = MeterEntry()


def read(check: Check, text: str) -> Reading:
    """A reading as it was typed. Raises FieldError."""
    text = text.strip()
    if len(text) > MOST_TEXT:
        raise FieldError("value", f"what it says: {len(text)} characters; allowed are {MOST_TEXT}.")
    if check.kind == "tone":
        if text.lower() not in TONES:
            raise FieldError("value", f"the tone: {text[:30]!r} is not known; allowed is one of {', '.join(TONES)}.")
        return Reading(check.kind, check.place, text.lower())
    if check.kind == "ohm" and _OVER.match(text):
        return Reading(check.kind, check.place, math.inf)
    if check.kind == "ohm" and _BARE_ONE.match(text):
        # of the two one is a short: never guess
        raise FieldError(
            "value", f"what it says: {text!r} can mean over range or one ohm; write OL or 1R, whichever is meant."
        )
    unit = UNITS[check.kind]
    try:
        value = parse(text, unit, what="what it says")
        digit = last_digit(text, unit) or None
    except QuantityError as error:
        raise FieldError("value", str(error)) from None
    reading = Reading(check.kind, check.place, value, digit)
    try:
        checked((reading,), (check,))
    except ReadingError as error:
        raise FieldError("value", str(error)) from None
    return reading


def entered(kept: Mapping[str, str]) -> tuple[Entry, ...]:
    """The readings in what the browser kept, in their order; what is none is left out."""
    found = []
    for name in sorted(key for key in kept if key.startswith("reading ")):
        key, _, text = kept[name].partition("=")
        kind, _, place = key.partition(":")
        if kind not in KINDS or not _PLACE.match(place) or (kind == "tone" and place != INPUT):
            continue
        try:
            found.append(Entry(read(Check(kind, place), text), text.strip()))
        except FieldError:
            continue
    return tuple(found[:MOST_READINGS])


def read_meter(texts: Mapping[str, str]) -> MeterEntry:
    """The meter as its fields say. Raises FieldError."""
    found = {}
    for name, unit, label in (
        ("ohm_max", "ohm", "largest resistance"), ("input_ohm", "ohm", "input resistance"), ("counts", "", "counts"),
        ("tone_v", "V", "the tone"),
    ):  # fmt: skip
        try:
            found[name] = parse(texts[name], unit, what=label)
        except QuantityError as error:
            raise FieldError(name, str(error)) from None
    low, high = _TONE_V
    if not low <= found["tone_v"] <= high:
        said = f"{found['tone_v']:g} V is out of range; allowed is {low:g} to {high:g} V."
        raise FieldError("tone_v", f"the tone: {said}")
    if found["counts"] % 1:
        raise FieldError("counts", f"counts: {found['counts']:g} is no whole number; allowed is one such as 2000.")
    tone, meter = Tone(v_rms=found.pop("tone_v")), Meter()
    for name, value in found.items():
        try:
            meter = replace(meter, **{name: int(value) if name == "counts" else value})
        except ValueError as error:
            raise FieldError(name, str(error)) from None
    kinds = KINDS if texts["ac"] == "yes" else tuple(kind for kind in KINDS if kind not in ("low", "high"))
    return MeterEntry(meter, tone, kinds, {each.name: texts[each.name] for each in METER})

