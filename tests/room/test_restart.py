"""A room's server ends and begins anew in the middle of a lesson: nobody presses anything, and nothing is lost."""

import signal

import pytest
import requests

from piezolab.lessons.shelf import lesson_named
from tests.browser.standard import PATIENCE_MS, rest
from tests.room.conftest import open_room
from tests.room.test_lessons_walked import LOW, PHONE, WIDE, Learner
from tests.serving.browsing import Page

pytestmark = pytest.mark.browser

NAME = "where-the-bass-goes"


def test_a_lesson_goes_on_where_it_was(browser) -> None:
    lesson = lesson_named(NAME)
    room = open_room(None, warm=True, seats=4)
    port = int(room.url.rstrip("/").rsplit(":", 1)[1])
    page = Page(browser, room, **{**PHONE, "viewport": {"width": WIDE, "height": LOW}})
    try:
        page.open(f"{lesson.chapter}?lesson={NAME}")
        page.page.locator(".pz-keepsake").wait_for(state="attached", timeout=PATIENCE_MS)
        who = Learner(page, lesson)
        who.to("how-much")
        loss = who.verdict(r"(\d+) dB down")
        who.number(loss, "mind the sign", f"{loss} dB down")
        room.stop(signal.SIGKILL)
        page.page.get_by_text("opens again by itself").wait_for(timeout=PATIENCE_MS)
        room = open_room(None, warm=True, seats=4, port=port)
        page.page.locator("#pz-gone").wait_for(state="hidden", timeout=PATIENCE_MS)
        page.drawn()
        rest(page)
        # the first step that is not solved yet
        page.page.get_by_text("Which of these inputs leaves the low D the most?").wait_for(timeout=PATIENCE_MS)
        for _ in range(100):
            told = requests.get(room.url + "projector/state", timeout=20).json()["lessons"]
            if told and [task["solved"] for task in told[0]["tasks"]][:2] == [1, 0]:
                break
            page.page.wait_for_timeout(200)
        else:
            pytest.fail(f"the wall says {told}")
    finally:
        page.close()
        room.stop()
