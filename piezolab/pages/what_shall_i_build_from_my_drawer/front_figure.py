"""The picture of what is traded: the builds that no other beats outright, by level and room; a touch chooses one."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from ipywidgets import VBox

from piezolab.pages.kit.blocks import Block, Buttons, paragraphs
from piezolab.pages.kit.plot import Plot
from piezolab.pages.what_shall_i_build_from_my_drawer.drawer_answer import KINDS, build_words, db
from piezolab.quantity import show
from piezolab.studies.choosing.drawer import Drawer
from piezolab.studies.choosing.one_build import Build

#: Wiring -> marker and colour: they differ in both.
MARKS = {
    "direct": ("x", "var(--pz-curve-bare, #D55E00)"), "follower": ("circle", "#0072B2"),
    "follower at a tap": ("diamond", "#56B4E9"), "follower at a divider": ("square", "#009E73"),
    "gain": ("triangle-up", "#E69F00"), "gain, bypassed": ("triangle-down", "#CC79A7"),
    "steady": ("star", "#000000"), "driven": ("hexagon", "#999933"),
}  # fmt: skip
MOST_ROOM_DB = 60.0  # shown; a build without a clip edge stands there
_ABOUT = (
    "More level or more room: none of these builds is beaten in level, room, hiss, current and parts at once. "
    "Touch one."
)


class FrontFigure(VBox):
    """The figure and what can be done with the point that is chosen. put: put it in; beside: draw and play it beside
    the chain."""

    def __init__(self, put: Callable[[Build], None], beside: Callable[[Build], None]) -> None:
        self.front: tuple[Build, ...] = ()
        self.drawer, self.chosen = Drawer(), 0
        self.about = Block("front", title="What do you trade?")
        self.plot = Plot(height_px=340, touched=self.choose)
        self.said = Block("front-point", spoken=True)
        self.row = Buttons("the chosen build", {
            "put": lambda: put(self.front[self.chosen]), "beside": lambda: beside(self.front[self.chosen]),
            "less": lambda: self.choose(self.chosen - 1), "more": lambda: self.choose(self.chosen + 1),
        })  # fmt: skip
        super().__init__([self.about, self.plot, self.said, self.row])
        self.show((), Drawer())

    def show(self, front: Sequence[Build], drawer: Drawer) -> None:
        """Draw a front; nothing where there is no choice on it."""
        self.front, self.drawer = tuple(front), drawer
        self.layout.display = None if len(self.front) > 1 else "none"
        if len(self.front) > 1:
            self.about.content = paragraphs(_ABOUT)
            self.choose(0)

    def choose(self, k: int) -> None:
        """Choose a point by its place on the front, from the least level up."""
        if not 0 <= k < len(self.front):
            return
        self.chosen, build = k, self.front[k]
        figures = build.figures
        told = (
            f"{k + 1} of {len(self.front)}: {build_words(build, self.drawer)}. Level {db(figures['gain_db'])}, room "
            f"{db(figures['headroom_db'])}, over hiss {db(figures['snr_db_a'])}, {build.parts} parts, "
            f"{show(figures['current_a'], 'A', 2)} from the battery."
        )
        self.said.content = paragraphs(told)
        self.row.show([
            {"word": "less", "label": "less level", "off": k == 0},
            {"word": "more", "label": "more level", "off": k == len(self.front) - 1},
            {"word": "beside", "label": "see and hear it beside yours"}, {"word": "put", "label": "put it in"},
        ])  # fmt: skip
        self._draw()

    def _draw(self) -> None:
        gain = np.array([build.figures["gain_db"] for build in self.front])
        room = np.array([min(build.figures["headroom_db"], MOST_ROOM_DB) for build in self.front])
        traces = []
        for kind, (mark, colour) in MARKS.items():
            at = [k for k, build in enumerate(self.front) if build.kind == kind]
            if at:
                traces.append({
                    "name": KINDS[kind], "x": gain[at], "y": room[at], "mode": "markers", "meta": {"touch": at},
                    "marker": {"symbol": mark, "color": colour, "size": 13},
                    "hovertemplate": "level %{x:.1f} dB, room %{y:.1f} dB<extra></extra>",
                })  # fmt: skip
        ring = {"symbol": "circle-open", "color": "var(--plot-text, #1c1c1c)", "size": 26, "line": {"width": 2.5}}
        traces.append({
            "name": "chosen", "x": gain[[self.chosen]], "y": room[[self.chosen]], "mode": "markers", "marker": ring,
            "hoverinfo": "skip", "showlegend": False, "meta": {"touch": [self.chosen]},
        })  # fmt: skip
        layout = {
            "height": 340, "hovermode": "closest", "hoverdistance": 30, "showlegend": True, "dragmode": False,
            "xaxis": {"title": {"text": "level at 1 kHz, dB", "standoff": 4}},
            "yaxis": {"title": {"text": "room for hard playing, dB", "standoff": 4}},
            "margin": {"l": 60, "r": 12, "t": 10, "b": 46},
        }  # fmt: skip
        narrow = {"font": {"size": 12}, "height": 330, "margin": {"l": 50, "r": 6, "t": 4, "b": 40}}
        label = (
            f"{len(self.front)} builds from {db(gain.min())} of level with {db(room[gain.argmin()])} of room to "
            f"{db(gain.max())} with {db(room[gain.argmax()])}."
        )
        self.plot.set(traces, layout, narrow=narrow, label=label)
