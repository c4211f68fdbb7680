"""Figures of the chapter on level and clipping: levels and edges, and a fading battery."""

from __future__ import annotations

from typing import Any

import numpy as np

from piezolab.chain import SignalChain
from piezolab.studies.added_harmonics import Distortion, distortion
from piezolab.studies.fading_battery import fading
from piezolab.studies.levels import HARD_DB, NORMAL_DB, SOFT_DB, Levels, levels

PLAYING = (("soft", SOFT_DB), ("normal", NORMAL_DB), ("hard", HARD_DB))


def found(chain: SignalChain) -> tuple[Levels, Distortion | None]:
    """Ask the studies, which keep their answers."""
    return levels(chain), distortion(chain)


def line(name: str, x: np.ndarray, y: np.ndarray, colour: str, dash: str) -> dict[str, Any]:
    return {
        "name": name, "x": x, "y": y, "mode": "lines", "line": {"color": colour, "dash": dash, "width": 2.5},
        "hovertemplate": "%{x:.3s}V at the pickup: %{y:.3s}V", "zorder": 0 if dash == "solid" else 1,
    }  # fmt: skip


def axes(chain: SignalChain, x: np.ndarray, y: np.ndarray) -> tuple[dict[str, Any], dict[str, Any]]:
    values = chain.values
    high = 1.25 * float(np.max(np.abs(y))) or 1.0
    shapes, notes = [], []
    falls = float(y[-1]) < 0  # the names stand in the corner from which the curve leads away
    for name, db in PLAYING:
        peak = values.play_v * 10 ** (db / 20)
        for sign in (1, -1):
            shapes.append({
                "type": "line", "x0": sign * peak, "x1": sign * peak, "y0": 0, "y1": 1, "yref": "paper",
                "layer": "below",
                "line": {"color": "var(--pz-note, #8a8a8a)", "width": 1, "dash": "dot"},
            })  # fmt: skip
        if name != "soft":
            notes.append({
                "x": peak, "y": 1 if falls else 0, "yref": "paper", "xanchor": "left",
                "yanchor": "top" if falls else "bottom", "text": name, "showarrow": False, "font": {"size": 12},
            })  # fmt: skip
    if values.input_max < high:
        for sign in (1, -1):
            shapes.append({
                "type": "line", "y0": sign * values.input_max, "y1": sign * values.input_max, "x0": 0, "x1": 1,
                "xref": "paper", "layer": "below",
                "line": {"color": "var(--pz-wrong, #a03000)", "width": 1.5, "dash": "dashdot"},
            })  # fmt: skip
        notes.append({
            "x": 0, "xref": "paper", "y": values.input_max, "xanchor": "left", "yanchor": "bottom", "xshift": 3,
            "text": "the input takes no more", "showarrow": False, "font": {"size": 12},
        })  # fmt: skip
    layout = {
        "height": 420, "showlegend": True, "margin": {"l": 58, "r": 10, "t": 8, "b": 44}, "hovermode": "closest",
        "xaxis": {"title": {"text": "pickup, V (unloaded)", "standoff": 4}, "range": [float(x[0]), float(x[-1])]},
        "yaxis": {"title": {"text": "at the input, V", "standoff": 2}, "range": [-high, high]},
        "shapes": shapes, "annotations": notes,
    }  # fmt: skip
    narrow = {"font": {"size": 12}, "height": 270, "margin": {"l": 48, "r": 6, "t": 4, "b": 36}}
    return layout, narrow


def fading_figure(chain: SignalChain, kept: SignalChain | None) -> tuple[list, dict, dict, str]:
    """Clip edges while the battery runs down."""
    of = fading(chain)
    if of is None:
        return [], {"height": 120}, {}, "no battery in this chain"
    traces = [
        {**line("rising voltage clips at", of.supply_v, of.up, "var(--pz-curve-stage, #0072B2)", "solid")},
        {**line("falling voltage clips at", of.supply_v, of.down, "var(--pz-curve-bare, #D55E00)", "dash")},
        {
            **line(
                "hard playing",
                of.supply_v,
                np.full(len(of.supply_v), float(chain.play_v)),
                "var(--pz-note, #8a8a8a)",
                "dot",
            )
        },
    ]
    for trace in traces:
        trace["y"] = np.where(np.isfinite(trace["y"]), trace["y"], np.nan)
        trace["hovertemplate"] = "%{x:.1f} V left: %{y:.3s}V"
    layout = {
        "height": 300, "showlegend": True, "margin": {"l": 58, "r": 10, "t": 8, "b": 44},
        "xaxis": {
            "title": {"text": "battery, V: fresh to spent"}, "range": [float(of.supply_v[0]), float(of.supply_v[-1])],
        },
        "yaxis": {"title": {"text": "stroke at the pickup, V"}, "rangemode": "tozero"},
    }  # fmt: skip
    return (
        traces,
        layout,
        {"height": 230, "font": {"size": 12}},
        "Pickup voltage at which the stage clips, against battery voltage.",
    )
