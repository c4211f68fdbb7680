"""What was played last as a picture, under the player: waveform and spectrum of each turn, folded."""

from __future__ import annotations

from typing import Any

from ipywidgets import VBox

from piezolab.pages.kit.player import NAMES, Player
from piezolab.pages.kit.plot import Plot
from piezolab.pages.kit.sections import Foldable
from piezolab.studies.listening import BARE, KEPT, STAGE
from piezolab.studies.seen_sound import LEAST_DB, SeenSound, seen_sounds

_LOOKS = {
    NAMES[BARE]: ("var(--pz-curve-bare, #D55E00)", "dash"),
    NAMES[STAGE]: ("var(--pz-curve-stage, #0072B2)", "solid"),
    NAMES[KEPT]: ("var(--pz-curve-kept, #009E73)", "dot"),
}
_OTHERS = list(_LOOKS.values())
WAVE = "Waveform of what was played last, at its loudest; a flat top is clipped."
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


def _traces(seen: dict[str, SeenSound], x: str, y: str, factor: float) -> list[dict[str, Any]]:
    traces = []
    for n, (name, one) in enumerate(seen.items()):
        colour, dash = _LOOKS.get(name, _OTHERS[n % len(_OTHERS)])
        traces.append({
            "name": name, "x": factor * getattr(one, x), "y": getattr(one, y), "mode": "lines", "hoverinfo": "skip",
            "line": {"color": colour, "dash": dash, "width": 1.5},
        })  # fmt: skip
    return traces


def _wave(seen: dict[str, SeenSound]) -> tuple[list, dict]:
    return _traces(seen, "time_s", "wave", 1e3), {
        "height": 170, "showlegend": True, "margin": {"l": 44, "r": 8, "t": 4, "b": 34},
        "xaxis": {"title": {"text": "time in ms", "standoff": 2}},
        "yaxis": {"title": {"text": "as played", "standoff": 2}, "showticklabels": False},
    }  # fmt: skip


def _spectrum(seen: dict[str, SeenSound]) -> tuple[list, dict]:
    return _traces(seen, "frequency_hz", "level_db", 1.0), {
        "height": 190, "showlegend": False, "margin": {"l": 44, "r": 8, "t": 4, "b": 34},
        "xaxis": {"type": "log", "title": {"text": "frequency in Hz", "standoff": 2}, "range": [1.301, 4.301]},
        "yaxis": {"title": {"text": "level in dB", "standoff": 2}, "range": [LEAST_DB, 3], "dtick": 30},
    }  # fmt: skip
