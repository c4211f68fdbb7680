"""Chapter 5, "How loud before it clips?": level at the input, the first clip edge, added harmonics, battery life."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from piezolab.chain import SignalChain
from piezolab.pages.how_loud_before_it_clips.knock_section import KnockSection
from piezolab.pages.how_loud_before_it_clips.level_figures import PLAYING, axes, fading_figure, found, line
from piezolab.pages.how_loud_before_it_clips.level_path_figure import path_figure
from piezolab.pages.how_loud_before_it_clips.room_section import RoomSection
from piezolab.pages.how_loud_before_it_clips.seen_sound_section import SeenSoundSection
from piezolab.pages.how_loud_before_it_clips.tasks import TASKS
from piezolab.pages.kit.battery_words import life as life_words
from piezolab.pages.kit.blocks import paragraphs, table
from piezolab.pages.kit.clip_words import ASSUMED, cause_words
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.sections import PlotSection, Section
from piezolab.pages.kit.sentences import decibel_words, not_working
from piezolab.pages.kit.skeleton import Chapter, Page, View
from piezolab.pages.kit.touch_words import offer
from piezolab.quantity import show
from piezolab.sheets.what_and_why import change_words
from piezolab.studies.added_harmonics import Distortion, transfer_curve
from piezolab.studies.bias import bias
from piezolab.studies.first_touch import room_touch
from piezolab.studies.judging.judgement import judgement
from piezolab.studies.levels import Levels, levels

SLUG = "how-loud-before-it-clips"
#: Added harmonics as a part of the note, and what that sounds like. Ours (common practice, no source).
ADDED = (
    (0.001, "clean"),
    (0.01, "clean, with a trace of warmth"),
    (0.05, "warm"),
    (0.15, "growling"),
    (math.inf, "plainly distorted"),
)


def verdict_words(chain: SignalChain) -> str:
    """Whether hard playing clips, what clips first, and what that sounds like."""
    of, bent = found(chain)
    if not float(of.output_v_peak) > 0:
        return "No signal arrives, so nothing can clip."
    broken = not_working(bias(chain)) if chain.topology.powered else ""
    if broken:
        return f"This stage does not work at rest: {broken}"
    edges = judgement(chain).edges
    room, cause = edges.headroom_db, cause_words(chain, edges.chain_cause, edges.chain_transistor)
    peak = show(edges.play_v, "V", 2)
    if edges.clips:
        words = f"Hard playing ({peak} peak) clips: it is {-room:.1f} dB too much. First, {cause}."
    else:
        near = "but only just" if room < 3 else "with room to spare" if room > 10 else "with some room"
        words = (
            f"Hard playing ({peak} peak) does not clip, {near}: it is {room:.1f} dB under the edge. Beyond, {cause}."
        )
    if edges.assumed:
        words += f" {ASSUMED}"
    if bent is not None and not edges.clips:
        words += f" Hard playing itself sounds {added_words(float(bent.added[-1]))}."
    return words


def added_words(part: float) -> str:
    """Words for added harmonics."""
    return next(words for limit, words in ADDED if part < limit or limit == math.inf)


# -- what moves with a slider -------------------------------------------------------------------------------------
def view(chain: SignalChain, kept: SignalChain | None, phase: bool) -> View:
    """The curve from pickup to input, with edges, playing levels and the input's ceiling."""
    of = levels(chain)
    curve = transfer_curve(chain)
    traces = [
        line("if nothing bent", curve.pickup_v, curve.straight_v, "var(--pz-curve-bare, #D55E00)", "dash"),
        line("this chain", curve.pickup_v, curve.load_v, "var(--pz-curve-stage, #0072B2)", "solid"),
    ]
    if kept is not None:
        held = transfer_curve(kept)
        traces.append(line("kept", held.pickup_v, held.load_v, "var(--pz-curve-kept, #009E73)", "dot"))
    x = [sign * float(edge) for sign, edge in ((1, of.up), (-1, of.down)) if float(edge) <= curve.pickup_v[-1]]
    traces.append({
        "name": "clipping begins", "x": x, "y": list(np.interp(x, curve.pickup_v, curve.load_v)), "mode": "markers",
        "marker": {"symbol": "x", "size": 11, "color": "var(--pz-wrong, #a03000)"},
        "hovertemplate": "clips at %{x:.3s}V<extra></extra>",
    })  # fmt: skip
    layout, narrow = axes(chain, curve.pickup_v, curve.load_v)
    return View(traces, layout, narrow, "Voltage at the input against pickup voltage.")


# -- what is looked at when the hand rests ------------------------------------------------------------------------
def numbers(chain: SignalChain) -> str:
    """Level and added harmonics of soft, normal and hard playing; then the edges."""
    of, bent = found(chain)
    rows = []
    for n, (name, db) in enumerate(PLAYING):
        peak = float(of.output_v_peak) * 10 ** (db / 20)
        dbu = f"{float(of.output_dbu) + db:.1f} dBu".replace("-", "−") if peak > 0 else "nothing"
        rows.append((
            f"{name} playing", show(float(of.play_v) * 10 ** (db / 20), "V"), show(peak, "V"), dbu, _added(bent, n),
        ))  # fmt: skip
    head = ("", "pickup, peak", "at the input, peak", "at the input, rms", "added harmonics (THD)")
    return table(head, rows, "As if the input did not clip; a pure note of 1 kHz.") + _edges(chain, of)


def _added(bent: Distortion | None, n: int) -> str:
    if bent is None:
        return "none"
    part = float(bent.added[n])
    if math.isnan(part):
        return "no sound"
    beyond = ", and clipping" if bent.beyond[n] else ""
    return f"{100 * part:.2g} %: {added_words(part)}{beyond}"


def _edges(chain: SignalChain, of: Levels) -> str:
    rows = []
    for name, edge, cause, transistor in (
        ("rising", of.up, of.cause_up, of.transistor_up), ("falling", of.down, of.cause_down, of.transistor_down),
    ):  # fmt: skip
        if math.isfinite(edge):
            room = 20 * math.log10(float(edge) / float(of.play_v)) if float(edge) > 0 else -math.inf
            against = (
                decibel_words(-room).replace("down", "under").replace("up", "over") if math.isfinite(room) else "always"
            )
            what = cause_words(chain, str(cause), str(transistor))
            rows.append((f"{name} pickup voltage", show(float(edge), "V"), f"hard playing is {against}", what))
        else:
            rows.append((f"{name} pickup voltage", "never", "", ""))
    caption = "Where clipping begins, either way, and what gives."
    return table(("clipping begins at", "pickup", "against it", "what happens"), rows, caption)


def battery_words(chain: SignalChain) -> str:
    """How long the battery lasts and how it ends."""
    lasts = judgement(chain).life
    if lasts is None:
        return paragraphs(
            "An adapter does not run down." if chain.topology.powered else "With no stage there is nothing to feed."
        )
    if lasts.batteries is None:
        return paragraphs(life_words(lasts))
    inside = f"near its end its own resistance, {show(lasts.own_ohm, 'ohm', 2)}, takes {show(lasts.own_v, 'V', 2)}"
    return paragraphs(
        life_words(lasts),
        f"Not counted: {inside}. A steady drain at room temperature, from typical figures: a guide, not a promise.",
    )


def more(state: PageState) -> list[Any]:
    """The sections below the controls."""
    return [
        SeenSoundSection(state),
        RoomSection(state),
        PlotSection(state, "From the disc to the input", path_figure, folded=True),
        Section(state, "battery", "How long does the supply last?", battery_words),
        PlotSection(state, "While the battery runs down", fading_figure, folded=True),
        KnockSection(state),
    ]


MATHS = r"""
<p>At 1 kHz the capacitors hold their voltage, and the transistor moves along a straight line, the a.c. load line, while
the square law says how much current goes with it:</p>
<p>$$I_D = \beta\,(V_{GS} - V_{GS(\mathrm{off})})^2\,(1 + \lambda V_{DS})$$</p>
<p>It cuts off where $I_D$ falls under 1 % of rest, runs out of voltage where $V_{DS}$ falls under $V_{GS} -
V_{GS(\mathrm{off})}$, and the gate conducts from 1 µA. Room is $20\lg(V_\mathrm{clip}/V_\mathrm{hard})$. A square law
alone adds a second harmonic of $v/(4\,(V_{GS} - V_{GS(\mathrm{off})}))$ for a drive of $v$.</p>
<p>Source: H. Shichman and D. A. Hodges, IEEE J. Solid-State Circuits SC-3 (1968) 285; the load line is worked out from
the nodal equations of the whole chain. A knock is another matter: charge
stays behind where the gate conducted, so it is followed in time.</p>
"""

CHAPTER = Chapter(
    slug=SLUG,
    own=("play_v", "input", "source_r", "supply_v"),
    view=view,
    words=lambda chain: (verdict_words(chain), ()),
    table=numbers,
    tasks=TASKS,
    maths=MATHS,
    has_phase=False,
    more=more,
    touch=lambda chain: offer(room_touch(chain), change_words),
    clips=True,
)


def make(link: str | None = None) -> Page:
    """The page, with all its parts at hand; `link` as in `page`."""
    return Page(CHAPTER, PageState.opened(link, SLUG))


def page(link: str | None = None):
    """The page as a widget, for a link's chain; in a served page for that of its address, else the default chain."""
    return make(link).widget
