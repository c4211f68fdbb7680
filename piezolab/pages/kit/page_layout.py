"""The order in which a chapter's page is read.

The bar of chapters; what is wrong with the opened link; whose chain it is; what the page opens with, where the chapter
has that; the verdict and the plot; the chapter's own controls; all other controls, folded, in signal order; the
chapter's own job; the sound; the schematic; the numbers; tasks; the maths, folded; cautions; the share row. The
question and the paragraph above them are the notebook's own prose.
"""

from __future__ import annotations

from typing import Any

from ipywidgets import Box, VBox

from piezolab.pages.kit.blocks import Block, bullets
from piezolab.pages.kit.opening import Opening
from piezolab.pages.kit.still import PageBox, Still
from piezolab.pages.kit.ways import Ways


def laid_out(page: Any) -> VBox:
    """All parts of a `skeleton.Page`; `page.stick`, which stays in view while a control moves, is made here."""
    chapter, state, learning = page.chapter, page.state, page.lesson is not None
    # the chapter's own job comes before the sound, but not before what a lesson asks to listen to
    job = list(chapter.more(state))
    near = page.player.touches
    heard = job if near else [page.player, *job] if learning else [*job, page.player]
    shown = [*heard, page.schematic, page.table]
    tasks = [page.tasks, page.closing] if chapter.tasks else []
    # in a lesson the tasks lead, and the rest is there to look things up
    below = [*tasks, *shown] if learning else [*shown, *tasks]
    ways = [Ways(state, chapter.slug, slim=slim) for slim in (True, False)]
    whose = [] if learning else [Opening(state)]
    above = [page.look, ways[0], page.lesson_head, page.problems, *whose]
    lead = list(chapter.lead(state))
    page.still = Still(page, ways[0], *whose) if whose and not lead else None
    rows = [*above, *lead, _tried(page, near), *below]
    if chapter.maths:
        rows.append(Block("maths", chapter.maths, title="The maths", folded=True))
    if chapter.cautions:
        rows.append(Block("cautions", bullets(chapter.cautions), title="Take care"))
    rows += [page.share, ways[1], page.keepsake, page.address]
    return PageBox(rows, page.still).add_class("pz-page")


def _tried(page: Any, near: bool) -> Box:
    """Verdict, figure and controls: two columns where there is room. near: the sound stands above the controls."""
    chapter, state = page.chapter, page.state
    page.stick = VBox([page.verdict, *chapter.under(state), page.plot]).add_class("pz-stick")
    left = VBox([page.stick, *chapter.beside(state)]).add_class("pz-left")
    sounds = [page.player] if near else []
    own = [*sounds, page.own, *chapter.settings(state), page.stage_in, page.bar, page.advice, page.folded]
    return Box([left, VBox(own).add_class("pz-side")]).add_class("pz-try")
