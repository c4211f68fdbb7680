"""The start page: the whole chain at a glance, the chapters by their questions, and instruments to start from."""

from __future__ import annotations

import os
from html import escape
from typing import Any

from ipywidgets import VBox

from piezolab.chapters import ChapterFile, find_chapters
from piezolab.lessons.shelf import known_lessons
from piezolab.location import notebooks_dir
from piezolab.pages.kit.address import Address
from piezolab.pages.kit.blocks import Block, Buttons, Look, bullets
from piezolab.pages.kit.controls import Controls, folded_groups
from piezolab.pages.kit.examples import HOME
from piezolab.pages.kit.keepsake import Keepsake
from piezolab.pages.kit.opening import Opening
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.share import Share
from piezolab.pages.kit.ways import Ways
from piezolab.pages.start.glance import picture
from piezolab.pages.start.scenario import WORKSHOP, instruments


class Start:
    """The start page with its bench; `widget` is what the notebook shows."""

    def __init__(self, state: PageState) -> None:
        self.state = state
        self.problems = Block("problems", _problems(state.problems))
        self.glance = Block("glance", title="Your chain")
        self.chapters = Block("questions", title="The questions")
        self.lessons = Block("questions", lesson_cards(served()), title="Lessons")
        self.examples = Buttons("instruments to start from", {i.name: self._starter(i.chain) for i in instruments()})
        self.bar = Buttons("this page", {"undo": state.undo, "redo": state.redo, "over": state.start_over})
        self.controls = Controls(state, folded_groups(), "the whole chain")
        self.address = Address(state)
        self.share = Share(state, self.address)
        self.opening = Opening(state, every_change=True)
        about = (
            f"<p>Three instruments of the {escape(WORKSHOP)}, which is invented. Take one as your start, and change it "
            "below.</p>"
        )
        self.widget = VBox([
            Look(), self.problems, self.opening, self.glance, self.chapters, self.lessons,
            Block("about", about, title="Somewhere to start"),
            self.examples, self.bar, self.controls, self.share, Ways(state, ""), Keepsake(), self.address,
        ]).add_class("pz-page")  # fmt: skip
        state.observe(self._show, ["chain", "can_undo", "can_redo"])
        self._show()

    def _starter(self, chain: Any) -> Any:
        return lambda: self.state.put(chain)

    def _show(self, _change: Any = None) -> None:
        state = self.state
        self.glance.content = picture(state.chain)
        self.chapters.content = cards(find_chapters(notebooks_dir()), state.carried, served())
        self.examples.show([
            {"word": i.name, "label": i.label, "note": i.note, "held": i.chain == state.chain} for i in instruments()
        ])  # fmt: skip
        self.bar.show([
            {"word": "undo", "label": "undo", "off": not state.can_undo},
            {"word": "redo", "label": "redo", "off": not state.can_redo},
            {"word": "over", "label": "start over"},
        ])  # fmt: skip


def served() -> bool:
    """Whether this is a served page, so that addresses of chapters lead somewhere."""
    return "QUERY_STRING" in os.environ


def cards(chapters: list[ChapterFile], query: str, linked: bool) -> str:
    """The chapters by their questions; links carry the chain along."""
    items = []
    for chapter in chapters:
        inside = f"<strong>{escape(chapter.title)}</strong>"
        if chapter.answers:
            inside += f" {escape(chapter.answers)}"
        if linked:
            target = chapter.slug + ("?" + query if query else "")
            items.append(f'<li><a href="{escape(target)}">{inside}</a></li>')
        else:
            items.append(f"<li><p>{inside} (open {escape(chapter.file)})</p></li>")
    return f'<ul class="pz-cards">{"".join(items)}</ul>'


def lesson_cards(linked: bool) -> str:
    """The lessons by title; each starts with a chain of its own."""
    items = []
    for lesson in known_lessons():
        inside = f"<strong>{escape(lesson.title)}</strong> about {lesson.minutes} minutes"
        target = escape(f"{lesson.chapter}?lesson={lesson.name}")
        items.append(f'<li><a href="{target}">{inside}</a></li>' if linked else f"<li><p>{inside}</p></li>")
    return f'<ul class="pz-cards">{"".join(items)}</ul>' if items else ""


def _problems(sentences: tuple[str, ...]) -> str:
    if not sentences:
        return ""
    return "<h2>The opened link has mistakes. These values have their defaults:</h2>" + bullets(sentences)


def make(link: str | None = None) -> Start:
    """The start page, with all its parts at hand."""
    return Start(PageState.opened(link, HOME))


def page(link: str | None = None):
    """The start page as a widget."""
    return make(link).widget
