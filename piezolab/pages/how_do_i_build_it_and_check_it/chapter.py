"""Chapter 7, "How do I build it and check it?": parts, layout, wiring, first power and what the meter should show."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from ipywidgets import VBox

from piezolab.chain import SignalChain
from piezolab.pages.how_do_i_build_it_and_check_it import sentences as say
from piezolab.pages.how_do_i_build_it_and_check_it.board_section import board
from piezolab.pages.how_do_i_build_it_and_check_it.build_form import Settings
from piezolab.pages.how_do_i_build_it_and_check_it.measure_what_you_have import MeasureWhatYouHave
from piezolab.pages.how_do_i_build_it_and_check_it.sheet_download import SheetDownload
from piezolab.pages.how_do_i_build_it_and_check_it.tasks import MATHS, TASKS
from piezolab.pages.kit.blocks import Buttons, bullets, guard, paragraphs
from piezolab.pages.kit.build_progress import Progress
from piezolab.pages.kit.checklist import CheckSection, Steps, Ticks
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.sections import Section
from piezolab.pages.kit.sentences import MAINS
from piezolab.pages.kit.skeleton import Chapter, Page, View
from piezolab.pages.kit.tone import TonePlayer
from piezolab.pages.kit.wish_words import other_types_words
from piezolab.sheets import build_steps, meter_steps
from piezolab.sheets.board_pages import board_file
from piezolab.sheets.build_sheet import sheet_page
from piezolab.sheets.build_steps import BuildStep
from piezolab.sheets.layout_svg import scale_bar_svg
from piezolab.sheets.ranges import volts
from piezolab.sheets.sheet_data import SheetData
from piezolab.sheets.tables import ohm_matrix
from piezolab.sheets.wiring_svg import box_inside, template_svg, wiring_svg, wiring_words
from piezolab.sheets.words import whose_part

SLUG = "how-do-i-build-it-and-check-it"
OWN, KEPT = "var(--pz-curve-stage, #0072B2)", "var(--pz-curve-kept, #009E73)"

WAIT = "Parts, board and first power are being worked out."
PLAIN = (
    BuildStep("Beeper: ceramic side to tip, brass side and screen to sleeve; tip to sleeve must not beep."),
    BuildStep("Ohms from tip to sleeve: over range once the disc has charged; tapping moves the reading."),
)


# -- what moves with the chain ------------------------------------------------------------------------------------
def view(sheet: SheetData, kept: SheetData | None) -> View:
    """The volts that the meter should show."""
    if not sheet.powered:
        empty = {"height": 90, "xaxis": {"visible": False}, "yaxis": {"visible": False}}
        return View([], empty, {}, "Nothing to measure in volts: there is no supply.", WAIT)
    rows = sheet.volts
    traces = _bars(sheet, "healthy boards", OWN, "")
    if kept is not None and kept.powered:
        traces += _bars(kept, "kept", KEPT, "/")
    height = 120 + 42 * len(rows) * (1 if kept is None else 2)
    layout = {
        "height": height, "showlegend": kept is not None, "barmode": "group", "bargap": 0.45, "hovermode": "closest",
        "margin": {"l": 104, "r": 12, "t": 8, "b": 44},
        "xaxis": {"title": {"text": "DC volts, meter attached (diamond: typical)", "standoff": 4}, "zeroline": True},
        "yaxis": {"autorange": "reversed", "automargin": True, "dtick": 1},
    }  # fmt: skip
    narrow = {"font": {"size": 11}, "height": min(height, 330), "margin": {"l": 88, "r": 6, "t": 4, "b": 38}}
    return View(traces, layout, narrow, say.readings_label(sheet), WAIT)


def _bars(sheet: SheetData, name: str, colour: str, hatched: str) -> list[dict[str, Any]]:
    """A bar from the lowest to the highest reading of each lane, and a mark at the typical one."""
    rows, adapter = sheet.volts, sheet.adapter
    low, high, typical = (np.array([getattr(row.expected, end) for row in rows]) for end in ("low", "high", "typical"))
    lanes = [say.place(row.lane, adapter) for row in rows]
    told = [volts(row.expected) for row in rows]
    return [
        {
            "type": "bar", "orientation": "h", "name": name, "y": lanes, "x": high - low, "base": low, "text": told,
            "textposition": "none", "hovertemplate": "%{y}: %{text}<extra></extra>", "offsetgroup": name,
            "marker": {"color": colour, "opacity": 0.75, "pattern": {"shape": hatched}},
        },
        {
            "name": f"{name}: typical", "y": lanes, "x": typical, "mode": "markers",
            "hovertemplate": "%{y}: typically %{x:.2f} V<extra></extra>", "offsetgroup": name,
            "marker": {"symbol": "diamond" if not hatched else "x", "size": 11, "color": "var(--pz-text, #1c1c1c)"},
        },
    ]  # fmt: skip


# -- sections -----------------------------------------------------------------------------------------------------
def wiring(sheet: SheetData) -> str:
    """Battery, switch, jack and pickup."""
    return say.drawing(wiring_svg(sheet)) + paragraphs(*wiring_words(sheet))


def box(sheet: SheetData) -> str:
    """The holes and the size."""
    said = ["Drill from the template, deburr, glasses on."]
    inside = box_inside(sheet)
    if inside is not None:
        said.append(f"Inside at least {inside[0]:.0f} × {inside[1]:.0f} × {inside[2]:.0f} mm, jack and switch counted.")
    if sheet.adapter:
        said.append("The socket is of plastic: its contacts touch neither box nor foil.")
    return bullets(said) + say.drawing(template_svg(sheet), scale_bar_svg())


def building(sheet: SheetData) -> Steps:
    """The order of building; with no stage the few checks too."""
    steps = build_steps.build_steps(sheet)
    return Steps("", steps if sheet.powered else (*steps, *PLAIN))


def boxing(sheet: SheetData) -> Steps:
    """Into the box, after the checks."""
    return Steps(guard(say.PLUG_IN), build_steps.boxing_steps(sheet))


def power_off(sheet: SheetData) -> Steps:
    """Continuity and ohms."""
    if not sheet.powered:
        return Steps(paragraphs(say.NO_STAGE), ())
    return Steps(say.matrix(ohm_matrix(sheet), whose_part(sheet.chain)), meter_steps.power_off_steps(sheet))


def transistor(sheet: SheetData) -> Steps:
    """Which leg is the gate, and the jig."""
    return Steps("" if sheet.powered else paragraphs(say.NO_STAGE), meter_steps.transistor_steps(sheet))


def first_power(sheet: SheetData) -> Steps:
    """Safety first, then the test through the resistor."""
    if not sheet.powered:
        return Steps("", ())
    above = bullets(say.beware(sheet), "pz-beware") + paragraphs(say.first_power_misses(sheet))
    return Steps(above, meter_steps.first_power_steps(sheet))


def power_on(sheet: SheetData) -> Steps:
    """Volts, then the tone."""
    if not sheet.powered:
        return Steps(paragraphs(say.NO_STAGE), ())
    return Steps(say.power_on_above(sheet), say.power_on(sheet))


def _as_they_come(chain: SignalChain, kept: SignalChain | None, _phase: bool) -> View:
    """The view with the settings as they are at first; that of a page knows its own."""
    return view(SheetData(chain), None if kept is None else SheetData(kept))


CHAPTER = Chapter(
    slug=SLUG,
    own=("stage", "jfet", "source_r", "supply"),
    view=_as_they_come,
    table=lambda chain: "",
    tasks=TASKS,
    maths=MATHS,
    certainty=MAINS,
    has_phase=False,
    drawn_on=("settled",),
)


def make(link: str | None = None) -> Page:
    """The page, with all its parts at hand; `link` as in `page`."""
    state = PageState.opened(link, SLUG)
    settings = Settings(state)
    measure = MeasureWhatYouHave(state)

    def of(make_it: Callable[[SheetData], Any]) -> Callable[[SignalChain], Any]:
        return lambda chain: make_it(settings.sheet(chain))

    lists = [
        CheckSection(state, "transistor", "The transistor by itself, before soldering", of(transistor), folded=True),
        CheckSection(state, "build", "Build it, step by step", of(building), folded=True),
        CheckSection(state, "off", "Power off: what the meter should show", of(power_off), folded=True),
        CheckSection(state, "first", "First power", of(first_power), folded=True, needs_stage=True),
        CheckSection(state, "on", "Power on: what the meter should show", of(power_on), folded=True, needs_stage=True),
        CheckSection(state, "boxing", "Into the box, once all is checked", of(boxing), folded=True),
    ]
    ticks = Ticks(lists)
    leg, built, off, first, on, boxed = lists
    untick = Buttons("ticks", {"clear": ticks.clear})
    untick.show([{"word": "clear", "label": "take all ticks away"}])
    sheet = SheetDownload(*(lambda make=make: make(settings.sheet(state.chain)) for make in (sheet_page, board_file)))
    tone = TonePlayer()
    on.head.observe(lambda _: _show(tone, on.head.opened), "opened")
    _show(tone, on.head.opened)
    progress = Progress(state, ticks, settings.sheet)

    def more(state: PageState) -> list[Any]:
        return [
            measure, leg,
            Section(state, "parts", "The parts list", of(say.parts), folded=True),
            Section(state, "types", "Other transistors that fit", other_types_words, folded=True),
            Section(state, "wiring", "Wiring of supply, switch and jack", of(wiring), folded=True),
            Section(state, "box", "The box", of(box), folded=True),
            progress, built, off, first,
            Section(state, "faults", "What first power tells, and what it cannot", of(say.faults), folded=True),
            VBox([on, tone]), boxed, untick,
        ]  # fmt: skip

    def shown(chain: SignalChain, kept: SignalChain | None, _phase: bool) -> View:
        return view(settings.sheet(chain), None if kept is None else settings.sheet(kept))

    chapter = replace(
        CHAPTER,
        view=shown,
        table=of(say.numbers),
        headline=of(lambda sheet: (f"{sheet.what_and_why} {say.verdict(sheet)}", say.advice(sheet))),
        under=lambda state: [settings.search, sheet],
        beside=lambda state: [Section(state, "board", "Lanes and layout", of(board))],
        settings=lambda state: [settings.widget],
        more=more,
    )
    page = Page(chapter, state)
    for part in (settings, ticks, measure):
        part.kept_in(page.keepsake)
    page.settings, page.lists, page.ticks, page.progress = settings, lists, ticks, progress
    page.measure, page.sheet = measure, sheet
    return page


def _show(part: Any, there: bool) -> None:
    part.layout.display = None if there else "none"


def page(link: str | None = None):
    """The page as a widget, for a link's chain; in a served page for that of its address, else the default chain."""
    return make(link).widget
