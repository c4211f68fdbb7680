"""All figures of a chain as plain numbers with units in the key names: what the chapters show, for other programs."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from piezolab.chain import SignalChain
from piezolab.chain.link import to_query
from piezolab.chain.parameters import LINK_FORMAT
from piezolab.studies.bias import Bias, bias, bias_population, spread
from piezolab.studies.hiss import noise
from piezolab.studies.hum import hum
from piezolab.studies.judging.judgement import Judgement, judgement
from piezolab.studies.levels import levels
from piezolab.studies.loading import loading
from piezolab.studies.output import impedances
from piezolab.studies.response import response

GROUPS = ("chain", "loading", "bias", "response", "output", "noise", "hum", "levels", "battery", "worth")
_UNITS = {"i_d": "a", "v_gs": "v", "v_s": "v", "v_d": "v", "v_ds": "v", "g_m": "s", "g_ds": "s", "supply_current": "a"}


def figures(chain: SignalChain, at: np.ndarray | None = None) -> dict[str, Any]:
    """Every figure group of the chain. `at`: frequencies in Hz for response and noise density instead of the grid.

    Values that do not exist (a corner that is not there) are None. What the chapters judge is read from the judgement.
    """
    judged = judgement(chain)
    return plain(
        {
            "chain": {"v": LINK_FORMAT, **chain.values.as_dict(), "link": to_query(chain)},
            "loading": _loading(chain),
            "bias": _bias(chain),
            "response": _response(chain, at),
            "output": _output(chain, judged),
            "noise": _noise(chain, at),
            "hum": _hum(chain, judged),
            "levels": _levels(chain, judged),
            "battery": _battery(judged),
            "worth": _worth(judged),
        }
    )


def _loading(chain: SignalChain) -> dict[str, Any]:
    found = loading(chain)
    keys = ("corner_hz", "plateau_db", "low_note_hz", "low_note_re_plateau_db", "low_note_re_open_db")
    return {key: getattr(found, key) for key in (*keys, "min_input_ohm_1db", "min_input_ohm_3db")}


def _bias(chain: SignalChain) -> dict[str, Any] | None:
    found = bias(chain)
    if found is None:
        return None
    many = bias_population(chain)
    return {
        **_named(found),
        "region": str(found.region),
        "gate": str(found.gate),
        "spread": {f"{key}_{_UNITS[key]}": list(pair) for key, pair in spread(many).items()},
    }


def _named(found: Bias) -> dict[str, float]:
    return {f"{key}_{unit}": float(getattr(found, key)) for key, unit in _UNITS.items()}


def _response(chain: SignalChain, at: np.ndarray | None) -> dict[str, Any]:
    found = response(chain, at)
    return {
        "frequency_hz": found.frequency,
        "gain_db": found.gain_db,
        "phase_deg": found.phase_deg,
        "midband_gain_db": _db(found.midband_gain),
        "gain_1khz_db": _db(found.gain_1khz),
        "low_corner_hz": found.low_corner_hz,
        "high_corner_hz": found.high_corner_hz,
        "low_note_re_midband_db": found.low_note_re_midband_db,
        "low_note_re_open_db": _db(found.low_note_gain),
    }


def _output(chain: SignalChain, judged: Judgement) -> dict[str, Any]:
    found = impedances(chain)
    return {
        "impedance_ohm": float(np.abs(found.output)),
        "resistance_ohm": float(np.real(found.output)),
        "input_impedance_ohm": float(np.abs(found.input)),
        "input_resistance_ohm": float(found.input_resistance),
        "input_capacitance_f": float(found.input_capacitance),
        **_plugging(judged),
    }


def _plugging(judged: Judgement) -> dict[str, float]:
    found = judged.plug
    if found is None:  # a disc passes no direct voltage
        return dict.fromkeys(("dc_v", "dc_worst_v", "plug_in_step_v", "settle_s"), 0.0)
    return {
        "dc_v": found.dc_v,
        "dc_worst_v": found.dc_worst_v,
        "plug_in_step_v": found.step_v,
        "settle_s": found.settle_s,
    }


def _noise(chain: SignalChain, at: np.ndarray | None) -> dict[str, Any]:
    found = noise(chain)
    grid = found if at is None else noise(chain, np.asarray(at, float))
    return {
        "output_v_rms": float(found.output_v_rms),
        "output_v_rms_a": float(found.output_v_rms_a),
        "density_frequency_hz": grid.frequency,
        "density_v_per_rthz": np.sqrt(grid.total),
        "shares": {name: float(share) for name, share in found.shares.items()},
        "snr_db_a": float(found.snr_db_a),
    }


def _hum(chain: SignalChain, judged: Judgement) -> dict[str, float]:
    found, loud = hum(chain), judged.loudness
    return {
        "output_v_rms": found.output_v_rms,
        "relative_db": found.relative_db,
        "relative_a_weighted_db": float(loud.hum_a_db),
        "to_the_ear_db": float(loud.hum_db),
    }


def _levels(chain: SignalChain, judged: Judgement) -> dict[str, Any]:
    found, edges = levels(chain), judged.edges
    return {
        "output_v_peak": float(found.output_v_peak),
        "output_dbu": float(found.output_dbu),
        "clip_input_v_peak": edges.chain_v,
        "clip_cause": edges.chain_cause or None,
        "input_headroom_db": edges.headroom_db,
    }


def _battery(judged: Judgement) -> dict[str, Any] | None:
    found = judged.life
    return None if found is None else {"life_h": found.hours, "life_ends_by": found.ends_by}


def _worth(judged: Judgement) -> dict[str, Any]:
    """Of the chain's stage, or of a follower where it has none, against the bare pickup (see `judging.worth`)."""
    found = judged.worth
    return {
        "worth_it": found.worth_it,
        "gains": found.gains,
        "costs": found.costs,
        "low_note_db": found.bass_db,
        "level_db": found.level_db,
        "less_hiss_db": found.hiss_db,
        "less_cable_hum_db": found.cable_db,
        "room_db": found.room_db,
    }


def _db(ratio: float) -> float:
    return 20 * math.log10(ratio) if ratio > 0 else -math.inf


def plain(value: Any) -> Any:
    """The same as dicts, lists, strings, numbers and None; what is not a finite number becomes None."""
    if isinstance(value, dict):
        return {key: plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, float | np.floating):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, np.integer):
        return int(value)
    return value
