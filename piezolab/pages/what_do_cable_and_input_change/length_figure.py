"""Figure of the chapter on cable and input: what the length of lead and cable does."""

from __future__ import annotations

import math

from piezolab.chain import SignalChain
from piezolab.pages.kit.sections import Figure
from piezolab.pages.kit.sentences import decibel_words
from piezolab.studies.inputs import (
    sweep_length,
)

# -- lengths ------------------------------------------------------------------------------------------------------
LONGEST_LEAD, LONGEST_CABLE = 10.0, 30.0  # m


def lengths(chain: SignalChain, kept: SignalChain | None) -> Figure:
    """Level at 1 kHz against the length of lead and cable, against the unloaded pickup at length 0."""
    staged = chain.topology.powered
    title = f"with {chain.topology.title}" if staged else "no stage"
    blue, red = "var(--pz-curve-stage, #0072B2)", "var(--pz-curve-bare, #D55E00)"
    curves = [
        (f"lead, {title}", chain, "lead_m", LONGEST_LEAD, (blue, "dashdot")),
        (f"cable, {title}", chain, "cable_m", LONGEST_CABLE, (blue, "solid")),
    ]
    if staged:
        curves.append(("cable, bare pickup", chain.but(stage="direct"), "cable_m", LONGEST_CABLE, (red, "dash")))
    if kept is not None:
        curves.append(("kept: cable", kept, "cable_m", LONGEST_CABLE, ("var(--pz-curve-kept, #009E73)", "dot")))
    traces, told, deepest = [], [], -3.0
    for name, of, key, longest, (colour, dash) in curves:
        sweep = sweep_length(of, key, longest)
        level = sweep.level_db - sweep.level_db[0]
        deepest = min(deepest, float(level.min()))
        told.append(f"{name}: {decibel_words(float(level[-1]))} at {longest:g} m")
        traces.append({
            "name": name, "x": sweep.length_m, "y": level, "mode": "lines",
            "line": {"color": colour, "dash": dash, "width": 2.5}, "hovertemplate": "%{x:.1f} m: %{y:.1f} dB",
        })  # fmt: skip
    layout = {
        "height": 320, "showlegend": True, "margin": {"l": 52, "r": 10, "t": 8, "b": 40}, "hovermode": "closest",
        "xaxis": {"range": [0, LONGEST_CABLE], "title": {"text": "length, m", "standoff": 4}},
        "yaxis": {"range": [3 * math.floor(deepest / 3 - 0.1), 1], "dtick": 3,
                  "title": {"text": "level, dB", "standoff": 2}},
    }  # fmt: skip
    if deepest < -20:
        layout["yaxis"]["dtick"] = 10
    narrow = {"height": 260, "font": {"size": 12}, "margin": {"l": 44, "r": 6, "t": 4, "b": 34}}
    return traces, layout, narrow, f"Level at 1 kHz against length, each against 0 m. {'; '.join(told)}."
