"""The pages that the server makes itself keep the same standard as the chapters: waiting, projector, room sheet."""

import pytest
import requests

from piezolab.lessons.shelf import lesson_named
from tests.browser.chapter import DESK, PHONE
from tests.browser.checks import axe, small, unnamed, wide
from tests.room.conftest import Guest, open_room
from tests.serving.browsing import WAIT_MS, Page

pytestmark = pytest.mark.browser
LESSON = lesson_named("will-this-transistor-do")  # the one with the most tasks

#: Where each page is, and what it says once it is complete.
PAGES = {
    "waiting": ("is-it-empty", "You are number 1 in the line."),
    "projector": ("projector", "1 solved it"),
    "room sheet": ("room-sheet", "The figures are estimates"),
    "no cookies": ("is-it-empty", "Your browser keeps no cookie"),
}


@pytest.fixture(scope="module")
def full_room(room_notebooks):
    """One seat, which is taken by somebody who has solved a task."""
    server = open_room(room_notebooks, seats=1, lesson=LESSON.name)
    guest = Guest(server)
    guest.come_in()
    assert guest.solved({"lesson": LESSON.name, "tasks": [LESSON.tasks[0].name]}).status_code == 204
    yield server
    server.stop()


def without_cookies(page: Page) -> None:
    """Let the browser's requests go out without a cookie, and none come back."""

    def bare(route) -> None:
        answer = requests.get(route.request.url, timeout=20)
        route.fulfill(status=answer.status_code, content_type=answer.headers["Content-Type"], body=answer.content)

    page.page.route("**/*", bare)


@pytest.mark.parametrize("name", PAGES)
def test_page_of_the_room_can_be_read_by_everybody(full_room, browser, name):
    path, last = PAGES[name]
    for screen in (DESK, PHONE):
        page = Page(browser, full_room, **screen)
        try:
            if name == "no cookies":
                without_cookies(page)
            page.open(path, drawn=False)
            page.page.get_by_text(last).first.wait_for(timeout=3 * WAIT_MS)
            for scheme in ("light", "dark"):
                page.page.emulate_media(color_scheme=scheme)
                found = {"axe": axe(page), "wide": wide(page), "unnamed": unnamed(page), "small": small(page)}
                assert not any(found.values()), (screen, scheme, found)
            page.page.emulate_media(color_scheme="light")
            if screen is DESK:  # as much larger as WCAG 2.2 asks for (1.4.4), and as narrow as it asks for (1.4.10)
                page.page.set_viewport_size({"width": 320, "height": 600})
                assert not wide(page)
            assert not page.problems
        finally:
            page.close()


def test_numbers_on_the_wall_are_large(full_room, browser):
    """From ten metres, two metres of picture: 24 of 1280 px are 37 mm. Common practice for rooms: 30 mm or more."""
    page = Page(browser, full_room, viewport={"width": 1280, "height": 720})
    try:
        page.open("projector", drawn=False)
        page.page.get_by_text("1 solved it").wait_for(timeout=WAIT_MS)
        sizes = page.page.evaluate(
            "[...document.querySelectorAll('.pz-count b, .pz-number, .pz-address, #seats, #lesson')]"
            ".map((e) => parseFloat(getComputedStyle(e).fontSize))"
        )
        assert len(sizes) == 3 + 2 * len(LESSON.tasks) and min(sizes) >= 24
        # All of it is in the picture, with nobody there to scroll.
        assert page.page.evaluate("document.documentElement.scrollHeight") <= 720
    finally:
        page.close()


def test_room_sheet_is_one_sheet_of_paper(full_room, browser):
    page = Page(browser, full_room)
    try:
        page.open("room-sheet", drawn=False)
        for paper in ("A4", "Letter"):
            # Chromium writes one such object for each page.
            made = page.page.pdf(format=paper)
            assert made.count(b"/Type /Page\n") == 1, paper
    finally:
        page.close()
