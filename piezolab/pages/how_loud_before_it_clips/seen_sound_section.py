"""What plays, drawn: its loudest moment, where clipping shows as flat tops, and how its power lies over the octaves."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from piezolab.chain import SignalChain
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.player import NAMES
from piezolab.pages.kit.sections import Figure, PlotSection
from piezolab.quantity import show
from piezolab.studies.listening import BARE, KEPT, STAGE, Heard
from piezolab.studies.seen_sound import LOWEST_HZ, OCTAVES, SeenSound, seen_sound

TITLE = "What you hear, drawn"
PRESS = "Press “hear it”: what plays is drawn here, its loudest moment and its spectrum."
SILENT = "Silence: nothing of it is left to draw."
#: Colours and dashes: of the versions, and of any others in their order.
_LINES = {
    NAMES[BARE]: ("var(--pz-curve-bare, #D55E00)", "dash"),
    NAMES[STAGE]: ("var(--pz-curve-stage, #0072B2)", "solid"),
    NAMES[KEPT]: ("var(--pz-curve-kept, #009E73)", "dot"),
}
_SPLIT = 0.44  # of the width: the moment's part, the spectrum has as much at the right
_LEAST_DB = -80


class SeenSoundSection(PlotSection):
    """Folded at first; follows what was played last, and asks for it to be played where the chain has changed since."""

    def __init__(self, state: PageState) -> None:
        super().__init__(state, TITLE, self._draw, folded=True)
        state.observe(lambda _: self.refresh(), "played")

    def _draw(self, _chain: SignalChain, _kept: SignalChain | None) -> Figure:
        return seen_figure(self._state.played)


def seen_figure(played: Mapping[str, Heard]) -> Figure:
    """Moment and spectrum of what plays, each version in its colour."""
    if not played:
        return [], {}, {}, PRESS
    seen = seen_sound({name: one.signal for name, one in played.items()}, next(iter(played.values())).pitch_hz)
    if seen is None:
        return [], {}, {}, SILENT
    traces: list[dict[str, Any]] = []
    for n, name in enumerate(played):
        traces += _traces(seen, n, name, _LINES.get(name) or list(_LINES.values())[n % len(_LINES)])
    ends = [math.log10(LOWEST_HZ), math.log10(LOWEST_HZ * 2**OCTAVES)]
    layout = {
        "height": 300, "showlegend": True, "margin": {"l": 44, "r": 10, "t": 8, "b": 44}, "hovermode": "closest",
        "xaxis": {"title": {"text": "time since the pluck, ms", "standoff": 4}, "domain": [0, _SPLIT]},
        "yaxis": {"title": {"text": "part of the loudest", "standoff": 2}, "range": [-1.08, 1.08]},
        "xaxis2": {
            "title": {"text": "frequency, Hz", "standoff": 4}, "domain": [1 - _SPLIT, 1],
            "type": "log", "range": ends, "anchor": "y2",
            "tickvals": [20, 100, 1000, 10000], "ticktext": ["20", "100", "1k", "10k"],
        },
        "yaxis2": {
            "title": {"text": "level, dB", "standoff": 2}, "range": [_LEAST_DB, 3], "anchor": "x2", "dtick": 20,
        },
    }  # fmt: skip
    narrow = {
        "font": {"size": 11}, "height": 460, "margin": {"l": 46, "r": 6, "t": 4, "b": 40},
        "xaxis": {"domain": [0, 1], "anchor": "y"}, "yaxis": {"domain": [0.6, 1]},
        "xaxis2": {"domain": [0, 1]}, "yaxis2": {"domain": [0, 0.42]},
    }  # fmt: skip
    return traces, layout, narrow, told(played, seen)


def _traces(seen: SeenSound, n: int, name: str, style: tuple[str, str]) -> list[dict[str, Any]]:
    line = {"color": style[0], "dash": style[1], "width": 2}
    return [
        {"name": name, "x": 1000 * seen.time_s, "y": seen.moment[n], "mode": "lines", "line": line,
         "hovertemplate": "%{x:.1f} ms: %{y:.2f} of the loudest"},
        {"name": name, "x": seen.frequency, "y": seen.level_db[n], "mode": "lines", "line": line, "xaxis": "x2",
         "yaxis": "y2", "showlegend": False, "hovertemplate": "%{x:.3s}Hz: %{y:.0f} dB"},
    ]  # fmt: skip


def told(played: Mapping[str, Heard], seen: SeenSound) -> str:
    """The picture in words."""
    parts = [
        f"{name}: {show(one.peak_v, 'V', 2)} at its loudest, strongest at {seen.frequency[level.argmax()]:.0f} Hz"
        for (name, one), level in zip(played.items(), seen.level_db, strict=True)
    ]
    return f"{'; '.join(parts)}."
