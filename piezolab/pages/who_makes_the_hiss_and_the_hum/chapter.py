"""Chapter 4, "Who makes the hiss and the hum?": what is left when the playing stops, who makes it, and what helps."""

from __future__ import annotations

import math
from collections.abc import Callable, Generator
from functools import lru_cache
from html import escape
from typing import Any

import numpy as np
from ipywidgets import VBox

from piezolab.catalogue.advice_texts import advice_texts
from piezolab.chain import SignalChain
from piezolab.pages.kit.blocks import Buttons, bullets, paragraphs, table
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.sections import PlotSection, Section
from piezolab.pages.kit.skeleton import Chapter, Page, View
from piezolab.pages.who_makes_the_hiss_and_the_hum import sentences as say
from piezolab.pages.who_makes_the_hiss_and_the_hum.tasks import MATHS, TASKS
from piezolab.pitch import parse_tuning
from piezolab.quantity import show
from piezolab.studies.advice import Advice, hiss_advice, hum_advice
from piezolab.studies.hiss import Noise, gate_resistor_sweep, noise, quieter_transistors
from piezolab.studies.hum import WAYS, Hum, hum
from piezolab.studies.matters import effects

SLUG = "who-makes-the-hiss-and-the-hum"
_SHOWN = 5  # contributors with a curve of their own
_FLOOR_DB = -160.0
_NO_SIGNAL = "No signal arrives, so there is nothing to compare hum and hiss with."

#: Colour, dash, marker for curves of contributors: Okabe and Ito's set, the line differing too.
_LOOKS = (
    ("var(--pz-curve-bare, #D55E00)", "dash", "circle"),
    ("var(--pz-curve-kept, #009E73)", "dot", "diamond"),
    ("var(--pz-curve-other, #CC79A7)", "dashdot", "square"),
    ("var(--pz-curve-fifth, #B8860B)", "longdash", "triangle-up"),
    ("var(--pz-quiet, #55524b)", "longdashdot", "x"),
)
_WAY_LOOKS = dict(zip(WAYS, _LOOKS, strict=False))


@lru_cache(maxsize=32)
def found(chain: SignalChain) -> tuple[Hum, Noise]:
    """Ask the studies, once for each chain."""
    return hum(chain), noise(chain)


# -- what moves with a slider -------------------------------------------------------------------------------------
def view(chain: SignalChain, kept: SignalChain | None, phase: bool) -> View:
    """Verdict, first advice, and what is left when the playing stops."""
    humming, hissing = found(chain)
    verdict = say.verdict(humming, hissing)
    traces = [_hiss_trace("hiss", chain, ("var(--pz-curve-stage, #0072B2)", "solid"))]
    if kept is not None:
        traces.append(_hiss_trace("kept: hiss", kept, ("var(--pz-curve-kept, #009E73)", "dot")))
    for way in WAYS:
        if humming.way_v_rms(way) > 0:
            traces += _stems(f"hum {say.WAY_NAMES[way]}", humming, way)
    layout, narrow = _axes(chain, "dB against hard playing", [-150.0, 10.0])
    label = f"Hum as lines and hiss as a curve, in dB against hard playing, over frequency. {verdict}"
    return View(verdict, traces, layout, narrow, label, say.best_step(hum_advice(chain).steps, humming))


def _hiss_trace(name: str, chain: SignalChain, look: tuple[str, str]) -> dict[str, Any]:
    humming, hissing = found(chain)
    with np.errstate(divide="ignore"):
        level = 20 * np.log10(hissing.third_octave_v_rms / max(humming.signal_v_rms, 1e-300))
    return {
        "name": name, "x": hissing.frequency, "y": np.maximum(level, _FLOOR_DB),
        "mode": "lines", "line": {"color": look[0], "dash": look[1], "width": 2.5},
        "hovertemplate": "%{x:.3s}Hz: %{y:.0f} dB",
    }  # fmt: skip


def _stems(name: str, humming: Hum, way: str) -> list[dict[str, Any]]:
    colour, _, symbol = _WAY_LOOKS[way]
    level = humming.by_way[way]
    there = level > 0
    with np.errstate(divide="ignore"):
        height = np.maximum(20 * np.log10(level[there] / max(humming.signal_v_rms, 1e-300)), _FLOOR_DB)
    frequency = humming.frequency[there]
    x, y = np.repeat(frequency, 3), np.full(3 * len(height), np.nan)
    y[0::3], y[1::3] = _FLOOR_DB, height
    return [
        {
            "x": x, "y": y, "mode": "lines", "line": {"color": colour, "width": 2}, "showlegend": False,
            "hoverinfo": "skip", "legendgroup": name,
        },
        {
            "name": name, "x": frequency, "y": height, "mode": "markers", "legendgroup": name,
            "marker": {"color": colour, "symbol": symbol, "size": 9}, "hovertemplate": "%{x:.4~s}Hz: %{y:.0f} dB",
        },
    ]  # fmt: skip


def _axes(chain: SignalChain, title: str, span: list[float]) -> tuple[dict[str, Any], dict[str, Any]]:
    from piezolab.pages.kit.bode import AUDIBLE, note_lines, note_names

    notes = parse_tuning(chain.tuning)
    ticks = (20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000)
    layout = {
        "height": 420, "showlegend": True, "margin": {"l": 56, "r": 10, "t": 8, "b": 40}, "hovermode": "closest",
        "xaxis": {
            "type": "log", "range": [math.log10(f) for f in AUDIBLE], "tickvals": list(ticks),
            "ticktext": [f"{t // 1000}k" if t >= 1000 else str(t) for t in ticks],
            "title": {"text": "frequency, Hz", "standoff": 4},
        },
        "yaxis": {"range": span, "title": {"text": title, "standoff": 2}},
        "shapes": note_lines(notes), "annotations": note_names(notes, apart=1.25),
    }  # fmt: skip
    narrow = {
        "font": {"size": 12}, "height": 270, "margin": {"l": 46, "r": 6, "t": 4, "b": 34},
        "xaxis": {"tickvals": [20, 100, 1000, 10000], "ticktext": ["20", "100", "1k", "10k"]},
        "annotations": note_names(notes, apart=1.9),
    }  # fmt: skip
    return layout, narrow


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
    rows.append(("all hum together", show(humming.output_v_rms, "V"), _re(humming.relative_db)))
    rows.append(("hiss, 20 Hz to 20 kHz", show(float(hissing.output_v_rms), "V"), _re(-_snr(hissing, weighted=False))))
    rows.append(("hiss as the ear weighs it (A)", show(float(hissing.output_v_rms_a), "V"), _re(-_snr(hissing))))
    caption = (
        "Rms volts at the input's terminals, and against hard playing (a sine of 1 kHz). The plot shows hiss in thirds "
        "of an octave."
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
    typical = f" With a typical {chain.jfet}, not yours." if guessed else ""
    return table(head, rows, f"The input's own hiss is typical of its kind.{typical}")


def _snr(hissing: Noise, weighted: bool = True) -> float:
    level = float(hissing.output_v_rms_a if weighted else hissing.output_v_rms)
    signal = float(hissing.signal_v_rms)
    return 20 * math.log10(signal / level) if signal > 0 else -math.inf


def _re(level_db: float) -> str:
    if math.isnan(level_db) or level_db == math.inf:
        return "no signal"
    return "nothing" if level_db == -math.inf else show(level_db, "dB")


def steps_html(chain: SignalChain) -> Generator[str | None, None, str]:
    """All steps, ranked, against hum and against hiss."""
    if not found(chain)[0].signal_v_rms > 0:
        return paragraphs(_NO_SIGNAL)
    quiet = -float(found(chain)[1].snr_db_a) <= -80.0
    against_hum = _ranked("Against hum", hum_advice(chain))
    yield
    return against_hum + _ranked(
        "Against hiss", hiss_advice(chain), "Your hiss is too quiet to hear already: nothing here needs doing." if quiet
        else "",
    )  # fmt: skip


def _ranked(title: str, advice: Advice, above: str = "") -> str:
    """A list of steps; a step that would do harm on this chain is no advice."""
    items = []
    for step in advice.steps:
        if step.computed and step.less_db[1] < -0.05:
            continue
        row = advice_texts()[step.name]
        caution = f' <strong class="pz-caution">{escape(row.caution)}</strong>' if row.caution else ""
        items.append(
            f"<li><strong>{escape(row.title)}</strong>: {escape(say.step_words(step))}. {escape(row.text)}"
            f"{caution}</li>"
        )
    above = f"<p>{escape(above)}</p>" if above else ""
    return f"<h3>{escape(title)}</h3>{above}<ol>{''.join(items)}</ol>" if items else ""


class TryOut(VBox):
    """Buttons that put the computed steps into the chain, so that one sees and hears what they do."""

    def __init__(self, state: PageState) -> None:
        self._state = state
        self._steps: dict[str, Any] = {}
        does: dict[str, Callable[[], None]] = {name: self._doer(name) for name in advice_texts()}
        self.buttons = Buttons("try a step out; undo takes it back", does)
        super().__init__([self.buttons])
        state.observe(lambda _: state.at_rest.put(self, self._show), "settled")
        state.at_rest.put(self, self._show)

    def _doer(self, name: str) -> Callable[[], None]:
        return lambda: self._state.put(self._state.chain.but(self._steps[name].changes))

    def _show(self) -> Generator[str | None, None, None]:
        chain = self._state.chain
        hum = hum_advice(chain)
        yield
        steps = [s for s in (*hum.steps, *hiss_advice(chain).steps) if s.computed and s.less_db[0] > 0.05]
        self._steps = {step.name: step for step in steps}
        self.buttons.show([
            {"word": s.name, "label": f"try: {advice_texts()[s.name].title.lower()}", "note": say.step_words(s)}
            for s in steps
        ])  # fmt: skip


def density_figure(chain: SignalChain, kept: SignalChain | None, *, at_pickup: bool) -> tuple[list, dict, dict, str]:
    """Noise density by contributor, at the load or referred to the pickup."""
    _, hissing = found(chain)
    scale = np.where(hissing.gain > 0, hissing.gain, np.nan) if at_pickup else 1.0

    def curve(name: str, density: np.ndarray, look: tuple[str, str], width: float) -> dict[str, Any]:
        return {
            "name": name, "x": hissing.frequency, "y": np.sqrt(density) / scale * 1e9, "mode": "lines",
            "line": {"color": look[0], "dash": look[1], "width": width},
            "hovertemplate": "%{x:.3s}Hz: %{y:.3g} nV/√Hz",
        }  # fmt: skip

    traces = [curve("all together", hissing.total, ("var(--pz-curve-stage, #0072B2)", "solid"), 3)]
    for name, look in zip(list(hissing.shares)[:_SHOWN], _LOOKS, strict=False):
        traces.append(curve(say.maker_words(name), hissing.density[name], look[:2], 2))
    layout, narrow = _axes(chain, "nV/√Hz", [])
    layout["yaxis"] = {"type": "log", "title": {"text": "nV/√Hz", "standoff": 2}, "exponentformat": "none", "dtick": 1}
    narrow["height"] = 230 + 20 * len(traces)  # on a phone every maker has a line of the legend to itself
    where = "as if at the pickup" if at_pickup else "at the input"
    label = f"Noise density {where} against frequency, in total and of the {_SHOWN} largest makers."
    return traces, layout, narrow, label


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
    rows = [
        (row.change, say.change_words(row.noise_db)) for row in quieter_transistors(chain)[:6]
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
    told = ["Cable that crackles when it is moved makes its own voltage by rubbing: try another, or tie it down."]
    if chain.topology.powered:
        told += [
            "A radio station in the amplifier comes in through the gate: a stopper of a few kilohm close to it helps.",
            "An eighth-watt resistor bears more than any resistor of these stages has to.",
        ]
    told.append(
        "A slow drift or thumps when the disc warms up are its own: ceramic answers to warmth. Keep the sun off."
    )
    return computed + bullets(told)


def more(state: PageState) -> list[Any]:
    """The sections below the controls."""
    return [
        Section(state, "steps", "What to try", steps_html),
        TryOut(state),
        PlotSection(state, "Who makes the hiss, at the input", lambda c, k: density_figure(c, k, at_pickup=False)),
        PlotSection(
            state, "The same as if it came from the pickup", lambda c, k: density_figure(c, k, at_pickup=True),
            folded=True
        ),
        Section(state, "gate", "A larger gate resistor?", larger_gate_resistor, folded=True),
        Section(state, "transistor", "A quieter transistor?", another_transistor, folded=True),
        Section(state, "matter", "Does it matter?", does_it_matter, folded=True),
    ]  # fmt: skip


CHAPTER = Chapter(
    slug=SLUG,
    own=("shield_db", "supply", "gate_r", "input"),
    view=view,
    table=numbers,
    tasks=TASKS,
    maths=MATHS,
    cautions=(
        "Never remove or bypass a protective earth, and never open or modify mains-powered gear. A ground loop is "
        "cured by one outlet strip, an audio isolating transformer or battery power.",
        "Where ground reaches strings or box, a fault in mains gear reaches you: play on a supply with a "
        "residual-current device, and have a licensed person look at anything that tingles.",
        "Pick the mains voltage from the list; never measure it.",
        "Volume down before you touch plugs or open the box; headphones off first.",
        "These figures are estimates from typical data, not a certificate; local electrical rules and licensed people "
        "decide about anything on the mains.",
    ),
    has_phase=False,
    more=more,
)


def make(link: str | None = None) -> Page:
    """The page, with all its parts at hand; `link` as in `page`."""
    return Page(CHAPTER, PageState.opened(link))


def page(link: str | None = None):
    """The page as a widget, for a link's chain; in a served page for that of its address, else the default chain."""
    return make(link).widget
