"""Chapter 1, "Where does the bass go?": what the bare pickup loses into cable and input, and what a stage restores."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from piezolab.chain import SignalChain
from piezolab.pages import sentences as say
from piezolab.pages.bench import Bench
from piezolab.pages.blocks import table
from piezolab.pages.bode import Curve, figure
from piezolab.pages.chapter import Chapter, Page, View
from piezolab.pages.tasks import MakeTask, NumberTask, PickTask
from piezolab.pitch import Note, parse_tuning
from piezolab.quantity import decibels, show
from piezolab.studies.bias import Bias, bias
from piezolab.studies.loading import Loading, loading
from piezolab.studies.output import Impedances, impedances
from piezolab.studies.response import FREQUENCY, Response, response

_ENOUGH = "a few times the output impedance"
SLUG = "where-does-the-bass-go"


@dataclass(frozen=True)
class Found:
    """What the studies say about one chain; `staged` and `at_rest` are None with no stage.

    grid: Hz, with the strings' frequencies among its points.
    """

    chain: SignalChain
    notes: tuple[Note, ...]
    loading: Loading
    bare: Response
    staged: Response | None
    at_rest: Bias | None

    @property
    def staged_or_bare(self) -> Response:
        """The chain as it is."""
        return self.bare if self.staged is None else self.staged


@lru_cache(maxsize=32)
def found(chain: SignalChain) -> Found:
    """Ask the studies, once for each chain."""
    notes = parse_tuning(chain.tuning)
    grid = np.union1d(FREQUENCY, [note.frequency_hz for note in notes])
    bare = response(chain.but(stage="direct"), grid)
    powered = chain.topology.powered
    return Found(
        chain, notes, loading(chain), bare, response(chain, grid) if powered else None, bias(chain) if powered else None
    )


# -- what moves with a slider -----------------------------------------------------------------------------------
def view(chain: SignalChain, kept: SignalChain | None, phase: bool) -> View:
    """Verdict, advice and curves of a chain."""
    now = found(chain)
    staged = say.stage_sentence(chain, now.staged, now.at_rest, now.loading)
    verdict = f"{say.bare_sentence(chain, now.loading)} {staged}"
    curves = [_curve("bare pickup", now.bare, now.notes, "bare")]
    name = f"with {chain.topology.title}" if now.staged else "this chain (no stage)"
    curves.append(_curve(name, now.staged_or_bare, now.notes, "stage"))
    if kept is not None:
        held = found(kept)
        curves.append(_curve("kept", held.staged_or_bare, held.notes, "kept"))
    traces, layout, narrow = figure(curves, now.notes, phase="always" if phase else "wide")
    label = f"Level and phase against frequency, {len(curves)} curves. {verdict}"
    return View(verdict, traces, layout, narrow, label, say.advice(chain, now.loading))


def _curve(name: str, of: Response, notes: tuple[Note, ...], look: str) -> Curve:
    marks = np.array([note.frequency_hz for note in notes])
    level = of.gain_db
    return Curve(name, of.frequency, level, of.phase_deg, look, marks, level[np.searchsorted(of.frequency, marks)])


# -- what is looked at when the hand rests ----------------------------------------------------------------------
def numbers(chain: SignalChain) -> str:
    """The table: the bare pickup beside the chain as it is."""
    now = found(chain)
    bare_ends, ends = impedances(chain.but(stage="direct")), impedances(chain)
    load, whole = now.loading, now.staged_or_bare
    rows = [
        ("corner frequency (3 dB under the full level)", _hz(load.corner_hz), _hz(whole.low_corner_hz)),
        ("full level, against the unloaded pickup", _db(load.plateau_db), _db(_level(whole.midband_gain))),
    ]
    for note in sorted({n.frequency_hz: n for n in now.notes}.values(), key=lambda n: n.frequency_hz):
        at = int(np.searchsorted(whole.frequency, note.frequency_hz))
        rows.append((
            f"{note.display} ({note.frequency_hz:.1f} Hz), against the full level",
            _db(_against(_level(load.bare.gain(note.frequency_hz)), load.plateau_db)),
            _db(_against(whole.gain_db[at], _level(whole.midband_gain))),
        ))  # fmt: skip
    rows += [
        ("lowest string, against the unloaded pickup", _db(load.low_note_re_open_db), _db(_level(whole.low_note_gain))),
        ("least input resistance for 1 dB loss there", _least(load.min_input_ohm_1db), _ENOUGH),
        ("least input resistance for 3 dB loss there", _least(load.min_input_ohm_3db), _ENOUGH),
        ("output impedance at 1 kHz", _ohm(abs(bare_ends.output)), _ohm(abs(ends.output))),
        ("what the pickup sees at 1 kHz", _seen(bare_ends), _seen(ends)),
    ]
    if now.staged is None:
        return table(("", "bare pickup"), [row[:2] for row in rows], _caption(chain))
    return table(("", "bare pickup", f"with {chain.topology.title}"), rows, _caption(chain))


def _caption(chain: SignalChain) -> str:
    if not chain.topology.powered or chain.transistor_measured:
        return "Figures are estimates; see the maths for what they leave out."
    return f"With a typical {chain.jfet}, not yours: enter what you have measured under “more about the stage”."


def _level(ratio: float) -> float:
    return float(decibels(ratio))


def _against(level_db: float, full_db: float) -> float:
    """One level against another; silence stays silence."""
    return level_db - full_db if math.isfinite(level_db) else -math.inf


def _db(value: float) -> str:
    return show(value, "dB") if math.isfinite(value) else "nothing arrives" if value < 0 else "—"


def _hz(value: float) -> str:
    return say.pitch_words(value) if math.isfinite(value) else "none"


def _ohm(value: float) -> str:
    return show(float(value), "ohm")


def _least(value: float) -> str:
    return "none: the pickup's own leakage forbids it" if math.isnan(value) else show(value, "ohm")


def _seen(ends: Impedances) -> str:
    ohm, farad = float(ends.input_resistance), float(ends.input_capacitance)
    return f"{show(ohm, 'ohm')} beside {show(farad, 'F')}"


# -- tasks --------------------------------------------------------------------------------------------------------
def _plain(**values: object) -> SignalChain:
    """A bare pickup without lead or cable, as in a textbook."""
    return SignalChain({"stage": "direct", "lead_m": 0.0, "cable_m": 0.0, "input_c": 0.0, "pickup_r": 100e9, **values})


def _more_cable() -> int:
    short, long = (loading(SignalChain(stage="direct", pickup_c=1.5e-9, cable_m=m)) for m in (3.0, 6.0))
    return 2 * (long.full_level >= short.full_level) + (long.corner_hz >= short.corner_hz)


def _rescue(chain: SignalChain) -> tuple[bool, str]:
    now = found(chain)
    lost = -now.loading.low_note_re_plateau_db
    if say.opposed(chain) or not lost > 6:
        lost = max(lost, 0.0)
        return False, f"Not yet: bare, the lowest string loses {lost:.1f} dB. Take a smaller pickup or a lower input."
    if now.staged is None:
        return False, f"Half way: bare it loses {lost:.1f} dB. Now put a stage in."
    broken = say.not_working(now.at_rest)
    if broken:
        return False, f"Not yet: {broken}"
    left = -now.staged.low_note_re_midband_db
    if left > 1:
        return False, f"Not yet: with the stage it still loses {left:.1f} dB. Try a larger gate resistor."
    return True, f"Right: {lost:.1f} dB lost bare, {max(left, 0.0):.1f} dB with the stage."


TASKS = (
    NumberTask(
        "bass-corner",
        "A disc of 10 nF goes straight into an input of 100 kΩ, with no cable to speak of. At which frequency has it "
        "lost 3 dB?",
        "The corner is one over 2π times resistance times capacitance. Write the answer with its unit, such as 440 Hz.",
        unit="Hz",
        right=lambda: loading(_plain(pickup_c=10e-9, input_r=100e3)).corner_hz,
        within=0.03,
        explain="From there each octave down loses another 6 dB.",
    ),
    PickTask(
        "bass-cable",
        "A bare pickup of 1.5 nF, and twice the length of cable. What happens to the full level and to the corner?",
        "Set it up with the controls: no stage, a small pickup, and move the cable.",
        options=(
            "The full level falls and so does the corner.",
            "The full level falls, the corner rises.",
            "The full level rises, the corner falls.",
            "Both rise.",
        ),
        right=_more_cable,
        told=(
            "More cable is more capacitance beside the pickup: all notes share less voltage, and the corner moves "
            "down.",
            "The full level does fall, but more capacitance moves the corner down, not up.",
            "The corner does fall, but the cable's capacitance takes voltage from every note.",
            "Neither: watch both while you move the cable.",
        ),
    ),
    MakeTask(
        "bass-rescue",
        "Set the controls so that the lowest string loses more than 6 dB bare, and yet less than 1 dB with a stage.",
        "A small pickup into a low input loses its bass; a stage with a large gate resistor keeps it.",
        judge=_rescue,
    ),
)

MATHS = r"""
<p>The pickup is a voltage behind its own capacitance $C_p$. Lead, cable and input put a capacitance $C$ and a
resistance $R$ across it; the pickup's leakage and the input in parallel make $R$. What arrives, over what the
unloaded pickup gives, is</p> <p>$$H(f) = \frac{\mathrm{j}\,2\pi f R\,C_p}{1 + \mathrm{j}\,2\pi f R\,(C_p + C)}$$</p>
<p>Far above the corner this is the full level $C_p/(C_p+C)$, the same for all notes. The corner lies at</p>
<p>$$f_c = \frac{1}{2\pi R\,(C_p + C)}$$</p>
<p>and a note at $f$ arrives $10\lg\left(1 + (f_c/f)^2\right)$ dB under the full level. Far below the corner the level
is $2\pi f R\,C_p$, whatever the cable. A stage replaces $R$ by its gate resistor, thousands of times larger than many
inputs.</p> <p>Source: a voltage divider of capacitor and resistor, any text on circuits; worked here from the nodal
equations, which the curves solve in full. The dielectric loss is in the curves, not in these formulas (it moves them
by less than 0.1 dB). Series resistance and inductance of lead and cable are left out: at audio frequencies they do
not count.</p>
"""

CHAPTER = Chapter(
    slug=SLUG,
    own=("pickup_c", "input", "gate_r", "cable_m"),
    view=view,
    table=numbers,
    tasks=TASKS,
    maths=MATHS,
    cautions=(
        "Volume down before you plug in or tap the pickup: a knock on a disc is louder than any string.",
        "These figures are estimates from typical data, not a certificate.",
    ),
)


def make(link: str | None = None) -> Page:
    """The page, with all its parts at hand; `link` as in `page`."""
    return Page(CHAPTER, Bench.opened(link))


def page(link: str | None = None):
    """The page as a widget, for a link's chain; in a served page for that of its address, else the default chain."""
    return make(link).widget
