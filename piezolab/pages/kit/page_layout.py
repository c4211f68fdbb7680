"""The order in which a chapter's page is read.

The bar of chapters; what is wrong with the opened link; whose chain it is; what the page opens with, where the chapter
has that; the verdict and the plot; the chapter's own controls; all other controls, folded, in signal order; the
chapter's own job; the sound; the schematic; the numbers; tasks; the maths, folded; how sure the figures are; the share
row. What can hurt is said at the action that it guards, and nowhere else. The question and the paragraph above all
that are the notebook's own prose. In a lesson its step comes first, and the chapter below is there to look things up.
"""

from __future__ import annotations

from typing import Any

from ipywidgets import Box, VBox

from piezolab.pages.kit.blocks import Block, paragraphs
from piezolab.pages.kit.opening import Opening
from piezolab.pages.kit.still import PageBox, Still
from piezolab.pages.kit.ways import Ways


def laid_out(page: Any) -> VBox:
    """All parts of a `skeleton.Page`; `page.stick`, which stays in view while a control moves, is made here."""
    chapter, state = page.chapter, page.state
    # the chapter's own job comes before the sound, but not before what a touch of it offers
    job, near = list(chapter.more(state)), page.player.touches
    ways = [Ways(state, chapter.slug, slim=slim) for slim in (True, False)]
    page.still = None
    if page.steps is not None:
        tried = [page.lesson_head, page.problems, _stepped(page), page.stage_in, page.bar, page.advice]
        below = [*chapter.lead(state), *chapter.beside(state), *chapter.settings(state), *job]
        below += [page.schematic, page.table]
    else:
        whose, lead = Opening(state), list(chapter.lead(state))
        page.still = None if lead else Still(page, ways[0], whose)
        tried = [page.lesson_head, page.problems, whose, *lead, _tried(page, near)]
        below = [*job] if near else [*job, page.player]
        below += [page.schematic, page.table, *([page.tasks] if chapter.tasks else [])]
    rows = [page.look, ways[0], *tried, *below]
    if chapter.maths:
        rows.append(Block("maths", chapter.maths, title="The maths", folded=True))
    rows += [Block("certainty", paragraphs(chapter.certainty)), page.share, ways[1], page.keepsake, page.address]
    return PageBox(rows, page.still).add_class("pz-page")


def _stepped(page: Any) -> VBox:
    """A lesson's step, which is one screen on a phone: words, verdict, figure, sound, controls, task."""
    page.stick = VBox([page.verdict, page.steps.readings, *page.chapter.under(page.state), page.plot])
    left = VBox([page.stick.add_class("pz-stick")]).add_class("pz-left")
    side = VBox([page.player, page.own, page.tasks]).add_class("pz-side")
    return VBox([page.steps.head, Box([left, side]).add_class("pz-try")]).add_class("pz-stepped")


def _tried(page: Any, near: bool) -> Box:
    """Verdict, figure and controls: two columns where there is room. near: the sound stands above the controls."""
    chapter, state = page.chapter, page.state
    page.stick = VBox([page.verdict, *chapter.under(state), page.plot]).add_class("pz-stick")
    left = VBox([page.stick, *chapter.beside(state)]).add_class("pz-left")
    sounds = [page.player] if near else []
    own = [*sounds, page.own, *chapter.settings(state), page.stage_in, page.bar, page.advice, page.folded]
    return Box([left, VBox(own).add_class("pz-side")]).add_class("pz-try")
