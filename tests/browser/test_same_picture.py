"""A page looks the same on a computer that has no face of its own: sizes, line heights, formulas."""

from collections.abc import Iterator

import pytest

from tests.browser.standard import DESK, PAGES, PHONE, come_up, unfold
from tests.serving.browsing import Page

pytestmark = pytest.mark.browser

#: The chapters with the plot that everybody sees first, and with the longest formulas.
LOOKED_AT = [
    next(chapter for chapter in PAGES if chapter.slug == slug)
    for slug in ("where-does-the-bass-go", "will-this-transistor-do")
]

_BOXES = """() => [...document.querySelectorAll(
        ".pz-page :is(h2, p, li, td, th, label, summary, button, select, input, math), .piezolab-plot svg text")]
    .filter((e) => e.checkVisibility() && !e.closest(".pz-share, .pz-qr"))
    .map((e) => [e.localName + ": " + e.textContent.slice(0, 40), e.getBoundingClientRect()])
    .map(([words, box]) => [words, Math.round(box.width), Math.round(box.height)])"""

_CUT = """() => [...document.querySelectorAll("math[display=block]")].filter((e) => e.checkVisibility())
    .map((e) => [e.scrollWidth, e.clientWidth, e.scrollHeight, e.clientHeight])"""


@pytest.fixture(params=[DESK, PHONE], ids=["desk", "phone"])
def pair(request, browser, bare_browser, chapters) -> Iterator[list[Page]]:
    pages = [Page(one, chapters, **request.param) for one in (browser, bare_browser)]
    yield pages
    for page in pages:
        page.close()


@pytest.mark.parametrize("chapter", LOOKED_AT, ids=lambda chapter: chapter.slug)
def test_every_text_takes_the_same_room_and_no_formula_scrolls(pair, chapter) -> None:
    seen = []
    for page in pair:
        unfold(come_up(page, chapter))
        seen.append(page.page.evaluate(_BOXES))
        for wide, room, tall, height in page.page.evaluate(_CUT):
            assert wide <= room and tall <= height
    ours, bare = seen
    assert len(ours) > 60
    assert [words for words, *_ in ours] == [words for words, *_ in bare]
    assert [
        (one, two)
        for one, two in zip(ours, bare, strict=True)
        if abs(one[1] - two[1]) > 1 or abs(one[2] - two[2]) > 1
    ] == []


def test_the_text_face_comes_once_and_before_the_style_sheets_ask_for_it(visit) -> None:
    page = come_up(visit(**DESK), LOOKED_AT[0])
    fetched = page.page.evaluate(
        """() => performance.getEntriesByType("resource").filter((e) => e.name.endsWith(".woff2"))
            .map((e) => [e.name.split("/").pop(), e.initiatorType])"""
    )
    assert sorted(fetched)[-2:] == [["text-bold.woff2", "link"], ["text-regular.woff2", "link"]]
    assert [problem for problem in page.problems if "preload" in problem.lower()] == []
