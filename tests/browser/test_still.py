"""Verdict and curve can be read before the front end is there, and stand where the live ones will."""

import pytest

from tests.browser.chapter import DESK, PHONE, SLUG, verdict
from tests.browser.standard import PATIENCE_MS, rest
from tests.serving.browsing import Page

pytestmark = pytest.mark.browser

_PLACES = """() => [".pz-slim", ".pz-opening", ".pz-verdict", ".pz-verdict ~ :is(.pz-still-plot, .piezolab-plot)"]
    .map((what) => {
        const box = document.querySelector(what).getBoundingClientRect();
        return [box.left, box.top, box.width, box.height];
    })"""


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_the_still_stands_where_the_live_page_will(browser, chapters, size):
    page = Page(browser, chapters, **size)
    held = []
    page.page.route("**/voila/voila.js*", lambda route: held.append(route))  # the front end is slow to come
    page.page.goto(chapters.url + SLUG, wait_until="commit")
    page.page.locator("#still .pz-still-plot").wait_for(timeout=PATIENCE_MS)
    said, before = verdict(page), page.page.evaluate(_PLACES)
    assert not page.page.locator("#loading").count()
    assert page.page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")
    held[0].continue_()
    page.drawn()
    rest(page)
    assert not page.page.locator("#still, #still-bar").count()
    assert verdict(page) == said
    after = page.page.evaluate(_PLACES)
    assert before == [pytest.approx(box, abs=2) for box in after]
    assert not page.problems
    page.close()


def test_half_of_the_pages_settings_is_no_error(visit):
    """A page that is still arriving may stand there with half of them; the room's clock looks every second."""
    page = visit(**DESK).open(SLUG)
    rest(page)
    whole = page.page.evaluate(
        """() => {
            const element = document.getElementById("jupyter-config-data");
            const whole = element.textContent;
            element.textContent = whole.slice(0, whole.length / 2);
            return whole;
        }"""
    )
    page.page.keyboard.press("Tab")
    page.page.wait_for_timeout(1500)
    page.page.evaluate("whole => { document.getElementById('jupyter-config-data').textContent = whole; }", whole)
    assert page.problems == []
