"""Figures of the chapter on hiss and hum: densities, hum lines, and who makes the hiss."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from piezolab.chain import SignalChain
from piezolab.pages.kit.curve_names import Named, Window, curve_names, mark_boxes, note_boxes
from piezolab.pages.who_makes_the_hiss_and_the_hum import sentences as say
from piezolab.pitch import parse_tuning
from piezolab.studies.hiss import Noise, noise
from piezolab.studies.hum import WAYS, Hum, hum

SHOWN = 5  # contributors with a curve of their own
FLOOR_DB = -160.0
#: Colour, dash, marker for curves of contributors: Okabe and Ito's set, the line differing too.
LOOKS = (
    ("var(--pz-curve-bare, #D55E00)", "dash", "circle"),
    ("var(--pz-curve-kept, #009E73)", "dot", "diamond"),
    ("var(--pz-curve-other, #CC79A7)", "dashdot", "square"),
    ("var(--pz-curve-fifth, #B8860B)", "longdash", "triangle-up"),
    ("var(--pz-quiet, #55524b)", "longdashdot", "x"),
)
_WAY_LOOKS = dict(zip(WAYS, LOOKS, strict=False))


def found(chain: SignalChain) -> tuple[Hum, Noise]:
    """Ask the studies, which keep their answers."""
    return hum(chain), noise(chain)


def hiss_trace(name: str, chain: SignalChain, look: tuple[str, str]) -> dict[str, Any]:
    humming, hissing = found(chain)
    with np.errstate(divide="ignore"):
        level = 20 * np.log10(hissing.third_octave_v_rms / max(humming.signal_v_rms, 1e-300))
    return {
        "name": name, "x": hissing.frequency, "y": np.maximum(level, FLOOR_DB),
        "mode": "lines", "line": {"color": look[0], "dash": look[1], "width": 2.5},
        "hovertemplate": "%{x:.3s}Hz: %{y:.0f} dB",
    }  # fmt: skip


def playing_trace(chain: SignalChain) -> dict[str, Any]:
    """Hard playing of every pitch, against that of 1 kHz: the chain's own curve."""
    _, hissing = found(chain)
    with np.errstate(divide="ignore"):
        level = 20 * np.log10(hissing.gain / max(float(np.interp(1000.0, hissing.frequency, hissing.gain)), 1e-300))
    return {
        "name": "hard playing", "x": hissing.frequency, "y": np.clip(level, FLOOR_DB, -FLOOR_DB), "mode": "lines",
        "line": {"color": "var(--pz-text, #1c1c1c)", "dash": "dash", "width": 2},
        "hovertemplate": "%{x:.3s}Hz: %{y:.1f} dB",
    }  # fmt: skip


def stems(name: str, humming: Hum, way: str) -> list[dict[str, Any]]:
    colour, _, symbol = _WAY_LOOKS[way]
    level = humming.by_way[way]
    there = level > 0
    with np.errstate(divide="ignore"):
        height = np.maximum(20 * np.log10(level[there] / max(humming.signal_v_rms, 1e-300)), FLOOR_DB)
    frequency = humming.frequency[there]
    x, y = np.repeat(frequency, 3), np.full(3 * len(height), np.nan)
    y[0::3], y[1::3] = FLOOR_DB, height
    return [
        {
            "x": x, "y": y, "mode": "lines", "line": {"color": colour, "width": 2}, "showlegend": False,
            "hoverinfo": "skip",
        },
        {
            "name": name, "x": frequency, "y": height, "mode": "markers",
            "marker": {"color": colour, "symbol": symbol, "size": 9}, "hovertemplate": "%{x:.4~s}Hz: %{y:.0f} dB",
        },
    ]  # fmt: skip


def words_on_plot(
    chain: SignalChain, traces: Sequence[Mapping[str, Any]], span: list[float], size: tuple[float, float], apart: float
) -> list[dict[str, Any]]:
    """Words of a plot of this size, px: the strings, and each curve's name on it; hum has its at one of its lines."""
    from piezolab.pages.kit.bode import AUDIBLE, note_names

    seen = Window((math.log10(AUDIBLE[0]), math.log10(AUDIBLE[1])), (span[0], span[1]), size)
    strings = note_names(parse_tuning(chain.tuning), apart)
    named, marks = [], []
    for trace in traces:
        x, y = np.log10(trace["x"]), np.asarray(trace["y"])
        if trace["mode"] == "markers":
            named.append(Named(trace["name"], x, y, trace["marker"]["color"], stands=True))
            marks.append((x, y))
        elif "name" in trace:
            named.append(Named(trace["name"], x, y, trace["line"]["color"]))
    return [*strings, *curve_names(named, seen, note_boxes(strings, seen), mark_boxes(marks, seen))]


def axes(chain: SignalChain, title: str, span: list[float]) -> tuple[dict[str, Any], dict[str, Any]]:
    from piezolab.pages.kit.bode import AUDIBLE, note_lines, note_names

    notes = parse_tuning(chain.tuning)
    ticks = (20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000)
    layout = {
        "height": 420, "showlegend": True, "margin": {"l": 56, "r": 10, "t": 8, "b": 40}, "hovermode": "closest",
        "xaxis": {
            "type": "log", "range": [math.log10(f) for f in AUDIBLE], "tickvals": list(ticks),
            "ticktext": [f"{t // 1000}k" if t >= 1000 else str(t) for t in ticks],
            "title": {"text": "frequency, Hz", "standoff": 4},
        },
        "yaxis": {"range": span, "title": {"text": title, "standoff": 2}},
        "shapes": note_lines(notes), "annotations": note_names(notes, apart=1.25),
    }  # fmt: skip
    narrow = {
        "font": {"size": 12}, "height": 270, "margin": {"l": 46, "r": 6, "t": 4, "b": 34},
        "xaxis": {"tickvals": [20, 100, 1000, 10000], "ticktext": ["20", "100", "1k", "10k"]},
        "annotations": note_names(notes, apart=1.9),
    }  # fmt: skip
    return layout, narrow


def density_figure(chain: SignalChain, kept: SignalChain | None, *, at_pickup: bool) -> tuple[list, dict, dict, str]:
    """Noise density by contributor, at the load or referred to the pickup."""
    _, hissing = found(chain)
    scale = np.where(hissing.gain > 0, hissing.gain, np.nan) if at_pickup else 1.0

    def curve(name: str, density: np.ndarray, look: tuple[str, str], width: float) -> dict[str, Any]:
        return {
            "name": name, "x": hissing.frequency, "y": np.sqrt(density) / scale * 1e9, "mode": "lines",
            "line": {"color": look[0], "dash": look[1], "width": width},
            "hovertemplate": "%{x:.3s}Hz: %{y:.3g} nV/√Hz",
        }  # fmt: skip

    traces = [curve("all together", hissing.total, ("var(--pz-curve-stage, #0072B2)", "solid"), 3)]
    for name, look in zip(list(hissing.shares)[:SHOWN], LOOKS, strict=False):
        traces.append(curve(say.maker_words(name), hissing.density[name], look[:2], 2))
    layout, narrow = axes(chain, "nV/√Hz", [])
    layout["yaxis"] = {"type": "log", "title": {"text": "nV/√Hz", "standoff": 2}, "exponentformat": "none", "dtick": 1}
    narrow["height"] = 230 + 20 * len(traces)  # on a phone every maker has a line of the legend to itself
    where = "as if at the pickup" if at_pickup else "at the input"
    label = f"Noise density {where} against frequency, in total and of the {SHOWN} largest makers."
    return traces, layout, narrow, label
