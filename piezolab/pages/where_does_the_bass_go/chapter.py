"""Chapter 1, "Where does the bass go?": what the bare pickup loses into cable and input, and what a stage restores."""

from __future__ import annotations

from piezolab.chain import SignalChain
from piezolab.pages.kit import sentences as say
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.sections import PlotSection, Section
from piezolab.pages.kit.skeleton import Chapter, Page
from piezolab.pages.kit.tasks import MakeTask, NumberTask, PickTask
from piezolab.pages.kit.touch_words import offer
from piezolab.pages.kit.two_curves import found, numbers, short, view, words
from piezolab.pages.where_does_the_bass_go.swing_figure import pressed, swing_words, swings
from piezolab.studies.first_touch import bass_touch
from piezolab.studies.loading import loading

SLUG = "where-does-the-bass-go"


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
        "Divide 1 by the product of 2π, the resistance and the capacitance. Write the unit too, such as 440 Hz.",
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
is $2\pi f R\,C_p$, whatever the cable. A stage replaces $R$ by its gate resistor, hundreds of times larger than a line
input.</p> <p>Source: a voltage divider of capacitor and resistor, any text on circuits; worked here from the nodal
equations, which the curves solve in full. The dielectric loss is in the curves, not in these formulas (it moves them
by less than 0.1 dB). Series resistance and inductance of lead and cable are left out: at audio frequencies they do
not count.</p>
"""

KNOCK = "Volume down before you press or tap a disc that is plugged in: a knock is louder than any string."

CHAPTER = Chapter(
    slug=SLUG,
    own=("input", "pickup_c", "gate_r", "cable_m"),
    view=view,
    words=words,
    short=short,
    table=numbers,
    tasks=TASKS,
    maths=MATHS,
    more=lambda state: [
        Section(state, "swing", "Why the low notes suffer", swing_words),
        PlotSection(state, "One swing, in time", swings, height_px=250),
        PlotSection(state, "Hold it pressed", pressed, height_px=230, folded=True, care=KNOCK),
    ],
    touch=lambda chain: offer(bass_touch(chain)),
)


def make(link: str | None = None) -> Page:
    """The page, with all its parts at hand; `link` as in `page`."""
    return Page(CHAPTER, PageState.opened(link, SLUG))


def page(link: str | None = None):
    """The page as a widget, for a link's chain; in a served page for that of its address, else the default chain."""
    return make(link).widget
