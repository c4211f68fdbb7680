"""What is seen first: words at rest, the main action within the first screen, and how many actions a task takes."""

import pytest

from tests.browser.chapter import DESK, PHONE
from tests.browser.standard import PAGES, PATIENCE_MS, WORDS, come_up
from tests.serving.browsing import Page

pytestmark = pytest.mark.browser

MOST_FIRST, MOST_PAGE, MOST_ACTIONS = 160, 1100, 3
LOW_PX = 664  # what a phone of 390 × 844 shows beside its browser's bars

#: What a page is first for: these can be seen without scrolling.
MAIN = {
    "where-does-the-bass-go": ["[data-key=input] select", ".pz-player button"],
    "will-this-transistor-do": [".pz-measuring form input"],
    "what-do-cable-and-input-change": ["[data-key=input] select"],
    "who-makes-the-hiss-and-the-hum": ["[data-key=shield_db]"],
    "how-loud-before-it-clips": ["[data-key=play_v]"],
    "what-shall-i-build-from-my-drawer": [".pz-form-block button[type=submit]"],
    "how-do-i-build-it-and-check-it": [".pz-sheet button"],
    "where-is-the-fault": ["[aria-label='what you hear'] button"],
    "did-it-do-what-was-predicted": [".pz-verdict .pz-body", ".pz-sound-input .pz-button"],
}


_BOTH = [(chapter, size) for size in (PHONE, DESK) for chapter in PAGES]
_IDS = [f"{chapter.slug or 'start'} {size['viewport']['width']}" for chapter, size in _BOTH]


@pytest.fixture(scope="module", params=_BOTH, ids=_IDS)
def page(request, browser, chapters):
    chapter, size = request.param
    one = Page(browser, chapters, **size)
    come_up(one, chapter)
    yield chapter, one, size
    one.close()


def _bottoms(page: Page, slug: str) -> list[float]:
    boxes = [page.page.locator(one).first.bounding_box() for one in MAIN.get(slug, [])]
    assert all(boxes), "what the page is for is not there"
    return [box["y"] + box["height"] for box in boxes]


def test_few_words_and_the_main_action_come_first(page):
    chapter, one, size = page
    height = size["viewport"]["height"]
    first, all_words = one.page.evaluate(WORDS)
    assert first <= MOST_FIRST and all_words <= MOST_PAGE, (first, all_words)
    lowest = max(_bottoms(one, chapter.slug), default=0)
    assert lowest <= height
    if size is PHONE:  # with the browser's bars it is at most one swipe away
        assert lowest <= 2 * LOW_PX


class Hand:
    """A thumb on a phone; counts taps, entries and swipes of one screen."""

    def __init__(self, page: Page) -> None:
        self.page, self.actions = page, 0

    def reach(self, found) -> None:
        """Swipe until it lies within the screen."""
        found.wait_for(timeout=PATIENCE_MS)
        for _ in range(20):
            box = found.bounding_box()
            if box["y"] >= 0 and box["y"] + min(box["height"], LOW_PX / 2) <= LOW_PX:
                return
            self.page.page.evaluate("by => scrollBy(0, by)", LOW_PX if box["y"] > 0 else -LOW_PX)
            self.actions += 1
        raise AssertionError("out of reach")

    def tap(self, found) -> None:
        self.reach(found)
        found.click()
        self.actions += 1

    def enter(self, found, text: str) -> None:
        """Fill a field that lies within the screen; typed values are not counted."""
        self.reach(found)
        found.fill(text)


@pytest.fixture
def hand(browser, chapters):
    made = []

    def on(slug: str) -> Hand:
        made.append(Page(browser, chapters, **{**PHONE, "viewport": {"width": 390, "height": LOW_PX}}))
        come_up(made[-1], next(chapter for chapter in PAGES if chapter.slug == slug))
        return Hand(made[-1])

    yield on
    for page in made:
        page.close()


def test_a_loss_is_seen_and_heard(hand):
    one = hand("where-does-the-bass-go")
    one.reach(one.page.page.locator(".pz-verdict"))
    assert "dB down" in one.page.page.locator(".pz-verdict .pz-body").inner_text()
    assert one.actions <= MOST_ACTIONS
    one.tap(one.page.page.locator(".pz-player .pz-button").first)
    one.page.page.locator(".pz-player[data-state=playing]").wait_for(timeout=PATIENCE_MS)
    assert one.actions <= MOST_ACTIONS


def test_a_finished_measurement_is_applied(hand):
    one = hand("will-this-transistor-do")
    web = one.page.page
    for label, text in (("voltage across the first", "0.613"), ("voltage across the second", "1.05")):
        web.get_by_label(label, exact=True).fill(text)
    web.get_by_role("button", name="work it out").click()
    one.tap(web.get_by_role("button", name="use it in this chain"))
    web.get_by_text("It is in this chain.").wait_for(timeout=PATIENCE_MS)
    assert one.actions <= MOST_ACTIONS


def test_the_sheet_is_opened(hand):
    one = hand("how-do-i-build-it-and-check-it")
    with one.page.page.expect_popup(timeout=PATIENCE_MS):
        one.tap(one.page.page.get_by_role("button", name="print it"))
    assert one.actions <= MOST_ACTIONS


def test_a_search_for_a_fault_is_begun(hand):
    one = hand("where-is-the-fault")
    weak = one.page.page.get_by_role("button", name="weak", exact=True)
    one.tap(weak)
    one.page.page.locator("[aria-pressed=true]").get_by_text("weak").wait_for(timeout=PATIENCE_MS)
    assert one.actions <= MOST_ACTIONS


def test_the_next_chapter_is_opened(hand):
    one = hand("where-does-the-bass-go")
    one.tap(one.page.page.locator(".pz-slim [data-way=next]"))
    one.page.page.wait_for_url("**/will-this-transistor-do*", timeout=PATIENCE_MS)
    assert one.actions <= MOST_ACTIONS
