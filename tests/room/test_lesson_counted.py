"""A visitor solves a lesson's task in a real browser, and the projector page counts it, once and without a name."""

import time

import pytest

from tests.room.conftest import open_room


@pytest.mark.browser
def test_a_solved_task_is_counted_on_the_projector_page(browser) -> None:
    room, context = open_room(None, lesson="find-the-hum"), browser.new_context()
    try:
        page = context.new_page()
        page.goto(room.url + "who-makes-the-hiss-and-the-hum?lesson=find-the-hum")
        page.wait_for_selector('[data-state="drawn"]', timeout=60_000)
        form = page.locator("form.pz-task").first
        form.locator("input").fill("-27.2")
        for _ in range(2):  # a second time counts nothing
            form.get_by_role("button").click()
            page.get_by_text("✓ solved").wait_for(timeout=20_000)
        projector = context.new_page()
        projector.goto(room.url + "projector")
        end = time.monotonic() + 20
        while projector.get_by_text("1 solved it").count() != 1 and time.monotonic() < end:
            projector.wait_for_timeout(250)
        assert projector.get_by_text("1 solved it").count() == 1
    finally:
        context.close()
        room.stop()
