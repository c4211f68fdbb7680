"""The start page in a real browser."""

import pytest

from tests.browser.chapter import address, verdict

pytestmark = pytest.mark.browser


def test_start_page_leads_to_the_chapter_with_the_chain(visit, screen):
    page = visit(**screen).open("", drawn=False)
    page.page.get_by_role("button", name="tea-chest bass").click()
    address(page, r"tuning=E1&")
    page.page.locator(".pz-stops").get_by_text("E1", exact=True).wait_for()
    page.page.locator(".pz-cards a").first.click()
    page.drawn()
    assert "your E (41 Hz)" in verdict(page)
    page.page.get_by_role("link", name="all questions").first.click()
    page.page.locator(".pz-stops").get_by_text("E1", exact=True).wait_for()
    assert page.problems == []
