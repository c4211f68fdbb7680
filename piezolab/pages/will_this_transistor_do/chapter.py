"""Chapter 2, "Will this transistor do?": where the part in the hand rests, until when, and with which resistor."""

from __future__ import annotations

from dataclasses import dataclass, replace
from html import escape
from typing import Any

from piezolab.chain import SignalChain
from piezolab.pages.kit.battery_words import life
from piezolab.pages.kit.blocks import paragraphs, table
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.sections import PlotSection, Section
from piezolab.pages.kit.sentences import not_working
from piezolab.pages.kit.skeleton import Chapter, Page, View
from piezolab.pages.kit.tasks import MakeTask, NumberTask, PickTask
from piezolab.pages.kit.wish_words import other_types_words
from piezolab.pages.will_this_transistor_do import curves as draw
from piezolab.pages.will_this_transistor_do import sentences as say
from piezolab.pages.will_this_transistor_do.backwards import Backwards
from piezolab.pages.will_this_transistor_do.measuring import Measuring
from piezolab.quantity import show
from piezolab.studies.bias import Bias, bias, bias_of, bias_population, spread
from piezolab.studies.choosing.build_figures import type_figures
from piezolab.studies.fading_battery import Fading, battery_range, fading
from piezolab.studies.judging.judgement import judgement
from piezolab.studies.judging.wish import BuildFigures
from piezolab.studies.swing import Swing, swing_of
from piezolab.studies.transistor_curves import CLOUD, Curves, curves

SLUG = "will-this-transistor-do"
_MEASURED = {"jfet_idss": None, "jfet_vds": None, "jfet_vgsoff": None, "jfet_lambda": None}


@dataclass(frozen=True)
class RestFigures:
    """What the studies say of a chain with a stage. kind, parts: of the same chain with parts of the type, whatever was
    measured; spent: at the battery's end voltage, None for an adapter; share: of the parts that work."""

    own: Curves
    kind: Curves
    parts: BuildFigures
    rest: Bias
    spent: Bias | None
    edges: Swing
    share: float


def found(chain: SignalChain) -> RestFigures:
    """Ask the studies, which keep their answers."""
    typical = chain.but(_MEASURED)
    own = curves(chain)
    kind = own if typical == chain else curves(typical)
    parts = type_figures(typical, CLOUD)
    down = battery_range(chain)
    spent = None if down is None else bias_of(chain.values.but(supply_v=down[1]))
    edges = swing_of(chain)
    return RestFigures(own, kind, parts, own.rest, spent, edges, float(parts.works.mean()))


# -- what moves with a slider -----------------------------------------------------------------------------------
def view(chain: SignalChain, kept: SignalChain | None, phase: bool) -> View:
    """The transfer curve, and whether the transistor works at rest."""
    own = curves(chain)
    held = curves(kept) if kept is not None else None
    traces, layout, narrow, label = draw.transfer(chain, own, curves(chain.but(_MEASURED)), held)
    return View(traces, layout, narrow, label, say.works(chain, own.rest, None))


# -- what is looked at when the hand rests ----------------------------------------------------------------------
def headline(chain: SignalChain) -> tuple[str, list[str]]:
    """Verdict and advice: all parts of the type are asked, and how loud it may get."""
    now = found(chain)
    judged = judgement(chain)
    share = None if chain.transistor_measured or judged.working is None else judged.working.share
    verdict = say.verdict(chain, now.rest, now.spent, judged.edges, share)
    return verdict, say.advice(chain, now.rest, float(now.edges.headroom))


def numbers(chain: SignalChain) -> str:
    """The operating point now, with a spent battery, and over the type."""
    now = found(chain)
    ends = spread(bias_population(chain.but(_MEASURED)))
    cells = (
        ("drain current at rest", "i_d", "A"),
        ("source, to ground: what your meter shows", "v_s", "V"),
        ("drain, to ground", "v_d", "V"),
        ("drain to source", "v_ds", "V"),
        ("gate to source", "v_gs", "V"),
        ("transconductance g_m", "g_m", "S"),
        ("output conductance g_ds", "g_ds", "S"),
        ("current from the battery", "supply_current", "A"),
    )
    rows = [
        (
            label, show(float(getattr(now.rest, key)), unit),
            "—" if now.spent is None else show(float(getattr(now.spent, key)), unit),
            " to ".join(dict.fromkeys(show(end, unit, 2) for end in ends[key])),
        )
        for label, key, unit in cells
    ]  # fmt: skip
    rows.append(("region", _state(now.rest), "—" if now.spent is None else _state(now.spent), ""))
    rows.append(("stroke at which the stage alone clips, up, down", _edges(now.edges), "", ""))
    head = ("", f"now ({show(chain.supply_v, 'V', 2)})", "spent battery", f"98 of 100 {chain.type_number}s")
    if now.spent is None:  # an adapter: nothing runs down
        head, rows = (head[0], head[1], head[3]), [(row[0], row[1], row[3]) for row in rows]
    return table(head, rows, _caption(chain)) + paragraphs(*filter(None, [_life(chain)]))


def _state(point: Bias) -> str:
    name = "conducting" if str(point.gate) == "conducting" else str(point.region)
    return say.STATES[name][0]


def _edges(edges: Swing) -> str:
    return ", ".join(say.volts(v) if v < float("inf") else "never reached" for v in (edges.up, edges.down))


def _life(chain: SignalChain) -> str:
    found_life = judgement(chain).life
    return "" if found_life is None else life(found_life)


def _caption(chain: SignalChain) -> str:
    if chain.transistor_measured:
        return "With the transistor that you measured."
    return f"With a typical {chain.type_number}, not yours: measure yours below."


def regions(chain: SignalChain) -> str:
    """The four states, which one this chain is in, and what each sounds like."""
    if not chain.topology.powered:
        return ""
    here = _state(found(chain).rest)
    rows = []
    for name, meaning, sound in say.STATES.values():
        mark = " (this chain at rest)" if name == here else ""
        told = f"<dd>{escape(meaning)} <em>{escape(sound)}</em></dd>"
        rows.append(f"<dt><strong>{escape(name)}</strong>{mark}</dt>{told}")
    return f"<dl>{''.join(rows)}</dl>"


def _fading(chain: SignalChain, kept: SignalChain | None) -> draw.Figure:
    held: Fading | None = fading(kept) if kept is not None else None
    now = fading(chain)
    if now is None:
        return [], {}, {}, "An adapter does not fade, and without a stage there is nothing to feed."
    if not now.bias.saturated.any():
        return [], {}, {}, "It does not work with a fresh battery either, so there is nothing to follow."
    return draw.fading(chain, now, held)


def _load(chain: SignalChain, _kept: SignalChain | None) -> draw.Figure:
    return draw.load_lines(found(chain).own) if chain.topology.powered else ([], {}, {}, "no stage, no load line")


def _parts(chain: SignalChain, _kept: SignalChain | None) -> draw.Figure:
    if not chain.topology.powered:
        return [], {}, {}, "no stage, no transistor"
    now = found(chain)
    return draw.parts(chain, now.kind, now.parts)


# -- tasks ------------------------------------------------------------------------------------------------------
_BOOK = {"jfet_idss": 8e-3, "jfet_vgsoff": 4.0, "jfet_lambda": 0.0, "jfet_ig": 0.0}


def _half() -> int:
    half = SignalChain({**_BOOK, "jfet_vgsoff": 5.0, "return": "divider"})
    works = [str(bias(half.but(source_r=r)).region) == "saturation" for r in (1e3, 10e3, 100e3)]
    return works.index(True) if any(works) else 3


def _all_parts(chain: SignalChain) -> tuple[bool, str]:
    if not chain.topology.inverts:
        return False, "Not yet: put a gain stage in first (under “more about the stage”)."
    now = found(chain)
    broken = not_working(now.rest) or (not_working(now.spent) if now.spent is not None else "")
    if broken:
        return False, f"Not yet: {broken}"
    gain = float(judgement(chain).sound.at_1khz_db)
    if gain < 10:
        return False, f"It works, but gives only {show(gain, 'dB')} of gain."
    return True, f"Right: {show(gain, 'dB')} of gain, and it works down to a spent battery."


TASKS = (
    NumberTask(
        "bias-source",
        "A transistor has I_DSS 8 mA and V_GS(off) −4 V (and no channel-length modulation). The gate is at ground, the "
        "source resistor has 1 kΩ. What does a meter show across it?",
        "At half of V_GS(off) a quarter of I_DSS flows.",
        unit="V",
        right=lambda: float(bias(SignalChain({**_BOOK, "source_r": 1e3})).v_s),
        within=0.03,
        explain="2 mA through 1 kΩ is the very voltage at which 2 mA flow: that is what “at rest” means.",
    ),
    PickTask(
        "bias-half",
        "A follower's gate sits at half of a 9 V battery, and V_GS(off) is −5 V. Which source resistor keeps the "
        "transistor in saturation?",
        "Set it up: gate resistor to a divider, then try the three. Watch the drain-to-source voltage.",
        options=("1 kΩ", "10 kΩ", "100 kΩ", "None of them."),
        right=_half,
        told=(
            "More current only lowers the voltage from gate to source a little; the drain is still too near.",
            "The source follows the gate; the drain would have to be 5 V above the gate, and only 4.5 V are there.",
            "The less current, the closer the source rises to gate plus 5 V, which is more than the battery.",
            "The drain must lie 5 V above the gate; from half of 9 V only 4.5 V are left, whatever the resistor.",
        ),
    ),
    MakeTask(
        "bias-gain",
        "Put a 2N3819 into a gain stage and make it work from a fresh battery to a spent one, with at least 10 dB of "
        "gain.",
        "Its current is large: with these resistors the drain drops to nothing. “Solve it backwards” knows a pair.",
        judge=lambda chain: _all_parts(chain) if chain.jfet == "2N3819" else (False, "Not yet: choose a 2N3819."),
    ),
)

MATHS = r"""
<p>In saturation the gate alone sets the current; $V_\mathrm{off}$ is V_GS(off), negative, and
$\beta = I_\mathrm{DSS}/V_\mathrm{off}^2$:</p>
<p>$$I_D = \beta\,(V_{GS} - V_\mathrm{off})^2\,(1 + \lambda V_{DS})$$</p>
<p>That holds while $V_{DS} \ge V_{GS} - V_\mathrm{off}$; below is the triode region,</p>
<p>$$I_D = \beta\,V_{DS}\,\bigl(2(V_{GS} - V_\mathrm{off}) - V_{DS}\bigr)(1 + \lambda V_{DS})$$</p>
<p>The stage allows $V_{GS} = V_G - R_S I_D$: a straight line in the upper plot. The two meet at rest. With no drain
resistor saturation needs $V_+ \ge V_G - V_\mathrm{off}$, whatever $R_S$ is.</p>
<p>Two readings $V_1, V_2$ across $R_1, R_2$ are two points of the first formula. With
$k = \sqrt{I/(1+\lambda V_{DS})}$ they lie on a straight line,</p>
<p>$$|V_\mathrm{off}| = \frac{V_2 k_1 - V_1 k_2}{k_1 - k_2}, \qquad \sqrt\beta = \frac{k_1 - k_2}{V_2 - V_1}$$</p>
<p>“Between” means: whatever the true resistors, the digits that the meter does not show, and $\lambda$ from 0 to 0.05
per volt.</p>
<p>The parts of a type: V_GS(off) spread evenly in the logarithm over the sheet's range, $\beta$ by 15 % about the
sheet's typical part, and only those within both limits of the sheet. That is our model of what makers ship.</p>
<p>Battery: its voltage falls evenly with the charge taken, from fresh to end voltage.</p>
<p>Sources: H. Shichman and D. A. Hodges, IEEE J. Solid-State Circuits SC-3 (1968) 285; bias line as in any text on
transistors. The spread and the battery's course are common practice, no source.</p>
"""

CHAPTER = Chapter(
    slug=SLUG,
    own=("jfet", "source_r", "drain_r", "supply_v"),
    view=view,
    table=numbers,
    headline=headline,
    tasks=TASKS,
    maths=MATHS,
    needs_stage=True,
    has_phase=False,
    other=("over frequency", draw.over_frequency),
    plot_px=385,
)


def make(link: str | None = None) -> Page:
    """The page, with all its parts at hand; `link` as in `page`."""
    state = PageState.opened(link, SLUG)
    backwards = Backwards(state)
    measuring = Measuring(state, lambda: (backwards.wish, backwards.choice))

    def more(state: PageState) -> list[Any]:
        return [
            backwards,
            Section(state, "regions", "Where it can be, and what that sounds like", regions),
            PlotSection(state, "While the battery fades", _fading, height_px=330),
            PlotSection(state, "Which parts of the type would work here", _parts, height_px=380),
            Section(state, "types", "Other transistors that fit", other_types_words, folded=True),
            PlotSection(state, "Load lines", _load, height_px=380, folded=True),
        ]

    page = Page(replace(CHAPTER, more=more, beside=lambda state: [measuring]), state)
    measuring.kept_in(page.keepsake)
    page.measuring, page.backwards = measuring, backwards
    return page


def page(link: str | None = None):
    """The page as a widget, for a link's chain; in a served page for that of its address, else the default chain."""
    return make(link).widget
