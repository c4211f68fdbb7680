"""The start page: the whole chain at a glance, the chapters by their questions, and instruments to start from."""

from __future__ import annotations

import os
from collections.abc import Mapping
from html import escape
from typing import Any

from ipywidgets import VBox

from piezolab.chapters import ChapterFile, find_chapters
from piezolab.lessons.shelf import known_lessons, lesson_named, room_lesson
from piezolab.location import notebooks_dir
from piezolab.pages.kit.address import Address
from piezolab.pages.kit.blocks import Block, Buttons, Look, bullets
from piezolab.pages.kit.examples import HOME
from piezolab.pages.kit.keepsake import Keepsake
from piezolab.pages.kit.opening import Opening
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.share import Share
from piezolab.pages.kit.ways import Ways
from piezolab.pages.start.answers import Answers
from piezolab.pages.start.part_panels import PartPanels
from piezolab.pages.start.scenario import WORKSHOP, instruments


class Start:
    """The start page with its bench; `widget` is what the notebook shows."""

    def __init__(self, state: PageState) -> None:
        self.state = state
        state.at_rest.hold()
        self.look = Look()
        self.problems = Block("problems", _problems(state.problems))
        self.parts = PartPanels(state)
        self.answers = Answers(state, self._show_cards)
        self.chapters = Block("questions", title="The questions")
        self.lessons = Block("questions", lesson_cards(served()), title="Lessons")
        self.examples = Buttons("instruments to start from", {i.name: self._starter(i.chain) for i in instruments()})
        self.bar = Buttons("this page", {"undo": state.undo, "redo": state.redo, "over": state.start_over})
        self.address = Address(state)
        self.share = Share(state, self.address)
        self.opening = Opening(state, every_change=True)
        about = f"<p>Of the {escape(WORKSHOP)}, which is invented.</p>"
        self.keepsake = Keepsake()
        rooms = Block("questions", lesson_cards(served(), room_lesson()), title="This room's lesson")
        self.widget = VBox([
            self.look, self.problems, rooms, self.opening, self.parts, self.chapters, self.lessons,
            Block("about", about, title="Somewhere to start"),
            self.examples, self.bar, self.share, Ways(state, ""), self.keepsake, self.address,
        ]).add_class("pz-page")  # fmt: skip
        self.answers.kept_in(self.keepsake)
        state.at_rest.changed = self._tell_waiting
        self._tell_waiting()
        state.observe(self._show, ["chain", "can_undo", "can_redo"])
        self._show()

    def _starter(self, chain: Any) -> Any:
        return lambda: self.state.put(chain)

    def _tell_waiting(self) -> None:
        self.look.waiting = self.state.at_rest.waiting

    def _show_cards(self) -> None:
        found = find_chapters(notebooks_dir())
        self.chapters.content = cards(found, self.state.carried, served(), self.answers.lines)

    def _show(self, _change: Any = None) -> None:
        state = self.state
        self._show_cards()
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


def cards(chapters: list[ChapterFile], query: str, linked: bool, answers: Mapping[str, str] | None = None) -> str:
    """The chapters by their questions; links carry the chain along. answers: what each would say of the chain, by its
    address word; for those without one stands what the chapter answers."""
    items, answers = [], answers or {}
    for chapter in chapters:
        inside = f"<strong>{escape(chapter.title)}</strong>"
        if answers.get(chapter.slug):
            inside += f'<span class="pz-now">{escape(answers[chapter.slug])}</span>'
        elif chapter.answers:
            inside += f" {escape(chapter.answers)}"
        if linked:
            target = chapter.slug + ("?" + query if query else "")
            items.append(f'<li><a href="{escape(target)}">{inside}</a></li>')
        else:
            items.append(f"<li><p>{inside} (open {escape(chapter.file)})</p></li>")
    return f'<ul class="pz-cards">{"".join(items)}</ul>'


def lesson_cards(linked: bool, only: str | None = None) -> str:
    """The lessons by title, or the one that is asked for; each starts with a chain of its own."""
    items = []
    for lesson in known_lessons() if only is None else filter(None, [lesson_named(only)]):
        inside = f"<strong>{escape(lesson.title)}</strong>{lesson.minutes} min"
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
