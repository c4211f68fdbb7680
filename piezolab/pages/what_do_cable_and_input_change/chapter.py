"""Chapter 3, "What do cable and input change?": the chain free, and plugged into this cable and input."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from piezolab.chain import SignalChain
from piezolab.pages.kit import two_curves
from piezolab.pages.kit.blocks import table
from piezolab.pages.kit.bode import AUDIBLE, LOOKS, Curve, Panel, figure
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.sentences import not_working, pitch_words
from piezolab.pages.kit.skeleton import Chapter, Page, View
from piezolab.pages.kit.tasks import MakeTask, NumberTask, PickTask
from piezolab.pages.kit.touch_words import offer
from piezolab.pages.what_do_cable_and_input_change import sentences as say
from piezolab.pages.what_do_cable_and_input_change.sections import sections
from piezolab.pitch import Note, parse_tuning
from piezolab.quantity import decibels, show
from piezolab.studies.first_touch import output_touch
from piezolab.studies.inputs import InputRow, placement, this_input
from piezolab.studies.judging.judgement import Judgement, judgement
from piezolab.studies.output import at_the_jack, load_impedance, output_corner
from piezolab.studies.plugging import SETTLED_V
from piezolab.studies.response import FREQUENCY, Response, response

SLUG = "what-do-cable-and-input-change"


@dataclass(frozen=True)
class PluggedFigures:
    """What the studies say about one chain.

    free_db: level with nothing plugged in, dB re the unloaded pickup; plugged: with cable and input; output, load:
    impedance on either side of the jack, complex ohms; all over plugged.frequency.
    """

    chain: SignalChain
    notes: tuple[Note, ...]
    free_db: np.ndarray
    plugged: Response
    output: np.ndarray
    load: np.ndarray

    @property
    def row(self) -> InputRow:
        """What the input does."""
        return this_input(self.chain)

    @property
    def judged(self) -> Judgement:
        """The chain's judgement."""
        return judgement(self.chain)

    @property
    def broken(self) -> str:
        """Why the stage does not work at rest; "" where it does or there is none."""
        working = self.judged.working
        return not_working(working.at_rest) if working is not None else ""


def found(chain: SignalChain) -> PluggedFigures:
    """Ask the studies, which keep their answers."""
    notes = parse_tuning(chain.tuning)
    grid = np.union1d(FREQUENCY, [note.frequency_hz for note in notes])
    alone, output = at_the_jack(chain, grid)
    return PluggedFigures(
        chain,
        notes,
        decibels(alone),
        response(chain, grid),
        output,
        load_impedance(chain, grid),
    )


# -- what moves with a slider -----------------------------------------------------------------------------------
def view(chain: SignalChain, kept: SignalChain | None, phase: bool) -> View:
    """The curves of a chain; `phase`: the lower panel on narrow plots too."""
    now = found(chain)
    curves = [
        _curve("unplugged", now, now.free_db, "bare"),
        _curve("plugged in", now, now.plugged.gain_db, "stage"),
    ]
    held = None if kept is None else found(kept)
    if held is not None:
        curves.append(_curve("kept", held, held.plugged.gain_db, "kept"))
    panel = _impedance_panel(now, held)
    gain = any(one is not None and one.topology.inverts for one in (chain, kept))
    traces, layout, narrow = figure(
        curves, now.notes, phase="always" if phase else "wide", below=panel, gain=gain
    )
    label = (
        f"Level against frequency, {len(curves)} curves, and below it the output impedance beside that of cable and "
        "input."
    )
    return View(traces, layout, narrow, label)


def words(chain: SignalChain) -> tuple[str, list[str]]:
    """Verdict and advice."""
    now = found(chain)
    return say.verdict(chain, now.row, now.broken), say.advice(now.judged, now.row)


def _curve(name: str, of: PluggedFigures, level: np.ndarray, look: str) -> Curve:
    frequency = of.plugged.frequency
    marks = np.array([note.frequency_hz for note in of.notes])
    return Curve(name, frequency, level, None, look, marks, level[np.searchsorted(frequency, marks)])


def _impedance_panel(now: PluggedFigures, held: PluggedFigures | None) -> Panel:
    """Magnitude and resistive part of the output impedance beside what is plugged in, on logarithmic ohms."""
    resistive = np.where(now.output.real > 0, now.output.real, np.nan)
    drawn = [
        ("output impedance", now, np.abs(now.output), (LOOKS["stage"][0], "solid")),
        ("its resistive part", now, resistive, ("var(--pz-curve-other, #CC79A7)", "dashdot")),
        ("cable and input", now, np.abs(now.load), ("var(--pz-quiet, #55524b)", "longdash")),
    ]
    if held is not None:
        drawn.append(("kept: output impedance", held, np.abs(held.output), LOOKS["kept"][:2]))
    traces, seen = [], []
    for name, of, ohm, (colour, dash) in drawn:
        frequency = of.plugged.frequency
        traces.append({
            "name": name, "x": frequency, "y": ohm, "mode": "lines",
            "line": {"color": colour, "dash": dash, "width": 2}, "hovertemplate": "%{x:.3s}Hz: %{y:.3s}Ω",
        })  # fmt: skip
        if name != "its resistive part":  # that of a capacitor may be next to nothing and would stretch the axis
            seen.append(ohm[(frequency >= AUDIBLE[0]) & (frequency <= AUDIBLE[1])])
    every = np.concatenate(seen)
    span = [math.floor(math.log10(every.min())) - 0.15, math.ceil(math.log10(every.max())) + 0.15]
    return Panel(
        traces, {"type": "log", "range": span, "dtick": 1, "tickformat": "~s", "title": {"text": "Ω", "standoff": 2}}
    )


# -- what is looked at when the hand rests ----------------------------------------------------------------------
def numbers(chain: SignalChain) -> str:
    """The table: nothing plugged in beside the chain as it is."""
    now = found(chain)
    rows = []
    for note in sorted({n.frequency_hz: n for n in now.notes}.values(), key=lambda n: n.frequency_hz):
        rows.append(_level_row(f"{note.display} ({note.frequency_hz:.1f} Hz)", note.frequency_hz, now))
    whole = now.plugged
    rows += [
        _level_row("1 kHz", 1000.0, now),
        ("low corner of the whole chain", "", _corner(whole.low_corner_hz)),
        ("high corner of the whole chain", "", _corner(whole.high_corner_hz)),
        ("input's impedance over the output's, at 1 kHz", "", say.ratio_words(now.row.bridging)),
        ("hard playing at the input, peak, if nothing clipped", "", show(now.row.level_v_peak, "V")),
        ("the most that it takes", "", show(now.row.ceiling_v_peak, "V")),
    ]
    caption = two_curves.typical(chain)
    return table(("", "nothing plugged in", "plugged in"), rows, caption)


def _level_row(name: str, hz: float, now: PluggedFigures) -> tuple[str, str, str]:
    levels = (np.interp(math.log(hz), np.log(now.plugged.frequency), of) for of in (now.free_db, now.plugged.gain_db))
    free_words, words = (show(float(v), "dB") if v > -300 else "nothing arrives" for v in levels)
    return f"{name}, against the unloaded pickup", free_words, words


def _corner(hz: float) -> str:
    return pitch_words(hz) if math.isfinite(hz) else "none"


# -- tasks --------------------------------------------------------------------------------------------------------
def _textbook_corner() -> float:
    return output_corner(SignalChain(out_c=1e-6, bleed_r=100e6, input_r=10e3)).corner_hz


def _place() -> int:
    where = placement(SignalChain(pickup_c=1e-9, cable_m=10.0))
    return 0 if where.near_db - where.far_db > 1 else 1 if where.far_db - where.near_db > 1 else 2


def _quiet_line(chain: SignalChain) -> tuple[bool, str]:
    now = found(chain)
    has = float(chain.values.input_r)
    if has > 10e3:
        return False, f"Not yet: this input has {show(has, 'ohm', 2)}. Choose a line input of 10 kΩ or less."
    if now.judged.plug is None:
        return False, "Not yet: this needs a stage."
    if now.broken:
        return False, f"Not yet: {now.broken}"
    jump = abs(now.judged.plug.step_v)
    if jump > SETTLED_V:
        return False, f"Not yet: plugging in jumps by {show(jump, 'V', 2)}. What leaks, and into what?"
    lost = now.row.low_note_load_db
    if lost > 1:
        return False, f"Quiet, but the lowest string loses {lost:.1f} dB: the capacitor is too small now."
    return True, f"Right: a jump of {say.volts(jump)}, and {max(lost, 0.0):.1f} dB lost."


TASKS = (
    NumberTask(
        "output-corner",
        "An output capacitor of 1 µF works into a line input of 10 kΩ. The stage's own resistance is small. At which "
        "frequency has it lost 3 dB?",
        "Divide 1 by the product of 2π, the resistance and the capacitance. Write the unit too, such as 440 Hz.",
        unit="Hz",
        right=_textbook_corner,
        within=0.06,
        explain="The stage's few hundred ohms are counted in. Into 1 MΩ the same capacitor would go a hundred times "
        "lower.",
    ),
    PickTask(
        "output-place",
        "A small disc of 1 nF and 10 m of cable. Where does the stage belong?",
        "Set it up with the controls and look at “Stage in the instrument, or in a box at the far end?”.",
        options=("In the instrument.", "In a box at the amplifier.", "It makes no difference."),
        right=_place,
        told=(
            "Ten metres of cable are as much capacitance as the disc itself: before the stage they take half the "
            "voltage, after it next to nothing.",
            "There the whole cable hangs on the bare disc and takes half its voltage.",
            "It does: the disc cannot feed the cable, the stage can.",
        ),
    ),
    MakeTask(
        "output-quiet",
        "Plug a stage into a line input of 10 kΩ or less, so that plugging in jumps by less than 10 mV and the lowest "
        "string loses less than 1 dB.",
        "An electrolytic capacitor leaks, a film capacitor (under 1 µF) does not. Too small, and the bass goes.",
        judge=_quiet_line,
    ),
)

MATHS = r"""
<p>Whatever is plugged in divides the output's voltage: with an output impedance $Z_o$ and a load $Z_L$ (cable and
input in parallel) there arrives, of what is there with nothing plugged in,</p>
<p>$$\frac{Z_L}{Z_o + Z_L}$$</p>
<p>so that a load of ten times the output impedance, $|Z_L|/|Z_o| = 10$, costs less than 1 dB. Around its middle a
source follower has
$Z_o = R_S \parallel 1/(g_m + g_{ds})$, a common-source stage close to $R_D$, and a bare pickup
$1/(\mathrm{j}\,2\pi f C_p)$: a capacitance, which is why cable costs it level and not treble. The output capacitor
adds its own reactance and makes a corner at</p>
<p>$$f_c = \frac{1}{2\pi C_\mathrm{out}\,(R_o + R_\mathrm{bleed} \parallel R_\mathrm{in})}$$</p>
<p>and the capacitance $C$ of cable and input one at about $1/(2\pi R_o C)$ in the treble.</p>
<p>An electrolytic leaks up to $0.01\,C\,V$ or 3 µA, a tenth of it typically; that current through the bleed resistor
is the voltage on the jack before you plug in.</p>
<p>Sources: voltage divider, any text on circuits; output impedance of the stages: R. L. Boylestad and L. Nashelsky,
Electronic Devices and Circuit Theory; phantom power of 48 V through 6.81 kΩ: IEC 61938, from memory; leakage, reverse
voltage of an electrolytic and the rule of ten: common practice, no source. The curves are solved from the nodal
equations with all parts. The phantom figures are for the first instant, the stage's own capacitances left out.</p>
"""

CHAPTER = Chapter(
    slug=SLUG,
    own=("input", "cable_m", "lead_m", "out_c"),
    view=view,
    words=words,
    table=numbers,
    tasks=TASKS,
    maths=MATHS,
    lower="impedance",
    more=sections,
    touch=lambda chain: offer(output_touch(chain)),
)


def make(link: str | None = None) -> Page:
    """The page, with all its parts at hand; `link` as in `page`."""
    return Page(CHAPTER, PageState.opened(link, SLUG))


def page(link: str | None = None):
    """The page as a widget, for a link's chain; in a served page for that of its address, else the default chain."""
    return make(link).widget
