"""The level picture: soft, normal and hard playing from the disc to the input, against what each place takes."""

from __future__ import annotations

from typing import Any

import numpy as np

from piezolab import catalogue
from piezolab.chain import SignalChain
from piezolab.pages.how_loud_before_it_clips.level_figures import PLAYING
from piezolab.quantity import dbu, dbv, show
from piezolab.studies.level_path import PathPoint, level_path

NAMES = {"pickup": "disc, unloaded", "gate": "at the gate", "stage": "out of the stage", "input": "at the input"}
DASHES = {"soft": "dot", "normal": "dash", "hard": "solid"}
OFF_SCALE = 10.0  # times hard playing: what a place takes beyond that is not drawn
SIDES = (("rising", "triangle-up"), ("falling", "triangle-down"))


def path_figure(chain: SignalChain, kept: SignalChain | None) -> tuple[list, dict, dict, str]:
    """Levels at each place, V peak on a logarithmic scale, and what the place takes on either side."""
    places, play = level_path(chain), float(chain.play_v)
    loudest = max(place.gain for place in places) * play
    if not loudest > 0 or not places[-1].gain > 0:
        return [], {}, {}, "No signal reaches the input."
    at = list(range(len(places)))
    traces = [_playing(name, at, np.array([place.gain for place in places]) * play * 10 ** (db / 20))
              for name, db in PLAYING]  # fmt: skip
    traces += [_ceilings(side, symbol, places, OFF_SCALE * loudest) for side, symbol in SIDES]
    low = np.log10(min(place.gain for place in places) * play / 10) - 0.15
    high = np.log10(OFF_SCALE * loudest)
    traces.append({"x": [None], "y": [None], "yaxis": "y2", "showlegend": False, "mode": "lines"})
    to_dbu = [float(dbu(10**edge / np.sqrt(2))) for edge in (low, high)]
    layout = {
        "height": 340, "showlegend": True, "margin": {"l": 58, "r": 52, "t": 8, "b": 30}, "hovermode": "closest",
        "xaxis": {"tickvals": at, "ticktext": [_name(place) for place in places], "range": [-0.4, at[-1] + 0.4]},
        "yaxis": {"type": "log", "title": {"text": "V peak", "standoff": 2}, "range": [low, high], "dtick": 1},
        "yaxis2": {
            "overlaying": "y", "side": "right", "title": {"text": "dBu, rms", "standoff": 2}, "range": to_dbu,
            "showgrid": False, "zeroline": False, "tickmode": "linear", "tick0": 0, "dtick": 10,
        },
    }  # fmt: skip
    narrow = {"font": {"size": 11}, "height": 340, "margin": {"l": 46, "r": 42, "t": 4, "b": 40},
              "xaxis": {"ticktext": [_name(place).replace(" ", "<br>") for place in places]}}  # fmt: skip
    return traces, layout, narrow, _told(places, play)


def _name(place: PathPoint) -> str:
    return f"at the {catalogue.inputs()[place.kind].label.split(',')[0]}" if place.kind else NAMES[place.name]


def _playing(name: str, at: list[int], peak: np.ndarray) -> dict[str, Any]:
    width = 2.5 if name == "hard" else 1.5
    return {
        "name": f"{name} playing", "x": at, "y": peak, "mode": "lines",
        "line": {"color": "var(--pz-curve-stage, #0072B2)", "dash": DASHES[name], "width": width},
        "customdata": [_all_units(v) for v in peak], "hovertemplate": "%{customdata}",
    }  # fmt: skip


def _ceilings(side: str, symbol: str, places: tuple[PathPoint, ...], most: float) -> dict[str, Any]:
    """What the places take while the pickup's voltage rises or falls, with its range over the type and the battery."""
    found = [(n, getattr(place, side)) for n, place in enumerate(places) if getattr(place, side)]
    found = [(n, ceiling) for n, ceiling in found if ceiling.typical < most]
    shift = 0.07 if side == "rising" else -0.07
    typical = np.array([ceiling.typical for _, ceiling in found])
    return {
        "name": f"{side} voltage: takes no more", "x": [n + shift for n, _ in found], "y": typical, "mode": "markers",
        "marker": {"symbol": symbol, "size": 11, "color": "var(--pz-wrong, #a03000)"},
        "error_y": {
            "type": "data", "symmetric": False, "color": "var(--pz-wrong, #a03000)", "thickness": 1.5, "width": 4,
            "array": [min(ceiling.high, most) - ceiling.typical for _, ceiling in found],
            "arrayminus": [ceiling.typical - max(ceiling.low, 1e-3 * ceiling.typical) for _, ceiling in found],
        },
        "customdata": [
            f"{_all_units(ceiling.typical)}<br>with the type's parts and a fading battery "
            f"{show(ceiling.low, 'V', 2)} to {_limit(ceiling.high)}"
            for _, ceiling in found
        ],
        "hovertemplate": "%{customdata}",
    }  # fmt: skip


def _limit(v: float) -> str:
    return show(v, "V", 2) if np.isfinite(v) else "no limit"


def _all_units(peak: float) -> str:
    rms = peak / np.sqrt(2)
    return f"{show(peak, 'V')} peak: {float(dbu(rms)):.1f} dBu, {float(dbv(rms)):.1f} dBV".replace("-", "−")


def _told(places: tuple[PathPoint, ...], play: float) -> str:
    """The picture in words."""
    said = []
    for place in places:
        words = f"{_name(place)} {show(place.gain * play, 'V', 2)} peak"
        said.append(words + (f", takes {show(place.takes, 'V', 2)}" if np.isfinite(place.takes) else ""))
    return f"Hard playing: {'; '.join(said)}."
