"""The second chapter's figures: transfer curve, load lines, the type's parts, the fading battery."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from piezolab.chain import SignalChain
from piezolab.pages.kit.bode import finite
from piezolab.pages.kit.curve_names import Named
from piezolab.pages.kit.two_curves import view
from piezolab.studies.choosing.tolerance import level_band
from piezolab.studies.fading_battery import Fading
from piezolab.studies.judging.wish import BuildFigures
from piezolab.studies.response import FREQUENCY
from piezolab.studies.transistor_curves import Curves

Figure = tuple[Sequence[Mapping[str, Any]], Mapping[str, Any], Mapping[str, Any], str]

#: Okabe and Ito's set, as the pages' style has it.
OWN, LINE, KEPT = "var(--pz-curve-stage, #0072B2)", "var(--pz-curve-bare, #D55E00)", "var(--pz-curve-kept, #009E73)"
QUIET = "var(--pz-quiet, #55524b)"
_TICKS = [step * 10.0**power for power in range(-3, 3) for step in (1, 2, 5)]
_LOG = {"type": "log", "tickvals": _TICKS, "ticktext": [f"{tick:g}" for tick in _TICKS]}
DOTS = 100  # of the type's parts, drawn at rest: a browser takes its time over each
_SHADE = "rgba(128,128,128,0.22)"


def _axis(title: str, **more: Any) -> dict[str, Any]:
    return {"title": {"text": title, "standoff": 4}, "zeroline": False, **more}


def _layout(x: dict[str, Any], y: dict[str, Any], height: int, **more: Any) -> tuple[dict[str, Any], dict[str, Any]]:
    layout = {
        "height": height, "showlegend": True, "margin": {"l": 56, "r": 12, "t": 8, "b": 44}, "hovermode": "closest",
        "legend": {"traceorder": "normal"}, "xaxis": x, "yaxis": y, **more,
    }  # fmt: skip
    narrow = {"font": {"size": 12}, "height": min(height, 300), "margin": {"l": 46, "r": 6, "t": 4, "b": 38}}
    return layout, narrow


def _line(name: str, x: np.ndarray, y: np.ndarray, colour: str, dash: str, hover: str, **more: Any) -> dict[str, Any]:
    return {
        "name": name, "x": x, "y": y, "mode": "lines", "line": {"color": colour, "dash": dash, "width": 2.5},
        "hovertemplate": hover, **more,
    }  # fmt: skip


def _dot(name: str, x: float, y: float, colour: str, symbol: str, hover: str, **more: Any) -> dict[str, Any]:
    return {
        "name": name, "x": [x], "y": [y], "mode": "markers", "hovertemplate": hover,
        "marker": {"color": colour, "symbol": symbol, "size": 13, "line": {"width": 2, "color": colour}}, **more,
    }  # fmt: skip


def transfer(chain: SignalChain, own: Curves, kind: Curves, kept: Curves | None) -> Figure:
    """Drain current over gate voltage: the transistor, what its stage allows, and where they meet.

    own: of the chain; kind: of the chain with a typical transistor, for the type's spread.
    """
    hover = "V_GS %{x:.2f} V: %{y:.3f} mA"
    name = chain.type_number
    v_gs, fan = kind.type_transfer
    edge = {"mode": "lines", "line": {"width": 0}, "hoverinfo": "skip", "x": v_gs}
    rest_v, rest_i = float(own.rest.v_gs), 1e3 * float(own.rest.i_d)
    many_v, many_i = kind.cloud.v_gs, 1e3 * kind.cloud.i_d
    traces = [
        _line(f"{'your' if chain.transistor_measured else 'typical'} {name}", own.transfer[0], 1e3 * own.transfer[1],
              OWN, "solid", hover),
        {**edge, "y": 1e3 * fan[0], "showlegend": False, "name": "1st percentile"},
        {**edge, "y": 1e3 * fan[2], "fill": "tonexty", "fillcolor": _SHADE, "name": "98 of 100"},
        _line("the stage", own.bias_line[0], 1e3 * own.bias_line[1], LINE, "dash", hover),
        {
            "name": "others at rest", "x": many_v[:DOTS], "y": many_i[:DOTS], "mode": "markers", "hovertemplate": hover,
            "marker": {"color": QUIET, "symbol": "circle", "size": 6, "opacity": 0.3},
        },
        {
            "name": "1st, 50th, 99th of 100", "x": np.percentile(many_v, [1, 50, 99]),
            "y": np.percentile(many_i, [99, 50, 1]), "mode": "markers", "showlegend": False,
            "text": ["1st of 100", "50th", "99th"], "hovertemplate": "%{text}: " + hover,
            "marker": {"color": QUIET, "symbol": "line-ns-open", "size": 16, "line": {"width": 3}},
        },
        _dot("at rest", rest_v, rest_i, OWN, "star", hover, showlegend=False),
    ]  # fmt: skip
    if kept is not None:
        traces += [
            _line("kept", kept.transfer[0], 1e3 * kept.transfer[1], KEPT, "dot", hover, legendgroup="kept"),
            _dot("kept", float(kept.rest.v_gs), 1e3 * float(kept.rest.i_d), KEPT, "diamond-open", hover,
                 legendgroup="kept", showlegend=False),
        ]  # fmt: skip
    full = 1.05e3 * float(own.transfer[1].max())
    top = min(max(3 * rest_i, 1.4 * float(np.percentile(many_i, 99)), 0.02), max(full, 1.2 * rest_i))
    left = min(float(np.percentile(many_v, 1)), -float(np.abs(own.transfer[0]).max()) * 0.4, rest_v) - 0.3
    right = max(0.15, rest_v + 0.1)
    here = {
        "x": rest_v, "y": rest_i, "xref": "x", "yref": "y", "text": "at rest", "showarrow": False, "font": {"size": 12},
        "yshift": -16 if rest_i > 0.25 * top else 16, "yanchor": "middle", "bgcolor": "var(--pz-page, #ffffff)",
    }  # fmt: skip
    layout, narrow = _layout(
        _axis("gate to source, V", range=[left, right]), _axis("drain current, mA", range=[-0.02 * top, top]), 385,
        annotations=[here],
    )  # fmt: skip
    label = (
        "Drain current against gate voltage; the curve of the transistor meets the line of the stage at "
        f"{rest_v:.2f} V, {rest_i:.2f} mA."
    )
    return traces, layout, narrow, label


def over_frequency(chain: SignalChain, kept: SignalChain | None) -> Figure:
    """The chain's level over frequency, with what its builds do to it."""
    band = level_band(chain, FREQUENCY)
    many = "98 of 100 builds"
    named = [
        Named(name, np.log10(FREQUENCY), finite(edge), QUIET, joins=False)
        for name, edge in zip(("", many), band, strict=True)
    ]
    shown = view(chain, kept, False, beside=named)
    edge = {"x": FREQUENCY, "mode": "lines", "line": {"width": 0}, "hoverinfo": "skip"}
    traces = [
        {**edge, "y": band[0], "showlegend": False, "name": "1st percentile"},
        {**edge, "y": band[1], "fill": "tonexty", "fillcolor": _SHADE, "name": many},
        *shown.traces,
    ]
    at_1khz = int(np.argmin(np.abs(FREQUENCY - 1000.0)))
    label = f"{shown.label} At 1 kHz 98 of 100 builds lie between {band[0, at_1khz]:.1f} and {band[1, at_1khz]:.1f} dB."
    return traces, shown.layout, shown.narrow, label


def load_lines(own: Curves) -> Figure:
    """Drain current over drain voltage at several gate voltages, with both load lines."""
    hover = "V_DS %{x:.2f} V: %{y:.3f} mA"
    v_ds, family = own.output
    rest_v, rest_i = float(own.rest.v_ds), 1e3 * float(own.rest.i_d)
    traces = [
        {
            "name": "gate voltage by steps" if k == 0 else f"{step:.2f} V", "showlegend": k == 0,
            "legendgroup": "steps",
            "x": v_ds, "y": 1e3 * row, "mode": "lines", "line": {"color": QUIET, "width": 1.3},
            "hovertemplate": f"V_GS {step:.2f} V: " + "%{y:.3f} mA",
        }
        for k, (step, row) in enumerate(zip(own.steps, family, strict=True))
    ]  # fmt: skip
    traces += [
        _line("left of it: triode region", own.saturation_edge[0], 1e3 * own.saturation_edge[1], KEPT, "dot", hover),
        _line("load line at rest", own.rest_load[0], 1e3 * own.rest_load[1], LINE, "dash", hover),
        _line("load line of the sound (1 kHz)", own.signal_load[0], 1e3 * own.signal_load[1], OWN, "solid", hover),
        _dot("at rest", rest_v, rest_i, OWN, "star", hover),
    ]
    top = min(3.2 * max(rest_i, 0.005), 1.1e3 * float(family.max()))
    layout, narrow = _layout(
        _axis("drain to source, V", range=[0, float(v_ds[-1])]), _axis("drain current, mA", range=[0, top]), 380
    )
    label = f"Drain current against drain voltage with the load lines; at rest {rest_v:.2f} V and {rest_i:.2f} mA."
    return traces, layout, narrow, label


def parts(chain: SignalChain, kind: Curves, builds: BuildFigures) -> Figure:
    """Parts of the type by V_GS(off) and I_DSS: those that work in this stage and those that do not."""
    v_off, idss = -kind.parts[0], 1e3 * kind.parts[1]
    works = np.asarray(builds.works, bool)
    hover = "V_GS(off) −%{x:.2f} V, I_DSS %{y:.2f} mA"
    traces = [
        {
            "name": name, "x": v_off[which], "y": idss[which], "mode": "markers", "hovertemplate": hover,
            "marker": {"color": colour, "symbol": symbol, "size": 6, "opacity": 0.7},
        }
        for name, which, colour, symbol in (("works here", works, KEPT, "circle"), ("does not", ~works, LINE, "x"))
    ]  # fmt: skip
    values = chain.values
    own = f"{'your' if chain.transistor_measured else 'typical'} {chain.type_number}"
    traces.append(_dot(own, -float(values.jfet_vgsoff), 1e3 * float(values.jfet_idss), OWN, "star", hover))
    lines = [
        {
            "type": "line", "x0": x, "x1": x, "y0": 0, "y1": 1, "yref": "paper", "layer": "below",
            "line": {"color": QUIET, "width": 1, "dash": "dot"},
        }
        for x in np.percentile(v_off, [1, 50, 99])
    ]  # fmt: skip
    names = [
        {
            "x": float(np.log10(line["x0"])), "y": 1, "yref": "paper", "xanchor": "left", "yanchor": "top", "xshift": 2,
            "text": text, "showarrow": False, "font": {"size": 12},
        }
        for line, text in zip(lines, ("1st", "50th", "99th of 100"), strict=True)
    ]  # fmt: skip
    names[-1] |= {"xanchor": "right", "xshift": -2}
    layout, narrow = _layout(
        _axis("V_GS(off), V below the source", **_LOG), _axis("I_DSS, mA", **_LOG), 380,
        shapes=lines, annotations=names,
    )  # fmt: skip
    count = round(100 * float(np.mean(works)))
    label = (
        f"Parts of the type by V_GS(off) and I_DSS; {count} of 100 work in this stage. Lines at the 1st, 50th and 99th "
        "of 100."
    )
    return traces, layout, narrow, label


def _some(edge: np.ndarray) -> np.ndarray:
    """An edge on a logarithmic axis: what is reached at rest already lies at its foot, what never is has a gap."""
    return np.where(np.isfinite(edge), np.maximum(edge, 1e-4), np.nan)


def fading(chain: SignalChain, found: Fading, kept: Fading | None) -> Figure:
    """The stroke at which the stage alone clips either way while the battery runs down, against hard playing."""
    text = [f"{hours:,.0f} h on".replace(",", "\u202f") for hours in found.hours]
    hover = "battery %{x:.2f} V (%{text}): clips from %{y:.2f} V"
    traces = [
        _line("clips upwards from", found.supply_v, _some(found.up), OWN, "solid", hover, text=text),
        _line("clips downwards from", found.supply_v, _some(found.down), LINE, "dash", hover, text=text),
        _line("your hardest", found.supply_v[[0, -1]], np.full(2, float(chain.play_v)), QUIET, "dot", "%{y:.2f} V"),
    ]
    if kept is not None:
        smaller = np.minimum(kept.up, kept.down)
        hover = "battery %{x:.2f} V: %{y:.2f} V"
        traces.append(_line("kept: the smaller", kept.supply_v, smaller, KEPT, "dashdot", hover))
    bad = found.supply_v[~found.bias.saturated]
    shapes = [] if not bad.size else [
        {
            "type": "rect", "x0": float(bad.max()), "x1": float(found.supply_v[-1]), "y0": 0, "y1": 1, "yref": "paper",
            "fillcolor": _SHADE, "line": {"width": 0}, "layer": "below",
        }
    ]  # fmt: skip
    named = [] if not bad.size else [
        {
            "x": float(bad.max()), "y": 1, "yref": "paper", "xanchor": "left", "yanchor": "top", "showarrow": False,
            "text": "not in saturation", "font": {"size": 12},
        }
    ]  # fmt: skip
    shown = np.concatenate([found.up, found.down, [float(chain.play_v)]])
    shown = np.log10(shown[np.isfinite(shown) & (shown > 1e-3)])
    layout, narrow = _layout(
        _axis("battery, V: fresh to spent", range=[float(found.supply_v[0]), float(found.supply_v[-1])]),
        _axis("stroke at the pickup, V", **_LOG, range=[float(shown.min()) - 0.2, float(shown.max()) + 0.2]),
        330, shapes=shapes, annotations=named,
    )  # fmt: skip
    label = (
        "The stroke from which the stage alone clips, while the battery falls from "
        f"{found.supply_v[0]:.1f} to {found.supply_v[-1]:.1f} V: "
        f"{min(found.up[0], found.down[0]):.2f} V at first, {min(found.up[-1], found.down[-1]):.2f} V at last."
    )
    return traces, layout, narrow, label
