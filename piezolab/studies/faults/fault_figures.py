"""The diagnosis of a chain as plain numbers, for other programs; and readings from text."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import Any

from piezolab.chain import SignalChain
from piezolab.quantity import QuantityError, parse
from piezolab.studies.board_as_built import BoardAsBuilt
from piezolab.studies.build_options import FAULT_KEYS
from piezolab.studies.faults.diagnosis import NextReading, diagnose
from piezolab.studies.faults.drawn_board import table_of
from piezolab.studies.faults.readings import (
    KINDS,
    SWEEP_CHECKS,
    SWEPT,
    UNITS,
    Reading,
    ReadingError,
    value_and_half,
)
from piezolab.studies.figures import plain

OVER_RANGE = "OL"
_PLAIN = re.compile(r"[+-]?\d+(?:\.(\d+))?")


def read_readings(texts: Sequence[str]) -> tuple[Reading, ...]:
    """Readings such as `ohm:clip=OL`, `dc:source=1.02` or `tone:input=weak`. Raises ReadingError.

    The decimals of plain volts tell the display's last place; a sweep's numbers may have half their 95 % interval with
    them, such as `corner:sweep=83±4` or `83+-4`.
    """
    found = []
    for text in texts:
        check, mark, value = text.partition("=")
        kind, colon, place = check.partition(":")
        if not mark or not colon or kind not in (*KINDS, *SWEPT):
            raise ReadingError(f"reading: {text[:40]!r} is none; allowed is kind:place=value, such as dc:source=1.02.")
        if kind == "tone":
            found.append(Reading(kind, place, value))
        elif kind == "ohm" and value.strip().upper() == OVER_RANGE:
            found.append(Reading(kind, place, math.inf))
        else:
            name, (value, half) = f"reading {kind} {place}", value_and_half(kind, value)
            try:
                number = parse(value, UNITS[kind], what=name)
                digit = None if half is None else parse(half, UNITS[kind], what=f"{name}, half its interval")
            except QuantityError as error:
                raise ReadingError(str(error)) from None
            plain_number = _PLAIN.fullmatch(value.strip()) if kind in ("dc", "low", "high") else None
            digit = 10.0 ** -len(plain_number[1] or "") if plain_number else digit
            found.append(Reading(kind, place, number, digit))
    return tuple(found)


def kinds_read(build: BoardAsBuilt) -> tuple[str, ...]:
    """Kinds of readings that can be taken on a build: none of alternating volts without an AC range of its meter, those
    of a sweep where one can be recorded."""
    kinds = KINDS if build.reads_ac else tuple(kind for kind in KINDS if kind not in ("low", "high"))
    return (*kinds, *SWEPT) if build.records else kinds


def fault_figures(
    chain: SignalChain,
    readings: Sequence[Reading] = (),
    heard: Sequence[str] = (),
    build: BoardAsBuilt | None = None,
) -> dict[str, Any]:
    """Places and faults with their probabilities, and the next readings; ranges in V or ohm, over range as "OL".

    build: what is known of the board as built; the kind of board, switch, diode, meter and tone are used.
    Raises ReadingError, also on volts that this board cannot have.
    """
    build = build or BoardAsBuilt()
    table = table_of(chain, build, any(reading.kind in SWEPT for reading in readings))
    found = diagnose(table, readings, heard, kinds_read(build))
    for k in found.absurd:
        raise ReadingError(
            f"reading {readings[k].kind} {readings[k].place}: {float(readings[k].value):g} V is more than this board "
            f"can have; plausible is {-table.most_v:.3g} to {table.most_v:.3g} V. Was it another range?"
        )
    return plain(
        {
            "build": {key: build.values[key] for key in FAULT_KEYS},
            "stop": found.stop,
            "reversed": found.reversed,
            "unpowered_only": found.unpowered_only,
            "short_probability": found.short,
            "two_faults_probability": found.two,
            "two_faults_suspected": found.two_suspected,
            "places": [
                {
                    "place": spot.spot,
                    "probability": spot.probability,
                    "faults": [{"fault": f.key, "probability": f.probability} for f in spot.faults],
                }
                for spot in found.spots
            ],
            "suspects": [{"place": spot, "probability": share} for spot, share in found.suspects],
            "found": found.found,
            "to_try_without_a_meter": [{"word": word, "probability": share} for word, share in found.to_try],
            "next": None if found.next is None else _step(found.next),
            "others": [_step(step) for step in found.others],
            "doubtful_readings": [place for place, _ in found.doubtful],
            "unexplained_readings": list(found.unexplained),
            "faults_no_reading_shows": list(found.unseen),
            "readings_to_take": list(dict.fromkeys(check.key for check in (*table.checks, *SWEEP_CHECKS))),
        }
    )


def _step(step: NextReading) -> dict[str, Any]:
    def shown(value: float | str) -> float | str:
        return OVER_RANGE if value == math.inf else value

    expected = {
        spot: value if isinstance(value, str) else [shown(float(end)) for end in value] for spot, value in step.expected
    }
    return {
        "reading": step.check.key,
        "information_bits": step.bits,
        "reason": step.reason,
        "powered": step.powered,
        "expected": expected,
    }
