"""How builds spread: the share that fits, what matters most, what would help, the band of their curves, histograms."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from ipywidgets import VBox

from piezolab.chain import SignalChain
from piezolab.chain.assembly import assemble
from piezolab.pages.kit.blocks import bullets, paragraphs, table
from piezolab.pages.kit.bode import AUDIBLE
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.plot import Plot
from piezolab.pages.kit.sections import Figure, Foldable, Following
from piezolab.pages.kit.wish_words import WISHES
from piezolab.pages.what_shall_i_build_from_my_drawer.drawer_answer import GOES
from piezolab.pages.what_shall_i_build_from_my_drawer.front_figure import MOST_ROOM_DB
from piezolab.quantity import letter_code, show
from piezolab.studies.choosing.drawer import Drawer
from piezolab.studies.choosing.spread import BuildSpread, spread
from piezolab.studies.choosing.tolerance import BATTERY, ROOM, TEMP_K, TRANSISTOR
from piezolab.studies.choosing.wirings import CAPACITORS
from piezolab.studies.judging.wish import Wish

MOST_NAMED, LEAST_SHARE = 5, 0.01  # of the parts that matter
_BINS = 24
_COLOUR, _SHADE = "var(--pz-curve-stage, #0072B2)", "rgba(128,128,128,0.22)"
_NO_STAGE = "With no stage there is nothing to build that could spread."


class SpreadSection(VBox, Following):
    """The section; it is worked out once it is opened. hopes: gives the drawer and the wish."""

    def __init__(self, state: PageState, hopes: Callable[[], tuple[Drawer, Wish]]) -> None:
        self._hopes = hopes
        self.head = Foldable("spread", "How do builds spread?", folded=True)
        self.band, self.bars = Plot(height_px=260), Plot(height_px=300)
        super().__init__([self.head, self.band, self.bars])
        self.head.observe(lambda _: self._place(), "opened")
        self._drawn = False
        self._follow(state, self.head, self._work_out, "settled")
        self._place()

    def _place(self) -> None:
        for plot in (self.band, self.bars):
            plot.layout.display = None if self.head.opened and self._drawn else "none"

    def _failed(self, sentence: str) -> None:
        super()._failed(sentence)
        self._drawn = False
        self._place()

    def _work_out(self) -> None:
        chain, (drawer, wish) = self._state.chain, self._hopes()
        self._drawn = chain.topology.powered
        if self._drawn:
            found = spread(chain, drawer.resistor_percent, drawer.capacitor_percent, wish)
            self.head.content = spread_words(chain, drawer, found)
            for plot, (traces, layout, narrow, label) in ((self.band, band_figure(found)), (self.bars, bars(found))):
                plot.set(traces, layout, narrow=narrow, label=label)
        else:
            self.head.content = paragraphs(_NO_STAGE)
        self._place()


def spread_words(chain: SignalChain, drawer: Drawer, found: BuildSpread) -> str:
    """How many builds of this chain fit the wishes, which part matters most, and what would help."""
    what = "your transistor" if chain.transistor_measured else f"any {chain.type_number} of the bag"
    battery = "" if found.life_h is None else ", the battery from fresh to spent"
    said = paragraphs(
        f"Of {_thousands(found.size)} builds with {drawer.resistor_percent:g} % resistors, "
        f"{drawer.capacitor_percent:g} % capacitors and {what}, in a room up to {TEMP_K:.0f} K warmer or colder"
        f"{battery}, {_fitting(found)}."
    )
    rows = [(f"it {WISHES[name]}", _percent(share)) for name, share in found.fits_each.items() if share < 1]
    if len(rows) > 1:
        said += table(("wish that not all meet", "builds that fit it"), rows)
    if found.helps is not None:
        said += paragraphs(helping_words(chain, found))
    top = [(part_words(name, chain), each.total) for name, each in found.matters.items()
           if each.total[0] >= LEAST_SHARE][:MOST_NAMED]  # fmt: skip
    if top:
        which = "that is nearest to its limit" if found.fits == 1 else "that the fewest builds fit"
        overlap = " Shares overlap where parts act together." if sum(whole for _, (whole, _, _) in top) > 1.05 else ""
        said += paragraphs(
            f"Which part matters most, for the wish {which} (it {WISHES[found.tightest]})?{overlap}"
        )
        said += bullets([
            f"{words}: {100 * min(whole, 1.0):.0f} % of the spread "
            f"({100 * max(low, 0.0):.0f} to {100 * min(high, 1.0):.0f} %)"
            for words, (whole, low, high) in top
        ])  # fmt: skip
    return said


def _fitting(found: BuildSpread) -> str:
    """The share that fits, with its interval."""
    if found.fits == 1:
        return f"all fit your wishes (as far as so many draws tell, at least {100 * found.low:.1f} %)"
    if found.fits == 0:
        return f"none fits your wishes (as far as so many draws tell, at most {100 * found.high:.1f} %)"
    ends = f"{_percent(found.low).removesuffix(' %')} to {_percent(found.high)}"
    return f"{_percent(found.fits)} fit your wishes (as far as so many draws tell, {ends})"


def helping_words(chain: SignalChain, found: BuildSpread) -> str:
    """The one value whose change helps most."""
    helps = found.helps
    code = letter_code(helps.value, "F" if helps.key in (*CAPACITORS, "supply_c") else "ohm")
    where = GOES.get(helps.key, f"as {part_words(helps.key, chain).removeprefix('the ')}").removesuffix(", two of them")
    return (
        f"One other value helps most: {code} {where}. With it {_thousands(helps.after)} of {_thousands(helps.size)} "
        f"fit instead of {_thousands(helps.before)}."
    )


def part_words(key: str, chain: SignalChain) -> str:
    """What was drawn, in words."""
    own = {TRANSISTOR: "the transistor", ROOM: "the room's temperature", BATTERY: "the battery's age"}
    labels = {part.key: part.label for part in assemble(chain.values).parts}
    return own.get(key) or (f"the {labels[key]}" if key in labels else key)


def _thousands(count: int) -> str:
    return f"{count:,}".replace(",", "\u202f")


def _percent(share: float) -> str:
    """A share that is not all does not read as all."""
    return f"{100 * share:.0f} %" if share in (0.0, 1.0) or 0.005 <= share < 0.995 else f"{100 * share:.1f} %"


# -- pictures ----------------------------------------------------------------------------------------------------------
def band_figure(found: BuildSpread) -> Figure:
    """The middle build's level over frequency, in the band of 98 of 100."""
    low, middle, high = found.level_db
    edge = {"x": found.frequency, "mode": "lines", "line": {"width": 0}, "hoverinfo": "skip"}
    traces = [
        {**edge, "y": low, "showlegend": False, "name": "1st percentile"},
        {**edge, "y": high, "fill": "tonexty", "fillcolor": _SHADE, "name": "98 of 100 builds"},
        {
            "name": "the middle build", "x": found.frequency, "y": middle, "mode": "lines",
            "line": {"color": _COLOUR, "width": 2.5}, "hovertemplate": "%{x:.3s}Hz: %{y:.1f} dB<extra></extra>",
        },
    ]  # fmt: skip
    bottom, top = max(-40.0, float(low.min()) - 2.0), max(10.0, float(high.max()) + 2.0)
    layout = {
        "height": 260, "showlegend": True, "hovermode": "closest", "margin": {"l": 52, "r": 10, "t": 8, "b": 40},
        "xaxis": {
            "type": "log", "range": [float(np.log10(end)) for end in AUDIBLE], "tickvals": [20, 100, 1000, 10000],
            "ticktext": ["20", "100", "1k", "10k"], "title": {"text": "frequency, Hz", "standoff": 4},
        },
        "yaxis": {"range": [bottom, top], "title": {"text": "level, dB", "standoff": 2}},
    }  # fmt: skip
    narrow = {"font": {"size": 12}, "height": 230, "margin": {"l": 40, "r": 6, "t": 4, "b": 34}}
    at = int(np.argmin(np.abs(found.frequency - 1000.0)))
    label = (
        f"At 1 kHz 98 of 100 builds lie between {low[at]:.1f} and {high[at]:.1f} dB, the middle one at "
        f"{middle[at]:.1f} dB."
    )
    return traces, layout, narrow, label


def bars(found: BuildSpread) -> Figure:
    """How many builds have which level, low corner, room and battery life."""
    shown = {
        "level at 1 kHz, dB": found.figures.gain_db,
        "low corner, Hz": found.corner_hz,
        "room for hard playing, dB": np.clip(found.figures.headroom_db, -20.0, MOST_ROOM_DB),
        "battery life, h": found.life_h,
    }
    shown = {name: values[np.isfinite(values)] for name, values in shown.items() if values is not None}
    shown = {name: values for name, values in shown.items() if len(values)}
    traces, layout, told = [], {"height": 300, "showlegend": False, "bargap": 0.05, "hovermode": "closest"}, []
    for k, (name, values) in enumerate(shown.items()):
        n = "" if k == 0 else str(k + 1)
        traces.append(_bar(values, n))
        across, down = k % 2, k // 2
        layout[f"xaxis{n}"] = {
            "domain": [0.54 * across, 0.46 + 0.54 * across], "anchor": f"y{n}",
            "title": {"text": name, "standoff": 2}, "nticks": 5,
        }  # fmt: skip
        layout[f"yaxis{n}"] = {
            "domain": [0.62 - 0.62 * down, 1 - 0.62 * down], "anchor": f"x{n}", "showticklabels": False,
        }  # fmt: skip
        low, middle, high = np.percentile(values, [1, 50, 99])
        what, _, unit = name.rpartition(", ")
        told.append(f"{what} {show(low, unit, 2)} to {show(high, unit, 2)}, middle {show(middle, unit, 2)}")
    layout["margin"] = {"l": 16, "r": 12, "t": 8, "b": 44}
    narrow = {"font": {"size": 12}, "height": 320, "margin": {"l": 8, "r": 6, "t": 4, "b": 40}}
    return traces, layout, narrow, f"98 of 100 builds: {'; '.join(told)}."


def _bar(values: np.ndarray, n: str) -> Mapping[str, Any]:
    """A histogram's bars in the axes numbered n."""
    low, high = float(values.min()), float(values.max())
    if high - low < 1e-6 * max(abs(high), 1e-9):
        low, high = low - 0.5, high + 0.5
    count, edges = np.histogram(values, _BINS, (low, high))
    return {
        "type": "bar", "x": 0.5 * (edges[1:] + edges[:-1]), "y": count, "width": (high - low) / _BINS,
        "xaxis": f"x{n}", "yaxis": f"y{n}", "marker": {"color": _COLOUR},
        "hovertemplate": "%{x:.3g}: %{y} builds<extra></extra>",
    }  # fmt: skip
