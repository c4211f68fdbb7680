"""Takes and their comparison as plain numbers, for files and the command line."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from piezolab.audio.third_octaves import NOMINAL_HZ
from piezolab.chain import SignalChain
from piezolab.chain.link import whole_query
from piezolab.studies.recordings import Estimate
from piezolab.studies.recordings.against_prediction import Compared, gain_by_stage
from piezolab.studies.recordings.studied_take import StudiedTake


def take_figures(takes: Sequence[StudiedTake], now: Compared, chain: SignalChain) -> dict[str, Any]:
    """All figures with their units in the keys; null for what cannot be told. Levels are dB of full scale (dbfs)."""
    return {
        "link": whole_query(chain),
        "finding": now.finding,
        "bass": {
            "at_hz": now.fit.low_hz, "restored_db": _three(now.bass), "predicted_db": now.bass_expected,
            "bare_corner_hz": _three(now.fit.corner) if now.corner_seen else None,
            "bare_corner_below_hz": None if now.corner_seen else now.fit.corner.high,
            "predicted_bare_corner_hz": now.expected_corner_hz,
        },
        "level": {"change_db": _three(now.level), "predicted_db": now.level_expected, "counts": now.pairs >= 2},
        "hum": _hum(now),
        "notes_used": {"bare": now.notes[0], "stage": now.notes[1]},
        "gain_by_band": [
            {"hz": hz, "db": gain, "half_interval_db": half, "predicted_db": predicted}
            for hz, gain, half, predicted in zip(*map(_plain, bands(now, chain)), strict=True)
        ],
        "takes": [_take(take) for take in takes],
    }  # fmt: skip


def bands(now: Compared, chain: SignalChain) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Of each third-octave with partials: frequency (Hz), gain by the stage, half its interval, prediction (dB)."""
    hz, gain, half = now.measured_at()
    return hz, gain, half, gain_by_stage(chain, hz)


def bands_csv(now: Compared, chain: SignalChain) -> str:
    """The same as a table of comma-separated values, with a heading."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(["frequency_hz", "gain_db", "half_interval_db", "predicted_db"])
    for row in zip(*bands(now, chain), strict=True):
        rows.writerow([f"{value:.4g}" for value in row])
    return out.getvalue()


def _take(take: StudiedTake) -> dict[str, Any]:
    level, half = take.band_levels
    quiet = take.quiet
    return {
        "name": take.name, "stage": take.staged, "seconds": take.seconds, "peak_dbfs": _db(take.peak**2),
        "rms_dbfs": _db(take.rms**2), "crest_db": take.crest_db, "k_weighted_lkfs": _finite(take.lkfs),
        "offset": take.offset, "clipped_times": take.clipped, "notes": len(take.notes), "unclear": take.notes.unclear,
        "quiet_s": None if quiet is None else quiet.seconds,
        "noise_dbfs": None if quiet is None else _three_db(quiet.noise),
        "hum_dbfs": None if quiet is None else _three_db(quiet.lines.total),
        "mains_hz": None if quiet is None else _finite(quiet.lines.mains_hz),
        "hum_lines": [] if quiet is None else _lines(quiet.lines),
        "third_octaves": [
            {"nominal_hz": hz, "dbfs": _finite(db), "half_interval_db": _finite(ends)}
            for hz, db, ends in zip(NOMINAL_HZ, level, half, strict=True)
        ],
    }  # fmt: skip


def _lines(lines: Any) -> list[dict[str, Any]]:
    low, high = lines.intervals()
    return [
        {"hz": float(hz), "dbfs": _db(level), "from_dbfs": _db(a), "to_dbfs": _db(b)}
        for hz, level, a, b in zip(lines.hz, lines.level, low, high, strict=True)
    ]


def _hum(now: Compared) -> dict[str, Any] | None:
    hum = now.hum
    if hum is None:
        return None
    return {
        "change_db": None if hum.change_db is None else _three(hum.change_db), "fell_at_least_db": hum.at_least_db,
        "predicted_db": hum.expected_db, "mains_hz": _finite(hum.mains_hz),
    }  # fmt: skip


def _three(estimate: Estimate) -> dict[str, float]:
    return {"value": estimate.value, "from": estimate.low, "to": estimate.high}


def _three_db(estimate: Estimate) -> dict[str, float | None]:
    return {"value": _db(estimate.value), "from": _db(estimate.low), "to": _db(estimate.high)}


def _db(power: float) -> float | None:
    return 10 * math.log10(power) if power > 0 else None


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _plain(values: np.ndarray) -> list[float]:
    return [float(value) for value in values]
