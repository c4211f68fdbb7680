"""What first power tells, in words of the sheet."""

from __future__ import annotations

import numpy as np

from piezolab.sheets.ranges import OVER, ohms, volts
from piezolab.sheets.sheet_data import SheetData
from piezolab.studies.metering.board_under_meter import CLIP

CLEARLY = 1.5  # apart: two readings in ohms that are to be told from each other


def clip_words(data: SheetData) -> str:
    """What the ohms at the clip tell, and where they cannot."""
    power = data.power
    assert power is not None
    if not data.build.guarded:
        return "Less: a short or a wrong part; stop and find it."
    both = (power.clip_on, power.clip_on_reversed)
    least = ohms(min(both, key=lambda each: each.low)).removeprefix("over ").partition(" to ")[0]
    told = f"Under {least}: a short." if least not in (OVER, "0") else ""
    if np.isfinite(power.clip_on.high):
        told += " Over range with red on +: open."
    if power.clip_on_reversed.high > CLEARLY * power.clip_on.high:
        most = ohms(power.clip_on).partition(" to ")[2]
        return f"{told} Above {most} with red on +, on lower ranges too: compare D1's band."
    return told + " Which way round D1 sits does not show here."


def waiting(seconds: float) -> str:
    """A time to wait, in words."""
    if seconds < 1:
        return "a second"
    return f"{seconds:.0f} s" if seconds < 100 else f"{seconds / 60:.0f} min"


def reversed_words(data: SheetData) -> str:
    """What a minus sign across the test resistor means."""
    power = data.power
    assert power is not None
    if not data.build.guarded:
        return f"A minus sign ({volts(power.reversed)}): reversed: off at once."
    most = f"{abs(power.reversed.low):.1g} V"
    return f"A minus sign: reversed. Up to {most} D1 holds it back: off. Above {most} it does not: off at once."


def unseen_words(data: SheetData) -> str:
    """Faults that the resistor does not show, with the test that does."""
    power = data.power
    assert power is not None
    shorts, others = [], []
    for band in power.unseen:
        test = band.test
        if test is None:
            continue
        legs = f"legs {' '.join(band.fault.order)} in the places of D G S"
        if test.kind == "ohms":
            shorts.append(f"{data.lane(test.a)} to {data.lane(test.b)}")
        elif test.kind == "volts" and test.sound and test.faulty:
            where = data.lane(test.a)
            reads = f"{where} shows {volts(test.faulty)}, not {volts(test.sound)}"
            others.append(f"{legs}: DC volts with the resistor still in can ({reads})")
        else:
            others.append(f"{legs}: the transistor by itself can")
    seen = [
        f"{data.lane(band.fault.a)} to {data.lane(band.fault.b)}"
        for band in power.faults
        if band.fault.kind == "short" and band.verdict != "cannot tell" and CLIP not in (band.fault.a, band.fault.b)
    ]
    told = []
    if shorts and len(seen) < len(shorts):
        told.append(f"shorts other than {', '.join(seen) or 'at the clip'}: ohms between lanes, power off, can")
    elif shorts:
        told.append(f"shorts {', '.join(shorts)}: ohms between those lanes, power off, can")
    return "; ".join([*told, *others]) + "." if told or others else ""


def volt_range(data: SheetData) -> str:
    """The meter's DC range, in V, that shows the whole supply."""
    most = data.power.clip_v[1] if data.power else 0.0
    ranges = data.build.meter.volt_ranges
    return f"{next((each for each in ranges if each >= most), ranges[-1]):.4g}"
