"""Chapter 8, "Where is the fault?": from what the meter says and the ear hears to the bad joint."""

from __future__ import annotations

import re
import textwrap
from dataclasses import replace
from typing import Any

from traitlets import dlink

from piezolab.chain import SignalChain
from piezolab.pages.kit.blocks import Block, guard
from piezolab.pages.kit.sections import Section
from piezolab.pages.kit.skeleton import Chapter, Page, View
from piezolab.pages.kit.tasks import NumberTask, PickTask
from piezolab.pages.where_is_the_fault import sentences as say
from piezolab.pages.where_is_the_fault.fault_state import FaultState, Outlook
from piezolab.pages.where_is_the_fault.feed_words import fed
from piezolab.pages.where_is_the_fault.finder import Finder
from piezolab.pages.where_is_the_fault.finder_blocks import expected_html, unseen_html
from piezolab.studies.faults.beforehand import beforehand
from piezolab.studies.faults.diagnosis import diagnose
from piezolab.studies.faults.making import fault_table
from piezolab.studies.faults.readings import Check

SLUG = "where-is-the-fault"
_SHOWN, _ALWAYS, _LEAST = 8, 3, 0.01  # bars: at most, at least, and from which probability


# -- tasks --------------------------------------------------------------------------------------------------------
def _sound(check: str) -> float:
    import numpy as np

    from piezolab.studies.faults.readings import natural

    found = fault_table(SignalChain())
    kind, place = check.split(":")
    m = found.index(Check(kind, place))
    return float(np.median(natural(kind, found.value[m, found.of_hypothesis == 0], found.meter)))


TASKS = (
    NumberTask(
        "fault-source",
        "The default follower, all well: what should the meter say from the source lane to ground, switched on?",
        "Current times source resistor; the circuit diagram has it.",
        unit="V",
        right=lambda: _sound("dc:source"),
        within=0.1,
        explain="Parts differ: yours may be anywhere within the range that the page expects.",
    ),
    PickTask(
        "fault-hot",
        "A 9 V battery gets warm a few seconds after it is clipped on. What comes first?",
        "Look at what the page says when you press “something gets hot”.",
        options=(
            "Measure the voltage at every lane, quickly.",
            "Switch off, unclip, set it down away from people, then measure ohms.",
            "Try a fresh battery.",
        ),
        right=lambda: 1 if diagnose(fault_table(SignalChain()), (), ("hot",)).unpowered_only else 0,
        told=(
            "No reading is worth a burst battery.",
            "A short heats a battery within seconds; with the battery out the ohms still show it.",
            "A fresh one delivers even more current into the short.",
        ),
    ),
)

MATHS = r"""
<p>Every single fault is simulated on this chain, a few hundred times each with parts as they spread, and with the
meter attached. What you read and hear is compared with all of them: by Bayes' rule</p>
<p>$$P(\mathrm{fault}\,|\,\mathrm{readings}) \propto P(\mathrm{fault})
\prod_k p(\mathrm{reading}_k\,|\,\mathrm{fault})$$</p>
<p>How common each fault is beforehand is a table of the trade (common practice, no source; 15 % of builds brought for
repair are sound). A reading may have slipped onto the next lane (5 %). The next reading is the one with the largest
expected information about the place; but while a short is likelier than 1 %, only readings without power are
proposed.</p>
<p>Source: T. Bayes, Phil. Trans. 53 (1763) 370; C. E. Shannon, Bell Syst. Tech. J. 27 (1948) 379.</p>
"""


def _beforehand(chain: SignalChain, _kept: SignalChain | None, _phase: bool) -> View:
    """The view before anything was read or heard; that of a page knows its readings."""
    return shown(Outlook(beforehand(chain)), chain)


MENDING = "Soldering burns and fumes: open a window; wash your hands after leaded solder; glasses on when you clip."

CHAPTER = Chapter(
    slug=SLUG,
    own=("stage", "jfet"),
    view=_beforehand,
    table=lambda chain: "",  # `make` puts in the one that knows the readings
    tasks=TASKS,
    maths=MATHS,
    certainty="The probabilities are estimates from typical data, not a certificate.",
    has_phase=False,
    drawn_on=("outlook",),
    listed_on=("diagnosis",),
    keeps=False,
)


def make(link: str | None = None) -> Page:
    """The page, with all its parts at hand; `link` as in `page`."""
    state = FaultState.opened(link, SLUG)
    finder = Finder(state)

    mending = Block("care")
    dlink((finder.places, "content"), (mending, "content"), lambda places: guard(MENDING if places else ""))

    def expected(_chain: SignalChain) -> str:
        weighed = state.diagnosis
        return "" if weighed is None else expected_html(weighed.found, weighed.table.chain, weighed.metering.meter)

    def unseen(_chain: SignalChain) -> str:
        weighed = state.diagnosis
        return "" if weighed is None else unseen_html(
            weighed.table, weighed.table.chain, weighed.metering.build.records
        )

    chapter = replace(
        CHAPTER,
        view=lambda chain, kept, phase: shown(state.outlook, chain),
        table=expected,
        lead=lambda state: [finder.opens],
        beside=lambda state: [finder.care, finder.asks, mending],
        settings=lambda state: [finder.meter_form],
        more=lambda state: [
            Section(state, "hard-to-see", "What no reading shows", unseen, folded=True, follows=("diagnosis",))
        ],
    )
    page = Page(chapter, state)
    finder.kept_in(page.keepsake)
    page.finder = finder
    return page


def shown(outlook: Outlook, chain: SignalChain) -> View:
    """The verdict, and the probabilities as bars."""
    if outlook.problem:
        return View([], {"height": 120}, {}, "no diagnosis", outlook.problem)
    weighed = outlook.weighed
    verdict = fed(say.at_rest(outlook.spots) if weighed is None else say.verdict(weighed, chain), chain)
    spots = [
        spot for n, spot in enumerate(outlook.spots[:_SHOWN]) if n < _ALWAYS or spot.probability >= _LEAST
    ][::-1]
    names = [fed(say.spot_words(spot.spot, chain), chain) for spot in spots]
    short = [_two_lines(name) for name in names]
    traces = [{
        "type": "bar", "orientation": "h", "x": [100 * spot.probability for spot in spots], "y": short,
        "marker": {"color": "var(--pz-curve-stage, #0072B2)"}, "showlegend": False,
        "text": [_percent(spot.probability) for spot in spots], "textposition": "outside", "cliponaxis": False,
        "hovertemplate": "%{y}: %{x:.1f} %<extra></extra>",
    }]  # fmt: skip
    layout = {
        "height": 60 + 38 * len(spots), "margin": {"l": 200, "r": 40, "t": 8, "b": 40},
        "xaxis": {"range": [0, 105], "title": {"text": "probability, %"}}, "yaxis": {"automargin": False},
    }  # fmt: skip
    narrow = {"height": 50 + 26 * len(spots), "font": {"size": 11}, "margin": {"l": 170, "r": 34, "t": 4, "b": 36}}
    label = "How probable each place is: " + "; ".join(
        f"{name} {_percent(spot.probability)}" for name, spot in zip(names[::-1], spots[::-1], strict=True)
    )
    return View(traces, layout, narrow, label, verdict)


def _two_lines(name: str) -> str:
    """A place's name beside its bar."""
    name = re.sub(r"^the |, its pins and joints$| and its joints$", "", name)
    name = re.sub(r" and the (.*) in each other's place$", r" swapped with \1", name)
    name = re.sub(r"^a short between the (.*) lane and the (.*) lane$", r"short, \1 to \2", name)
    return "<br>".join(textwrap.wrap(name, 29))


def _percent(probability: float) -> str:
    return "under 1 %" if probability < 0.005 else f"{100 * probability:.0f} %"


def page(link: str | None = None) -> Any:
    """The page as a widget, for a link's chain; in a served page for that of its address, else the default chain."""
    return make(link).widget
