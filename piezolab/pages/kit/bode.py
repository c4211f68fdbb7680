"""Level over frequency as a figure for `Plot`, with the strings marked, and phase or another panel below it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from piezolab.pages.kit.curve_names import (
    SLIM,
    WIDE,
    Named,
    Window,
    curve_names,
    edge_boxes,
    ink,
    mark_boxes,
    note_boxes,
)
from piezolab.pitch import Note

AUDIBLE = (20.0, 20e3)  # Hz
#: Ends of the level axis in dB: the same for every chain, so that curves move and not the axis; with a gain stage more.
BOTTOM, TOP, TOP_OF_GAIN = -40.0, 10.0, 30.0
_WIDE_BELOW = (WIDE[0], 80.0)  # px, as `WIDE`: the lower panel on a desk
_FRAME = {
    "height": 470, "meta": {"steady": True}, "showlegend": False, "margin": {"l": 52, "r": 10, "t": 8, "b": 40},
    "hovermode": "closest",
}  # fmt: skip
_TICKS = (20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000)


@dataclass(frozen=True)
class Curve:
    """One curve: frequency in Hz, level in dB and phase in degrees, all of shape (n,); phase None draws none.

    look: one of `LOOKS`; marks: frequencies (Hz) at which the curve carries a marker, with the levels there.
    """

    name: str
    frequency: np.ndarray
    level_db: np.ndarray
    phase_deg: np.ndarray | None
    look: str
    marks: np.ndarray = field(default_factory=lambda: np.empty(0))
    mark_levels: np.ndarray = field(default_factory=lambda: np.empty(0))


#: Colour (of the page's style: Okabe and Ito's set, one for light and one for dark), line, marker.
LOOKS = {
    "bare": ("var(--pz-curve-bare, #D55E00)", "dash", "circle-open"),
    "stage": ("var(--pz-curve-stage, #0072B2)", "solid", "circle"),
    "kept": ("var(--pz-curve-kept, #009E73)", "dot", "diamond-open"),
}


@dataclass(frozen=True)
class Panel:
    """What stands below the level instead of phase: traces over frequency, and their axis without its place."""

    traces: Sequence[Mapping[str, Any]]
    axis: Mapping[str, Any]


def figure(
    curves: Sequence[Curve],
    notes: Sequence[Note],
    *,
    phase: str = "wide",
    below: Panel | None = None,
    gain: bool = False,
    beside: Sequence[Named] = (),
) -> tuple[list, dict, dict]:
    """Traces, layout and the narrow plot's layout. Every curve has its name written on it.

    phase: `wide` shows the lower panel on wide plots only, `always` on narrow ones too; below: what the lower panel
    shows instead of the curves' phase; gain: one of the chains amplifies; beside: what else is named in the upper one.
    """
    if below is None:
        below = Panel((), {"range": phase_range(curves), "dtick": 90, "title": {"text": "phase, °", "standoff": 2}})
    wide_only = {} if phase == "always" else {"meta": {"wide_only": True}}
    traces = []
    for curve in curves:
        traces += _traces(curve, wide_only)
    traces += [{**trace, "yaxis": "y2", **wide_only} for trace in below.traces]
    low, high = level_range([curve.level_db for curve in curves], [curve.frequency for curve in curves], gain)
    upper = [_written(curves, beside, notes, (low, high), *of) for of in ((WIDE, 1.25), (SLIM, 1.9))]
    lower = [_written_below(below, size) for size in ((_WIDE_BELOW, SLIM) if phase == "always" else (_WIDE_BELOW,))]
    layout = {
        **_FRAME,
        "xaxis": {
            "type": "log",
            "range": [math.log10(AUDIBLE[0]), math.log10(AUDIBLE[1])],
            "tickvals": list(_TICKS),
            "ticktext": [f"{t // 1000}k" if t >= 1000 else str(t) for t in _TICKS],
            "title": {"text": "frequency, Hz", "standoff": 4},
            "anchor": "y2",
        },
        "yaxis": {
            "range": [low, high],
            "domain": [0.38, 1],
            "title": {"text": "level, dB", "standoff": 2},
            "dtick": 10,
            "zeroline": True,
        },
        "yaxis2": {**below.axis, "domain": [0, 0.30]},
        "shapes": note_lines(notes),
        "annotations": [*upper[0], *lower[0]],
    }
    narrow: dict[str, Any] = {
        "font": {"size": 12},
        "margin": {"l": 40, "r": 6, "t": 4, "b": 34},
        "xaxis": {"tickvals": [20, 100, 1000, 10000], "ticktext": ["20", "100", "1k", "10k"]},
        "yaxis": {"title": {"text": "dB", "standoff": 0}},
        "height": 380,
        "annotations": [*upper[1], *(lower[-1] if phase == "always" else ())],
    }
    if phase != "always":
        narrow |= {"height": 250, "yaxis2": {"visible": False}}
        narrow["xaxis"] = {**narrow["xaxis"], "anchor": "y"}
        narrow["yaxis"] = {**narrow["yaxis"], "domain": [0, 1]}
    return traces, layout, narrow


def _written(
    curves: Sequence[Curve],
    beside: Sequence[Named],
    notes: Sequence[Note],
    ends: tuple[float, float],
    size: tuple[float, float],
    apart: float,
) -> list[dict[str, Any]]:
    """All words in the upper panel of a plot of this size, px: strings, marks at the edge, names."""
    seen = Window((math.log10(AUDIBLE[0]), math.log10(AUDIBLE[1])), ends, size)
    strings, marks = note_names(notes, apart), below_marks(curves, ends[0])
    taken = note_boxes(strings, seen) + edge_boxes(marks, seen)
    named = [Named(c.name, np.log10(c.frequency), finite(c.level_db), LOOKS[c.look][0]) for c in curves]
    return [*strings, *marks, *curve_names([*named, *beside], seen, taken, mark_boxes(
        [(np.log10(curve.marks), curve.mark_levels) for curve in curves], seen
    ))]  # fmt: skip


def _written_below(below: Panel, size: tuple[float, float]) -> list[dict[str, Any]]:
    """The names in the lower panel, where it shows something else than the phase of the same curves."""
    ends = tuple(below.axis["range"])
    seen = Window((math.log10(AUDIBLE[0]), math.log10(AUDIBLE[1])), ends, size)
    scale = np.log10 if below.axis.get("type") == "log" else np.asarray
    return curve_names([
        Named(trace["name"], np.log10(trace["x"]), scale(trace["y"]), trace["line"]["color"]) for trace in below.traces
    ], seen, yref="y2")  # fmt: skip


def _traces(curve: Curve, wide_only: Mapping[str, Any]) -> list[dict[str, Any]]:
    colour, dash, marker = LOOKS[curve.look]
    line = {"color": colour, "dash": dash, "width": 2.5}
    # a broken line on top of an unbroken one: where curves lie on each other, both are seen
    alike = {"name": curve.name, "legendgroup": curve.name, "line": line, "zorder": 0 if dash == "solid" else 1}
    traces = [
        {
            **alike, "x": curve.frequency, "y": finite(curve.level_db), "mode": "lines",
            "hovertemplate": "%{x:.3s}Hz: %{y:.1f} dB",
        },
        {
            "name": curve.name, "legendgroup": curve.name, "showlegend": False, "x": curve.marks,
            "y": finite(curve.mark_levels), "mode": "markers",
            "marker": {"color": colour, "symbol": marker, "size": 9, "line": {"width": 2, "color": colour}},
            "hovertemplate": "%{x:.4~s}Hz: %{y:.1f} dB",
        },
    ]  # fmt: skip
    if curve.phase_deg is not None:
        traces.append({
            **alike, "x": curve.frequency, "y": curve.phase_deg, "mode": "lines", "yaxis": "y2", "showlegend": False,
            "hovertemplate": "%{x:.3s}Hz: %{y:.0f}°", **wide_only,
        })  # fmt: skip
    return traces


def finite(level: np.ndarray) -> np.ndarray:
    """Levels with nothing below the deepest that is ever drawn: silence has no place on an axis in dB."""
    return np.maximum(level, -400.0)


def level_range(levels: Sequence[np.ndarray], frequencies: Sequence[np.ndarray], gain: bool) -> tuple[float, float]:
    """Bottom and top of the level axis; only what is louder than any usual stage moves the top, by whole tens of dB."""
    top = TOP_OF_GAIN if gain else TOP
    for level, frequency in zip(levels, frequencies, strict=True):
        inside = level[_audible(frequency) & np.isfinite(level)]
        if inside.size:
            top = max(top, 10.0 * math.ceil(float(inside.max()) / 10))
    return BOTTOM, top


def _audible(frequency: np.ndarray) -> np.ndarray:
    return (frequency >= AUDIBLE[0]) & (frequency <= AUDIBLE[1])


def below_marks(curves: Sequence[Curve], bottom: float) -> list[dict[str, Any]]:
    """A mark at the lower edge for each curve that goes on below it, in the middle of where it does; with its name
    where nothing else of it is seen."""
    marks = []
    for curve in curves:
        heard = _audible(curve.frequency)
        under = curve.frequency[heard & (curve.level_db < bottom)]
        if under.size:
            name = "" if under.size < heard.sum() else f" {curve.name}"
            marks.append({
                "x": float(np.log10(under).mean()), "y": bottom, "xref": "x", "yref": "y", "yanchor": "bottom",
                "yshift": 18 * len(marks), "text": "▼" + name, "showarrow": False,
                "font": {"size": 12, "color": ink(LOOKS[curve.look][0])},
            })  # fmt: skip
    return marks


def phase_range(curves: Sequence[Curve]) -> list[float]:
    """Bottom and top of the phase axis in whole quarter turns."""
    shown = [c for c in curves if c.phase_deg is not None]
    inside = [c.phase_deg[(c.frequency >= AUDIBLE[0]) & (c.frequency <= AUDIBLE[1])] for c in shown]
    seen = np.concatenate([*inside, [0.0]])
    seen = seen[np.isfinite(seen)]
    low, high = 90 * math.floor(seen.min() / 90 + 0.02), 90 * math.ceil(seen.max() / 90 - 0.02)
    return [low - 8.0, max(high, low + 90) + 8.0]


def note_lines(notes: Sequence[Note]) -> list[dict[str, Any]]:
    """A line for each string."""
    return [
        {
            "type": "line", "x0": hz, "x1": hz, "y0": 0, "y1": 1, "yref": "paper", "layer": "below",
            "line": {"color": "var(--pz-note, #8a8a8a)", "width": 1, "dash": "dot"},
        }
        for hz in sorted({note.frequency_hz for note in notes})
    ]  # fmt: skip


def note_names(notes: Sequence[Note], apart: float) -> list[dict[str, Any]]:
    """The strings' names, from the lowest, as far as they keep this ratio apart."""
    labels, last = [], 0.0
    for hz, note in sorted({note.frequency_hz: note for note in notes}.items()):
        if hz < last * apart:
            continue
        last = hz
        labels.append({
            "x": math.log10(hz), "y": 1, "xref": "x", "yref": "paper", "yanchor": "top", "xanchor": "left",
            "xshift": 1, "text": note.display, "showarrow": False, "font": {"size": 12},
        })  # fmt: skip
    return labels
