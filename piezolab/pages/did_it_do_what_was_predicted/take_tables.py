"""The numbers of the recordings chapter: takes against the prediction, each take, and the third-octaves."""

from __future__ import annotations

import math
from html import escape

import numpy as np

from piezolab.audio.third_octaves import NOMINAL_HZ
from piezolab.chain import SignalChain
from piezolab.pages.did_it_do_what_was_predicted.sentences import corner_words, range_words, whole
from piezolab.pages.did_it_do_what_was_predicted.takes_state import HeardTakes
from piezolab.pages.kit.blocks import table
from piezolab.quantity import show
from piezolab.studies.recordings.against_prediction import Compared
from piezolab.studies.recordings.studied_take import StudiedTake
from piezolab.studies.recordings.take_figures import bands

NO_CLASS = (
    "Third-octaves have the band edges of IEC 61260-1 and are cut out of spectra; they are not its filters and belong "
    "to none of its classes."
)


def numbers(heard: HeardTakes | None, now: Compared | str) -> str:
    """Takes against the prediction, then take by take."""
    if heard is None or isinstance(now, str):
        return ""
    rows = [
        (f"bass restored at {now.fit.low_hz:.0f} Hz", range_words(now.bass, 1), _or(now.bass_expected)),
        ("bare pickup's corner", corner_words(now), f"{now.expected_corner_hz:.0f} Hz"),
        ("level, well above the corner", range_words(now.level, 1), _or(now.level_expected)),
        ("hum", _hum(now), _or(None if now.hum is None else now.hum.expected_db)),
        ("notes used, bare and with the stage", f"{now.notes[0]} and {now.notes[1]}", ""),
    ]
    whose = "Invented takes" if heard.invented else "Your takes"
    head = ("", "the takes (95 % interval)", "predicted")
    return table(head, rows, f"{whose} against the prediction.") + _each(heard.takes)


def _each(takes: tuple[StudiedTake, ...]) -> str:
    quiet = [take.quiet for take in takes]
    rows = [
        ("peak", *(_full(take.peak**2) for take in takes)),
        ("RMS", *(_full(take.rms**2) for take in takes)),
        ("crest factor", *(f"{take.crest_db:.1f} dB" for take in takes)),
        ("K-weighted, gated (BS.1770)", *(_or(take.lkfs, "LKFS") for take in takes)),
        ("noise, 20 Hz to 20 kHz", *("too little quiet" if q is None else _full(q.noise.value) for q in quiet)),
        ("hum", *("too little quiet" if q is None else _hum_level(q.lines.total) for q in quiet)),
        ("mains", *("—" if q is None else _mains(q.lines.mains_hz, q.lines.found_hz) for q in quiet)),
        ("quiet part", *("none" if q is None else f"{q.seconds:.1f} s" for q in quiet)),
        ("moments of clipping", *(str(take.clipped) for take in takes)),
        ("steady voltage", *(_steady(take.offset) for take in takes)),
        ("single notes", *(str(len(take.notes)) for take in takes)),
    ]
    head = ("", *(f"{take.name}{' (stage)' if take.staged else ' (bare)'}" for take in takes))
    return table(head, rows, "Each take; dB of the recorder's full scale.")


def third_octaves(heard: HeardTakes | None, now: Compared | str, chain: SignalChain) -> str:
    """Gain by the stage in each third-octave, and the notes' levels in each take."""
    if heard is None or isinstance(now, str):
        return ""
    hz, gain, half, predicted = bands(now, chain)
    rows = [
        (f"{at:.0f} Hz", f"{whole(g, digits=1)} ± {h:.1f} dB", _or(p))
        for at, g, h, p in zip(hz, gain, half, predicted, strict=True)
    ]
    said = table(("", "measured (95 % interval)", "predicted"), rows, "What the stage brings, from notes in both.")
    levels = [take.band_levels for take in heard.takes]
    kept = [n for n in range(len(NOMINAL_HZ)) if any(math.isfinite(level[n]) for level, _ in levels)]
    rows = [
        (f"{NOMINAL_HZ[n]:g} Hz", *(f"{whole(level[n], digits=1)} ± {ends[n]:.1f} dB" for level, ends in levels))
        for n in kept
    ]
    head = ("", *(take.name for take in heard.takes))
    return f"<p>{escape(NO_CLASS)}</p>{said}" + table(head, rows, "Mean level of the notes, dB of full scale.")


def hum_lines(heard: HeardTakes | None) -> str:
    """Each hum line with its interval and the noise beside it."""
    out = []
    for take in () if heard is None else heard.takes:
        if take.quiet is None:
            continue
        lines = take.quiet.lines
        low, high = lines.intervals()
        rows = [
            (f"{hz:.1f} Hz", _full(level), f"{_full(a)} to {_full(b)}" if a > 0 else f"below {_full(b)}", _full(beside))
            for hz, level, a, b, beside in zip(lines.hz, lines.level, low, high, lines.per_tenth_hz, strict=True)
        ]
        out.append(table(("", "level", "95 % interval", "noise in 0.1 Hz"), rows, f"Hum lines: {take.name}"))
    return "".join(out)


def _hum(now: Compared) -> str:
    if now.hum is None:
        return "too little quiet"
    if now.hum.change_db is not None:
        return range_words(now.hum.change_db, 1)
    return "not above the noise" if now.hum.at_least_db is None else f"−{now.hum.at_least_db:.0f} dB or less"


def _hum_level(total) -> str:
    return _full(total.value) if total.low > 0 else f"below {_full(total.high)}"


def _mains(named: float, found: float) -> str:
    return f"{named:.0f} Hz (at {found:.2f} Hz)" if math.isfinite(named) else "cannot tell"


def _full(power: float) -> str:
    return show(10 * float(np.log10(power)), "dB") if power > 0 else "none"


def _or(value: float | None, unit: str = "dB") -> str:
    return "—" if value is None or not math.isfinite(value) else f"{whole(value, digits=1)} {unit}"


def _steady(offset: float) -> str:
    """A steady voltage as a part of full scale; nothing has no sign."""
    return f"{round(100 * offset, 2) + 0.0:.2f} % of full scale".replace("-", "−")
