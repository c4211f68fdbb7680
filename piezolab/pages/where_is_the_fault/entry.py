"""What is typed into the fault finder, read and checked: readings, and what the browser kept of them; the meter."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from piezolab.fields import parse_field
from piezolab.pages.kit.form import FieldError, last_digit
from piezolab.quantity import QuantityError
from piezolab.studies.board_as_built import BoardAsBuilt
from piezolab.studies.faults.fault_figures import kinds_read
from piezolab.studies.faults.hearing import TONES
from piezolab.studies.faults.readings import (
    INPUT,
    KINDS,
    SWEPT,
    UNITS,
    Check,
    Reading,
    ReadingError,
    checked,
    value_and_half,
)
from piezolab.studies.faults.simulate import Tone
from piezolab.studies.metering.instrument import Meter

MOST_READINGS = 20
MOST_TEXT = 24  # characters of a reading
_OVER = re.compile(r"(?i)\s*(0l|ol|o\.l\.?|over|over range|inf|∞)\s*\Z")
_BARE_ONE = re.compile(r"\s*1\s*\.?\s*\Z")
_PLACE = re.compile(r"[A-Za-z0-9 _-]{1,24}\Z")


@dataclass(frozen=True)
class Entry:
    """A reading, and what was typed for it."""

    reading: Reading
    text: str


@dataclass(frozen=True)
class MeterEntry:
    """The build's meter and tone, and the kinds of readings they allow."""

    build: BoardAsBuilt = field(default_factory=BoardAsBuilt)

    @property
    def meter(self) -> Meter:
        """The meter."""
        return self.build.meter

    @property
    def tone(self) -> Tone:
        """The tone."""
        return Tone(v_rms=self.build.tone_v)

    @property
    def kinds(self) -> tuple[str, ...]:
        """Kinds of readings that may be proposed."""
        return kinds_read(self.build)


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
        text, half = value_and_half(check.kind, text)
        value = parse_field(text, unit, what="what it says")
        if check.kind in SWEPT:
            digit = None if half is None else parse_field(half, unit, what="half its interval")
        else:
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
        if kind not in (*KINDS, *SWEPT) or not _PLACE.match(place) or (kind == "tone" and place != INPUT):
            continue
        try:
            found.append(Entry(read(Check(kind, place), text), text.strip()))
        except FieldError:
            continue
    return tuple(found[:MOST_READINGS])
