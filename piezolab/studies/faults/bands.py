"""Which faults show at all: those whose readings leave the band of sound builds."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from piezolab.studies.faults.readings import SWEPT, SWEPT_SIGMA, natural, scaled, shown
from piezolab.studies.faults.table import FaultTable

HELD = (0.5, 99.5)  # percentiles
_ODD = 0.05  # the likeliest word has 0.02 where it does not hold at all


def widened(table: FaultTable, band: np.ndarray) -> np.ndarray:
    """A band of each numeric check, (M, 2) on its scale, with the meter's error on either side."""
    meter, answer = table.meter, np.empty_like(band)
    for m, (low, high) in enumerate(band):
        kind = table.checks[m].kind
        if kind in SWEPT:
            answer[m] = low - 2 * SWEPT_SIGMA[kind], high + 2 * SWEPT_SIGMA[kind]
            continue
        for side, edge, sign in ((0, low, -1.0), (1, high, 1.0)):
            value = natural(kind, edge, meter)
            if not np.isfinite(value) or (kind in ("low", "high") and not meter.reads_ac):
                answer[m, side] = edge
                continue
            digit = {"dc": meter.volt_digit, "ohm": meter.ohm_digit}.get(kind, meter.ac_digit)
            moved = float(value + sign * meter.error(value, digit(value)))
            answer[m, side] = scaled(kind, moved if kind == "dc" else max(moved, 0.0), meter)
    return answer


def outside(
    table: FaultTable, value: np.ndarray, band: np.ndarray, ac: bool = True, swept: bool = False
) -> np.ndarray:
    """Which readings (M, P), scaled, leave a widened band; what the meter does not resolve never does. swept: a sweep
    counts."""
    counts = {"ohm": True, "dc": True, "low": ac, "high": ac, **dict.fromkeys(SWEPT, swept)}
    counted = np.array([table.resolved[m] and counts[check.kind] for m, check in enumerate(table.checks[:-1])])
    value = np.stack([shown(check.kind, row, table.meter) for check, row in zip(table.checks, value, strict=False)])
    return ((value < band[:, :1]) | (value > band[:, 1:])) & counted[:, None]


def band_of(table: FaultTable, value: np.ndarray) -> np.ndarray:
    """The band that holds 99 % of some builds' readings (M, N), scaled, by check, (M, 2)."""
    rows = [shown(check.kind, row, table.meter) for check, row in zip(table.checks, value, strict=False)]
    return np.percentile(np.stack(rows), HELD, axis=1).T


def leaves(
    table: FaultTable,
    value: np.ndarray,
    tone: np.ndarray,
    band: np.ndarray,
    ac: bool = True,
    ear: bool = True,
    swept: bool = False,
) -> np.ndarray:
    """Whether some reading of each build leaves its healthy band, (P,).

    value: (M, P), scaled; tone: (4, P); band: (M, 2), the meter's error is added; ac: volts of the tone count; ear: the
    tone by ear counts; swept: a sweep counts.
    """
    answer = outside(table, value, widened(table, band), ac, swept).any(axis=0)
    return answer | odd_tone(table, tone) if ear else answer


def odd_tone(table: FaultTable, tone: np.ndarray) -> np.ndarray:
    """Whether the likeliest word for the tone is one that sound builds hardly ever get, (P,)."""
    usual = table.tone[:, table.of_hypothesis == 0].mean(axis=1)
    return usual[np.argmax(tone, axis=0)] < _ODD


def fault_band(table: FaultTable, hypothesis: int) -> np.ndarray:
    """The band that holds 99 % of the builds with one fault, widened, (M, 2)."""
    own = table.of_hypothesis == hypothesis
    return widened(table, band_of(table, table.value[:, own]))


@lru_cache(maxsize=6)
def unseen(table: FaultTable, swept: bool = False) -> tuple[str, ...]:
    """Names of the faults that hardly any reading shows; swept: a sweep counts."""
    share = seen_shares(table, swept)
    return tuple(
        fault.key
        for fault, seen in zip(table.hypotheses[1:], share[1:], strict=True)
        if seen < table.limits.unseen
    )


def seen_shares(table: FaultTable, swept: bool = False) -> np.ndarray:
    """Share of the builds of each hypothesis that leave a healthy band, by meter or tone, or by a sweep."""
    band = band_of(table, table.value[:, table.of_hypothesis == 0])
    out = leaves(table, table.value, table.tone, band, swept=swept)
    count = len(table.hypotheses)
    return np.bincount(table.of_hypothesis, out, count) / np.bincount(table.of_hypothesis, minlength=count)
