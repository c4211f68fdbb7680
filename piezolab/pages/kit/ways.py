"""The way from a page to the start page and to the chapters before and after it; the chain goes along."""

from __future__ import annotations

from html import escape
from typing import Any

import traitlets

from piezolab.chapters import ChapterFile, find_chapters
from piezolab.location import notebooks_dir
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.piece import STATIC, Piece


class Ways(Piece):
    """Links to the neighbours of the chapter `slug`, empty on the start page; slim: the bar above the page, in which
    they are short and the page's own place stands between them."""

    _esm = STATIC / "ways.js"

    #: Neighbours in reading order: relation, slug, title, file.
    ways = traitlets.List().tag(sync=True)
    query = traitlets.Unicode("").tag(sync=True)
    #: Which of how many, in words.
    place = traitlets.Unicode("").tag(sync=True)
    slim = traitlets.Bool(False).tag(sync=True)

    def __init__(self, state: PageState, slug: str, *, slim: bool = False) -> None:
        chapters = find_chapters(notebooks_dir())
        super().__init__(ways=neighbours(slug, chapters), place=place(slug, chapters), slim=slim, query=state.carried)
        self._state = state
        state.observe(self._follow, ["chain", "settled"])

    def _follow(self, _change: Any = None) -> None:
        # At once: whoever moves a control and goes on means the chain on the screen.
        self.query = self._state.carried


def onward(slug: str, query: str, words: str) -> str:
    """A line that leads to another chapter, HTML; query: what goes along."""
    target = slug + ("?" + query if query else "")
    return f'<p class="pz-onward"><a href="{escape(target)}">{escape(words)}</a></p>'


def neighbours(slug: str, chapters: list[ChapterFile]) -> list[dict[str, str]]:
    """The ways from a page to the start page and to the chapters before and after it."""
    ways = [{"way": "all questions", "slug": "", "title": "", "file": "index.ipynb"}] if slug else []
    slugs = [chapter.slug for chapter in chapters]
    if slug in slugs:
        here = slugs.index(slug)
        around = [("before", here - 1), ("next", here + 1)]
    else:
        around = [("next", 0)]
    for way, number in around:
        if 0 <= number < len(chapters):
            chapter = chapters[number]
            ways.append({"way": way, "slug": chapter.slug, "title": chapter.title, "file": chapter.file})
    return ways


def place(slug: str, chapters: list[ChapterFile]) -> str:
    """Which chapter of how many; "" on another page."""
    slugs = [chapter.slug for chapter in chapters]
    return f"{slugs.index(slug) + 1} of {len(slugs)}" if slug in slugs else ""
