"""A recorded sweep and its comparison as plain numbers, for files and the command line."""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path
from typing import Any

import numpy as np

from piezolab.audio import AudioError
from piezolab.audio.slices import Slices
from piezolab.audio.sound_file import check_size, read_recording
from piezolab.chain import SignalChain
from piezolab.chain.link import whole_query
from piezolab.circuit.errors import CircuitError
from piezolab.studies.recordings.chain_fits import ChainFit, chain_fit
from piezolab.studies.recordings.quiet_part import QuietPart
from piezolab.studies.recordings.sweep_against import SetUp, SweepCompared, sweep_compared
from piezolab.studies.recordings.sweep_reading import fault_readings
from piezolab.studies.recordings.sweep_run import ORDERS
from piezolab.studies.recordings.swept import SweptTake, swept

_HEAD = ("frequency_hz", "gain_db", "half_interval_db", "phase_deg", "predicted_db", "predicted_deg")


def sweep_figures(
    take: SweptTake, now: SweepCompared, chain: SignalChain, fit: ChainFit | None, set_up: SetUp
) -> dict[str, Any]:
    """All figures with their units in the keys; null for what is not known, without a meter's reading all volts; the
    readings as the fault finder takes them."""
    return {
        "link": whole_query(chain), "name": take.name, "finding": now.finding, "loop_back": take.looped,
        "clock_ppm": take.drift * 1e6, "clipped_times": take.clipped, "delay_s": now.delay_s,
        "polarity_turned": now.turned, "level_off_db": now.level_db, "slid_db": now.slid_db,
        "largest_output_v_peak": now.output_v, "largest_output_dbu": now.output_dbu,
        "over_1_percent_from_hz": now.bent_hz,
        "response": [dict(zip(_HEAD, row, strict=True)) for row in _rows(now)],
        "harmonics": [
            {
                "hz": float(hz), "order": order, "ratio": _known(seen) if clear else None,
                "below": None if clear else _known(floor),
            }
            for order, row, floors, stands in zip(ORDERS, take.harmonics, take.floors, take.stands_out(), strict=True)
            for hz, seen, floor, clear in zip(take.order_hz, row, floors, stands, strict=True)
            if math.isfinite(floor)
        ],
        "quiet": None if take.quiet is None else _quiet(take.quiet),
        "fit": None if fit is None else _fit(fit),
        "fault_readings": [reading.words for reading in fault_readings(take, now, chain, set_up, wanted=True)],
    }  # fmt: skip


def sweep_csv(now: SweepCompared) -> str:
    """The response as a table of comma-separated values, with a heading."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(_HEAD)
    for row in _rows(now):
        rows.writerow([f"{value:.5g}" for value in row])
    return out.getvalue()


def sweep_file(chain: SignalChain, path: str | Path, set_up: SetUp) -> tuple[dict[str, Any], tuple[str, ...]]:
    """The figures of a recording on disk; or {} and a sentence for each problem."""
    path = Path(path)
    if not chain.topology.powered:
        return {}, ("stage: the chain has none; a sweep goes through one.",)
    try:
        check_size(path.stat().st_size, path.name)
        take = swept(read_recording(Slices(path.read_bytes()), path.name, both=True))
        now, fit = sweep_compared(take, chain, set_up), chain_fit(take, chain, set_up, ["gate_r"])
        return sweep_figures(take, now, chain, fit, set_up), ()
    except OSError as error:
        return {}, (f"{path.name}: it cannot be read ({error.strerror}).",)
    except AudioError as error:
        return {}, (str(error),)
    except CircuitError as error:
        return {}, (f"chain: it could not be worked out: {error}",)


def _rows(now: SweepCompared) -> list[tuple[float, ...]]:
    columns = (now.hz, now.gain_db, now.half_db, now.phase_deg, now.predicted_db, now.predicted_deg)
    return [tuple(map(float, row)) for row in np.stack(columns, axis=1)]


def _fit(fit: ChainFit) -> dict[str, Any]:
    """Values in SI by link key, each with its interval and whether the sweep tells it by itself; a product in s."""
    found = {
        key: {"value": one.value, "from": one.low, "to": one.high, "told": fit.apart[key]}
        for key, one in fit.values.items()
    }
    if fit.product is not None:
        product = fit.product[2]
        found["pickup_c_times_gate_r_s"] = {"value": product.value, "from": product.low, "to": product.high}
    return found


def _quiet(quiet: QuietPart) -> dict[str, float | None]:
    return {
        "seconds": quiet.seconds, "noise_dbfs": _db(quiet.noise.value), "hum_dbfs": _db(quiet.lines.total.value),
        "mains_hz": _known(quiet.lines.mains_hz),
    }  # fmt: skip


def _db(power: float) -> float | None:
    return 10 * math.log10(power) if power > 0 else None


def _known(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
