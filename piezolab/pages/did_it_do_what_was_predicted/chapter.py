"""Chapter 9, "Did it do what was predicted?": recordings of the bare pickup and of the stage against the chain."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np

from piezolab.chain import SignalChain
from piezolab.pages.did_it_do_what_was_predicted import sentences as say
from piezolab.pages.did_it_do_what_was_predicted.own_player import own_fold
from piezolab.pages.did_it_do_what_was_predicted.sound_input import SoundInput
from piezolab.pages.did_it_do_what_was_predicted.sweep_measure import SweepMeasure
from piezolab.pages.did_it_do_what_was_predicted.take_tables import hum_lines, numbers, third_octaves
from piezolab.pages.did_it_do_what_was_predicted.takes_download import TakesDownload
from piezolab.pages.did_it_do_what_was_predicted.takes_into_chain import TakesIntoChain
from piezolab.pages.did_it_do_what_was_predicted.takes_paper import takes_paper
from piezolab.pages.did_it_do_what_was_predicted.takes_state import TakesState
from piezolab.pages.did_it_do_what_was_predicted.tasks import TASKS
from piezolab.pages.kit.blocks import Block, paragraphs
from piezolab.pages.kit.bode import AUDIBLE, LOOKS, note_lines, note_names
from piezolab.pages.kit.sections import Section
from piezolab.pages.kit.skeleton import Chapter, Page, View
from piezolab.pitch import parse_tuning
from piezolab.studies.recordings.against_prediction import Compared, gain_by_stage

SLUG = "did-it-do-what-was-predicted"
_GRID = np.geomspace(*AUDIBLE, 200)
_TICKS = (20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000)

MATHS = r"""
<p>A note that is played again is known by its pitch. Of each of its partials the mean level with the stage, less that
of the bare pickup, is</p>
<p>$$D(f) = a + S(f) + 10\lg\left(1 + (f_c/f)^2\right)$$</p>
<p>$a$ holds the gain and how hard that note was plucked, $S$ what the chain is predicted to do besides the bare
pickup's corner $f_c$. Least squares over all partials give the bass restored at the lowest one, and $f_c$ from it; the
interval comes from the scatter between plucks (Student's $t$, each pluck's influence squared and summed: P. J. Huber,
1967). The points are slid to the predicted level, since $a$ alone says nothing.</p>
<p>Hum is looked for at multiples of 50 and 60 Hz, each ±0.25 Hz, in the longest quiet part; a mains is named where it
is 75 % likely. Loudness: ITU-R BS.1770. Pitch: P. McLeod and G. Wyvill, 2005. All from memory.</p>
<p>The sweep's frequency is $f_1 e^{t/L}$: its $k$-th harmonic runs $L\ln k$ ahead (A. Farina, 2000, from memory), so in
the response over time harmonics lie before it, each by itself. Level and phase are means over a twelfth of an octave.
Unknown values are fitted by least squares in their logarithms.</p>
"""


def _predicted(chain: SignalChain, kept: SignalChain | None, _phase: bool) -> View:
    """The prediction alone."""
    return _figure(chain, kept, "")


CHAPTER = Chapter(
    slug=SLUG,
    own=("pickup_c", "input", "gate_r"),
    view=_predicted,
    table=lambda chain: "",  # `make` puts in the one that knows the takes
    tasks=TASKS,
    maths=MATHS,
    certainty="Intervals hold for single notes and one gain; the prediction is from typical data. No certificate.",
    needs_stage=True,
    has_phase=False,
    drawn_on=("chain", "heard"),
    listed_on=("settled", "heard"),
    plot_px=360,
)


def make(link: str | None = None) -> Page:
    """The page, with all its parts at hand; `link` as in `page`."""
    state = TakesState.opened(link, SLUG)
    brought, by_sweep, disc, own = SoundInput(state), SweepMeasure(state), TakesIntoChain(state), own_fold(state)

    def view(chain: SignalChain, kept: SignalChain | None, _phase: bool) -> View:
        now = state.compared
        shown = _figure(chain, kept, now)
        return replace(shown, verdict=say.verdict(state.heard, now), advice=say.advice(state.heard, now))

    def octaves(chain: SignalChain) -> str:
        return third_octaves(state.heard, state.compared, chain)

    follows = ("settled", "heard")
    chapter = replace(
        CHAPTER,
        view=view,
        table=lambda chain: numbers(state.heard, state.compared),
        lead=lambda state: [brought],
        more=lambda state: [
            disc,
            own,
            Block("before-recording", paragraphs(say.BEFORE), title="Before you record"),
            Section(state, "third-octaves", "Third-octaves", octaves, folded=True, follows=follows),
            Section(state, "hum-lines", "Hum lines", lambda _: hum_lines(state.heard), folded=True, follows=follows),
            TakesDownload(state, lambda: takes_paper(state, by_sweep)),
            by_sweep,
        ],
    )
    page = Page(chapter, state)
    page.sound_input, page.sweep, page.disc, page.own_sound = brought, by_sweep, disc, own
    by_sweep.kept_in(page.keepsake)
    own.player.kept_in(page.keepsake)
    state.begin()
    return page


def _figure(chain: SignalChain, kept: SignalChain | None, now: Compared | str) -> View:
    """The stage's gain over frequency: predicted, and measured in third-octaves."""
    predicted = gain_by_stage(chain, _GRID)
    (blue, _, _), (orange, _, _), (green, _, _) = (LOOKS[look] for look in ("stage", "bare", "kept"))
    traces = [{"name": "predicted", "x": _GRID, "y": predicted, "mode": "lines", "line": {"color": blue, "width": 2.5}}]
    if kept is not None and kept.topology.powered:
        traces.append({
            "name": "predicted, kept", "x": _GRID, "y": gain_by_stage(kept, _GRID), "mode": "lines",
            "line": {"color": green, "width": 2.5, "dash": "dot"},
        })  # fmt: skip
    low, high = float(predicted.min()), float(predicted.max())
    if isinstance(now, Compared):
        hz, gain, half = now.measured_at()
        traces.append({
            "name": "takes, slid to that level", "x": hz, "y": gain, "mode": "markers",
            "marker": {"color": orange, "symbol": "circle-open", "size": 9, "line": {"width": 2, "color": orange}},
            "error_y": {"type": "data", "array": [float(one) for one in half], "color": orange, "thickness": 1.5},
            "hovertemplate": "%{x:.3s}Hz: %{y:.1f} dB",
        })  # fmt: skip
        low, high = min(low, float(gain.min())), max(high, float(gain.max()))
    notes = parse_tuning(chain.tuning)
    layout = {
        "height": 360, "margin": {"l": 52, "r": 10, "t": 34, "b": 40}, "hovermode": "closest",
        "legend": {"orientation": "h", "x": 0, "y": 1.02, "yanchor": "bottom"},
        "xaxis": {
            "type": "log", "range": [math.log10(AUDIBLE[0]), math.log10(AUDIBLE[1])], "tickvals": list(_TICKS),
            "ticktext": [f"{t // 1000}k" if t >= 1000 else str(t) for t in _TICKS],
            "title": {"text": "frequency, Hz", "standoff": 4},
        },
        "yaxis": {
            "range": [5 * math.floor(low / 5 - 0.5), 5 * math.ceil(high / 5 + 0.5)],
            "title": {"text": "what the stage brings, dB", "standoff": 2},
        },
        "shapes": note_lines(notes), "annotations": note_names(notes, 1.25),
    }  # fmt: skip
    narrow = {
        "height": 260, "font": {"size": 12}, "margin": {"l": 40, "r": 6, "t": 34, "b": 34},
        "xaxis": {"tickvals": [20, 100, 1000, 10000], "ticktext": ["20", "100", "1k", "10k"]},
        "annotations": note_names(notes, 1.9),
    }  # fmt: skip
    return View(traces, layout, narrow, say.label(now, chain))


def page(link: str | None = None) -> Any:
    """The page as a widget, for a link's chain; in a served page for that of its address, else the default chain."""
    return make(link).widget
