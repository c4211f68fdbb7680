"""What was played last as a picture, under the player: waveform and spectrum of each turn, folded."""

from __future__ import annotations

from typing import Any

import numpy as np
from ipywidgets import VBox

from piezolab.pages.kit.player import NAMES, Player
from piezolab.pages.kit.plot import Plot
from piezolab.pages.kit.sections import Foldable
from piezolab.studies.listening import BARE, KEPT, PEAK, STAGE
from piezolab.studies.seen_sound import LEAST_DB, SeenSound, seen_sounds

_LOOKS = {
    NAMES[BARE]: ("var(--pz-curve-bare, #D55E00)", "dash"),
    NAMES[STAGE]: ("var(--pz-curve-stage, #0072B2)", "solid"),
    NAMES[KEPT]: ("var(--pz-curve-kept, #009E73)", "dot"),
}
_OTHERS = list(_LOOKS.values())
_APART = 2.6 * PEAK  # of one waveform from the next
WAVE = "Waveform of what was played last, where it is loudest; a flat top is clipped."
SPECTRUM = "Its spectrum, dB under the strongest line; clipping adds lines above the string's own."


class SeenSection(VBox):
    """Not there before something was played."""

    def __init__(self, player: Player) -> None:
        self.player = player
        self.head = Foldable("plot-head", "See what you hear", folded=True)
        self.wave, self.spectrum = Plot(height_px=170), Plot(height_px=190)
        super().__init__([self.head, self.wave, self.spectrum])
        player.observe(lambda _: self._show(), "played")
        self.head.observe(lambda _: self._show(), "opened")
        self._show()

    def _show(self) -> None:
        self.layout.display = None if self.player.played else "none"
        there = bool(self.player.played) and self.head.opened
        if there:
            pitch_hz, signals = self.player.played
            seen = seen_sounds(signals, pitch_hz)
            self.wave.set(*_wave(seen), label=WAVE)
            self.spectrum.set(*_spectrum(seen), label=SPECTRUM)
        self.wave.layout.display = self.spectrum.layout.display = None if there else "none"


def _line(n: int, name: str, x: np.ndarray, y: np.ndarray, dash: str | None = None) -> dict[str, Any]:
    colour, own = _LOOKS.get(name, _OTHERS[n % len(_OTHERS)])
    return {
        "name": name, "x": x, "y": y, "mode": "lines", "hoverinfo": "skip",
        "line": {"color": colour, "dash": dash or own, "width": 1.5},
    }  # fmt: skip


def _wave(seen: dict[str, SeenSound]) -> tuple[list, dict]:
    """One under the other, each with its name."""
    top = [-_APART * n for n in range(len(seen))]
    traces = [
        _line(n, name, 1e3 * one.time_s, one.wave + top[n], "solid") for n, (name, one) in enumerate(seen.items())
    ]  # fmt: skip
    notes = [
        {"text": name, "x": 0, "xref": "paper", "xanchor": "left", "y": top[n] + PEAK, "yanchor": "bottom",
         "showarrow": False}
        for n, name in enumerate(seen)
    ]  # fmt: skip
    return traces, {
        "height": 60 + 85 * len(seen), "showlegend": False, "margin": {"l": 44, "r": 8, "t": 4, "b": 34},
        "annotations": notes, "xaxis": {"title": {"text": "time in ms", "standoff": 2}},
        "yaxis": {"showticklabels": False, "showgrid": False, "range": [top[-1] - 1.1 * PEAK, _APART - PEAK]},
    }  # fmt: skip


def _spectrum(seen: dict[str, SeenSound]) -> tuple[list, dict]:
    traces = [_line(n, name, one.frequency_hz, one.level_db) for n, (name, one) in enumerate(seen.items())]
    return traces, {
        "height": 190, "showlegend": False, "margin": {"l": 44, "r": 8, "t": 4, "b": 34},
        "xaxis": {"type": "log", "title": {"text": "frequency in Hz", "standoff": 2}, "range": [1.301, 4.301]},
        "yaxis": {"title": {"text": "level in dB", "standoff": 2}, "range": [LEAST_DB, 3], "dtick": 30},
    }  # fmt: skip
