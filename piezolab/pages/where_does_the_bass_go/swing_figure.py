"""Figures in time of the first chapter: one and a half swings of two strings, and a press that is held, both bare."""

from __future__ import annotations

import math

from piezolab.chain import SignalChain
from piezolab.pages.kit.sections import Figure
from piezolab.pitch import Note, parse_tuning
from piezolab.quantity import show
from piezolab.studies.held_press import FROM_S, LEFT, TO_S, held_press
from piezolab.studies.one_swing import OneSwing, one_swing

_GREY, _BARE = "var(--pz-quiet, #55524b)", "var(--pz-curve-bare, #D55E00)"


def swings(chain: SignalChain, _kept: SignalChain | None) -> Figure:
    """The disc's voltage and what reaches the input, bare, on one scale; the lost part shaded."""
    notes = sorted(parse_tuning(chain.tuning), key=lambda note: note.frequency_hz)
    notes = notes[:1] if len(notes) == 1 else [notes[0], notes[-1]]
    bare = chain.but(stage="direct")
    found = [one_swing(bare, note.frequency_hz) for note in notes]
    traces, told = [], []
    for n, (note, swing) in enumerate(zip(notes, found, strict=True)):
        traces += _pair(swing, n)
        told.append(_told(note, swing, "lowest" if n == 0 else "highest"))
    top = 1.1 * max(1.0, *(swing.share for swing in found))
    width = 1.0 if len(notes) == 1 else 0.47
    layout = {
        "height": 250, "margin": {"l": 48, "r": 8, "t": 30, "b": 40}, "hovermode": False,
        "legend": {"orientation": "h", "x": 0, "y": 1.02, "yanchor": "bottom"},
        "yaxis": {"range": [-top, top], "title": {"text": "part of the disc’s volts", "standoff": 2}},
    }  # fmt: skip
    for n, (note, swing) in enumerate(zip(notes, found, strict=True)):
        layout[f"xaxis{n + 1 if n else ''}"] = {
            "domain": [0.0, width] if n == 0 else [1 - width, 1.0], "range": [0, 1e3 * float(swing.time_s[-1])],
            "title": {"text": f"{note.display}: time, ms", "standoff": 4},
        }  # fmt: skip
    narrow = {"height": 220, "font": {"size": 12}, "margin": {"l": 40, "r": 6, "t": 30, "b": 36}}
    return traces, layout, narrow, " ".join(told)


def _pair(swing: OneSwing, n: int) -> list[dict]:
    x, axis = 1e3 * swing.time_s, {} if n == 0 else {"xaxis": f"x{n + 1}", "showlegend": False}
    return [
        {"name": "the disc", "x": x, "y": swing.disc, "mode": "lines", "line": {"color": _GREY, "width": 2}, **axis},
        {
            "name": "at the input, bare", "x": x, "y": swing.arrives, "mode": "lines", "fill": "tonexty",
            "fillcolor": "rgba(128, 128, 128, 0.18)", "line": {"color": _BARE, "width": 2.5, "dash": "dash"}, **axis,
        },
    ]  # fmt: skip


def _told(note: Note, swing: OneSwing, which: str) -> str:
    when = "early" if swing.early_s > 0 else "late"
    early = "" if swing.share > 0.98 else f", {show(abs(swing.early_s), 's', 2)} {when}"
    return f"Of a swing of the {which} string ({note.display}) {100 * swing.share:.0f} % reach the input{early}."


def swing_words(chain: SignalChain) -> str:
    """What the figure shows, in a sentence or two."""
    lowest = min(parse_tuning(chain.tuning), key=lambda note: note.frequency_hz)
    swing = one_swing(chain.but(stage="direct"), lowest.frequency_hz)
    if swing.share > 0.98:
        return "What you plug in hardly drains the disc while a swing lasts."
    return (
        f"While one slow swing lasts, what you plug in drains the disc: {100 * swing.share:.0f} % of it is left, and "
        "its tops come early, since the drained disc starts back before the string does. A quicker swing leaves less "
        "time for that."
    )


def pressed(chain: SignalChain, _kept: SignalChain | None) -> Figure:
    """What is left at the input after a sudden press that is held, with the mark at R C."""
    found = held_press(chain)
    if found is None:
        return [], {}, {}, "The two discs are wired against each other: pressed alike, they give nothing."
    at, left = found.tau_s, 100 * LEFT * found.start
    words = f"R × C = {show(found.r_ohm, 'ohm', 2)} × {show(found.c_farad, 'F', 2)} = {show(at, 's', 2)}"
    label = f"Pressed at once and held, bare: after {show(at, 's', 2)} 37 % of the start is left ({words})."
    traces = [
        {
            "name": "at the input, bare", "x": found.time_s, "y": 100 * found.left, "mode": "lines",
            "line": {"color": _BARE, "width": 2.5, "dash": "dash"}, "showlegend": False,
        },
        {
            "name": f"37 %: {words}", "x": [at], "y": [left], "mode": "markers", "showlegend": True,
            "marker": {"symbol": "circle-open", "size": 11, "color": _BARE, "line": {"width": 2.5}},
        },
    ]  # fmt: skip
    layout = {
        "height": 230, "margin": {"l": 48, "r": 12, "t": 34, "b": 44}, "hovermode": False,
        "legend": {"orientation": "h", "x": 0, "y": 1.02, "yanchor": "bottom"},
        "xaxis": {
            "type": "log", "range": [math.log10(FROM_S), math.log10(TO_S)], "title": {"text": "time since the press"},
            "tickvals": [10.0**n for n in range(-5, 2)],
            "ticktext": ["10 µs", "0.1 ms", "1 ms", "10 ms", "0.1 s", "1 s", "10 s"],
        },
        "yaxis": {"range": [0, 105], "title": {"text": "left, % of the disc’s volts", "standoff": 2}},
    }  # fmt: skip
    narrow = {"height": 220, "font": {"size": 12}, "margin": {"l": 40, "r": 6, "t": 34, "b": 40}}
    return traces, layout, narrow, label
