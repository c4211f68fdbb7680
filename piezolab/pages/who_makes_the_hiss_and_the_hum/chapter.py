"""Chapter 4, "Who makes the hiss and the hum?": what is left when the playing stops, who makes it, and what helps."""

from __future__ import annotations

import math
from collections.abc import Callable
from html import escape
from typing import Any

import numpy as np
from ipywidgets import VBox

from piezolab import catalogue
from piezolab.catalogue.advice_texts import advice_texts
from piezolab.chain import SignalChain
from piezolab.pages.kit.blocks import Buttons, paragraphs, table
from piezolab.pages.kit.curve_names import SLIM, WIDE
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.sections import PlotSection, Section
from piezolab.pages.kit.sentences import MAINS
from piezolab.pages.kit.skeleton import Chapter, Page, View
from piezolab.pages.kit.touch_words import offer
from piezolab.pages.who_makes_the_hiss_and_the_hum import sentences as say
from piezolab.pages.who_makes_the_hiss_and_the_hum.getting_in import getting_in
from piezolab.pages.who_makes_the_hiss_and_the_hum.hiss_figures import (
    axes,
    density_figure,
    found,
    hiss_trace,
    playing_trace,
    stems,
    words_on_plot,
)
from piezolab.pages.who_makes_the_hiss_and_the_hum.tasks import MATHS, TASKS
from piezolab.quantity import show
from piezolab.studies.advice import Advice, AdviceStep, hiss_advice, hum_advice
from piezolab.studies.first_touch import quiet_touch
from piezolab.studies.hiss import Noise, gate_resistor_sweep, quieter_transistors
from piezolab.studies.hum import WAYS
from piezolab.studies.judging.hum_and_hiss import INAUDIBLE_DB, loudness
from piezolab.studies.matters import effects

SLUG = "who-makes-the-hiss-and-the-hum"
LEAST_DB = 0.5  # a step that brings less is not listed
_NO_SIGNAL = "No signal arrives, so there is nothing to compare hum and hiss with."


# -- what moves with a slider -------------------------------------------------------------------------------------
def view(chain: SignalChain, kept: SignalChain | None, phase: bool) -> View:
    """What is left when the playing stops, beside the playing."""
    humming, _ = found(chain)
    traces = [playing_trace(chain), hiss_trace("hiss", chain, ("var(--pz-curve-stage, #0072B2)", "solid"))]
    if kept is not None:
        traces.append(hiss_trace("kept: hiss", kept, ("var(--pz-curve-kept, #009E73)", "dot")))
    for way in WAYS:
        if humming.way_v_rms(way) > 0:
            traces += stems(f"hum: {say.WAY_ON_PLOT[way]}", humming, way)
    span = [-150.0, 30.0]
    layout, narrow = axes(chain, "dB against hard playing", span)
    layout |= {"showlegend": False, "annotations": words_on_plot(chain, traces, span, WIDE, 1.25)}
    narrow["annotations"] = words_on_plot(chain, traces, span, SLIM, 1.9)
    narrow["yaxis"] = {"title": {"text": "dB"}}  # the line that it is against is named on the plot
    label = "Playing and hiss as curves, hum as lines, in dB against hard playing, over frequency."
    return View(traces, layout, narrow, label)


def words(chain: SignalChain) -> tuple[str, list[str]]:
    """Verdict and first advice."""
    _, hissing = found(chain)
    loud = loudness(chain)
    return say.verdict(chain, loud, hissing), say.best_step(hum_advice(chain).steps, loud)


# -- sections -----------------------------------------------------------------------------------------------------
def numbers(chain: SignalChain) -> str:
    """Hum by way in, hiss by maker."""
    humming, hissing = found(chain)
    rows = [
        (
            f"hum {say.WAY_NAMES[way]}", show(humming.way_v_rms(way), "V"), _re(humming.way_relative_db(way)),
        )
        for way in WAYS
    ]  # fmt: skip
    loud = loudness(chain)
    rows.append(("all hum together", show(humming.output_v_rms, "V"), _re(humming.relative_db)))
    rows.append(("all hum to the ear", "", _re(float(loud.hum_db))))
    rows.append(("hiss, 20 Hz to 20 kHz", show(float(hissing.output_v_rms), "V"), _re(-_snr(hissing, weighted=False))))
    rows.append(("hiss as the ear weighs it (A)", show(float(hissing.output_v_rms_a), "V"), _re(-_snr(hissing))))
    caption = (
        "Rms volts at the input's terminals, and against hard playing (a sine of 1 kHz). The plot shows hiss in thirds "
        "of an octave. To the ear: hum counts by the worse of its A-weighted level and its flat level less 10 dB, a "
        "rule of our own."
    )
    return table(("", "at the input", "against hard playing"), rows, caption) + _makers(chain, hissing)


def _makers(chain: SignalChain, hissing: Noise) -> str:
    at_1k = int(np.argmin(np.abs(hissing.frequency - 1000.0)))
    gain = float(hissing.gain[at_1k])
    rows = []
    for name, share in hissing.shares.items():
        density = math.sqrt(float(hissing.density[name][at_1k]))
        at_pickup = show(density / gain, "V/rtHz") if gain > 0 else "—"
        rows.append((say.maker_words(name), f"{100 * float(share):.1f} %", show(density, "V/rtHz"), at_pickup))
    head = ("who makes the hiss", "share (A-weighted power)", "at the input, 1 kHz", "as if at the pickup, 1 kHz")
    guessed = chain.topology.powered and not chain.transistor_measured
    typical = f" With a typical {chain.type_number}, not yours." if guessed else ""
    return table(head, rows, f"The input's own hiss is typical of its kind.{typical}")


def _snr(hissing: Noise, weighted: bool = True) -> float:
    level = float(hissing.output_v_rms_a if weighted else hissing.output_v_rms)
    signal = float(hissing.signal_v_rms)
    return 20 * math.log10(signal / level) if signal > 0 else -math.inf


def _re(level_db: float) -> str:
    if math.isnan(level_db) or level_db == math.inf:
        return "no signal"
    return "nothing" if level_db == -math.inf else show(level_db, "dB")


def steps_html(chain: SignalChain) -> str:
    """All steps, ranked, against hum and against hiss."""
    if not found(chain)[0].signal_v_rms > 0:
        return paragraphs(_NO_SIGNAL)
    steps = hum_advice(chain)
    test = say.touch_test(steps.steps, loudness(chain))
    quiet = "Your hiss is too quiet to hear already: nothing needs doing."
    hiss = f"<h3>Against hiss</h3>{paragraphs(quiet)}" if hiss_is_quiet(chain) else None
    return _ranked("Against hum", steps, test) + (hiss or _ranked("Against hiss", hiss_advice(chain)))


def hiss_is_quiet(chain: SignalChain) -> bool:
    """Whether it cannot be heard as it is."""
    return -float(found(chain)[1].snr_db_a) <= INAUDIBLE_DB


def _ranked(title: str, advice: Advice, above: str = "") -> str:
    """A list of steps; one that would do harm on this chain, or bring nothing to hear, is no advice."""
    items = []
    for step in advice.steps:
        if not worth_trying(step):
            continue
        row = advice_texts()[step.name]
        caution = f' <strong class="pz-caution">{escape(row.caution)}</strong>' if row.caution else ""
        items.append(
            f"<li><strong>{escape(row.title)}</strong>: {escape(say.step_words(step))}. {escape(row.text)}"
            f"{caution}</li>"
        )
    above = f"<p>{escape(above)}</p>" if above else ""
    return f"<h3>{escape(title)}</h3>{above}<ol>{''.join(items)}</ol>" if items else ""


def worth_trying(step: AdviceStep) -> bool:
    """Whether a step can bring something to hear on this chain."""
    return step.less_db[1] >= LEAST_DB


class TryOut(VBox):
    """Buttons that put the computed steps into the chain, so that one sees and hears what they do."""

    def __init__(self, state: PageState) -> None:
        self._state = state
        self._steps: dict[str, Any] = {}
        does: dict[str, Callable[[], None]] = {name: self._doer(name) for name in advice_texts()}
        self.buttons = Buttons("try a step out; undo takes it back", does)
        super().__init__([self.buttons])
        state.observe(lambda _: self._wait(), "settled")
        self._wait()

    def _wait(self) -> None:
        self._state.at_rest.put(self, self._show)

    def _doer(self, name: str) -> Callable[[], None]:
        return lambda: self._state.put(self._state.chain.but(self._steps[name].changes))

    def _show(self) -> None:
        chain = self._state.chain
        hiss = () if hiss_is_quiet(chain) else hiss_advice(chain).steps
        steps = [s for s in (*hum_advice(chain).steps, *hiss) if s.computed and worth_trying(s)]
        self._steps = {step.name: step for step in steps}
        self.buttons.show([
            {"word": s.name, "label": f"try: {advice_texts()[s.name].title.lower()}", "note": say.step_words(s)}
            for s in steps
        ])  # fmt: skip


def larger_gate_resistor(chain: SignalChain) -> str:
    """What a larger gate resistor really does, and how little with a lossy disc."""
    if not chain.topology.powered:
        return paragraphs("With no stage there is no gate resistor.")
    if not chain.topology.has("gate_r"):
        return paragraphs(f"The {chain.topology.title} has no gate resistor to choose.")
    if not found(chain)[0].signal_v_rms > 0:
        return paragraphs(_NO_SIGNAL)
    sweep = gate_resistor_sweep(chain, points=17)
    now = float(np.interp(math.log(chain.values.gate_r), np.log(sweep.gate_r), sweep.snr_db_a))
    rows = [
        (show(float(r), "ohm", 2), say.change_words(float(now - s)), say.change_words(float(now - q)))
        for r, s, q in zip(sweep.gate_r, sweep.snr_db_a, sweep.lossless_snr_db_a, strict=True)
    ][::4]
    return table(
        ("gate resistor", "hiss, against now", "with a disc without loss"), rows,
        "A larger gate resistor keeps more bass. For hiss it soon stops mattering: the ceramic's own loss and the "
        "input remain.",
    )  # fmt: skip


def another_transistor(chain: SignalChain) -> str:
    """What a quieter transistor would buy."""
    if not found(chain)[0].signal_v_rms > 0:
        return paragraphs(_NO_SIGNAL)
    types = catalogue.transistors()
    rows = [
        (types[row.change].type_number, say.change_words(row.noise_db)) for row in quieter_transistors(chain)[:6]
    ]
    if not rows:
        return paragraphs("With no stage there is no transistor.")
    return table(
        ("type (its typical part)", "hiss, against now"), rows,
        "The six quietest in this very stage, bias and all. From memory and data sheets: look at what you can get.",
    )  # fmt: skip


def does_it_matter(chain: SignalChain) -> str:
    """Small imperfections of the build, computed for this chain."""
    rows = [(say.effect_words(e, chain), say.effect_result(e)) for e in effects(chain)[:16]]
    computed = table(
        ("imperfection", "what it does to the level"), rows, "Computed for this chain; the sixteen that change most."
    )
    if not chain.topology.powered:
        return computed
    return computed + paragraphs("An eighth-watt resistor bears more than any resistor of these stages has to.")


def more(state: PageState) -> list[Any]:
    """The sections below the controls."""
    return [
        Section(state, "steps", "What to try", steps_html, care=say.CARE),
        TryOut(state),
        PlotSection(state, "Who makes the hiss, at the input", lambda c, k: density_figure(c, k, at_pickup=False)),
        PlotSection(
            state, "The same as if it came from the pickup", lambda c, k: density_figure(c, k, at_pickup=True),
            folded=True
        ),
        Section(state, "gate", "A larger gate resistor?", larger_gate_resistor, folded=True),
        Section(state, "transistor", "A quieter transistor?", another_transistor, folded=True),
        Section(state, "matter", "Does it matter?", does_it_matter, folded=True),
        Section(state, "getting-in", "Radio, howl, a cable that speaks", getting_in, folded=True),
    ]  # fmt: skip


CHAPTER = Chapter(
    slug=SLUG,
    own=("shield_db", "supply", "gate_r", "input"),
    view=view,
    words=words,
    table=numbers,
    tasks=TASKS,
    maths=MATHS,
    certainty=MAINS,
    has_phase=False,
    folds_numbers=True,
    more=more,
    touch=lambda chain: offer(quiet_touch(chain)),
)


def make(link: str | None = None) -> Page:
    """The page, with all its parts at hand; `link` as in `page`."""
    return Page(CHAPTER, PageState.opened(link, SLUG))


def page(link: str | None = None):
    """The page as a widget, for a link's chain; in a served page for that of its address, else the default chain."""
    return make(link).widget
