"""The page standard in a hand: nothing sideways, room for a thumb, verdict and plot in view, no text cut off.

Every page is opened once on a phone; the tests of one page share it.
"""

import pytest

from tests.browser.checks import axe, cut, small, wide
from tests.browser.standard import NAMES, PAGES, PATIENCE_MS, PHONE, come_up, rest, unfold
from tests.serving.browsing import Page

pytestmark = pytest.mark.browser

WIDTHS = (360, 390, 430)
UPRIGHT, LYING = {"width": 390, "height": 844}, {"width": 844, "height": 390}


@pytest.fixture(scope="module", params=PAGES, ids=NAMES)
def page(browser, chapters, request):
    """The page on a phone, with a pickup small enough that something happens."""
    one = Page(browser, chapters, **PHONE)
    come_up(one, request.param, "pickup_c=1n5")
    yield one
    one.close()


def turn(page: Page, size: dict[str, int]) -> None:
    """Give the screen another size and wait until the plots have followed."""
    page.page.set_viewport_size(size)
    page.page.wait_for_function("width => innerWidth === width", arg=size["width"])
    rest(page)


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_axe_finds_nothing(page, theme):
    page.page.emulate_media(color_scheme=theme)
    turn(page, UPRIGHT)
    unfold(page)
    assert axe(page) == []


def test_axe_finds_nothing_while_it_plays_and_an_entry_is_wrong(page):
    """All that can be open and heard at once, light and dark: playing, folds open, an error said, after a touch."""
    play, touch = page.page.locator(".pz-player-play"), page.page.locator(".pz-player-touch:visible")
    if not page.page.locator(".pz-player-compact").count():
        return  # the same player as on the others, below the chapter's own job
    page.page.emulate_media(color_scheme="light")
    turn(page, UPRIGHT)
    unfold(page)
    entry = page.page.locator(".pz-control .pz-entry").first
    entry.fill("a lot")
    entry.press("Enter")
    page.page.locator(".pz-control [role=alert]:not(:empty)").first.wait_for()
    (touch.first if touch.count() else play.first).click()
    page.page.locator(".pz-player[data-state=playing]").wait_for(timeout=PATIENCE_MS)
    found = {}
    for theme in ("light", "dark"):
        page.page.emulate_media(color_scheme=theme)
        rest(page)
        play.first.hover()
        assert page.page.locator(".pz-player-play.pz-player-on").count() == 1
        found[theme] = axe(page)
    play.first.click()
    page.page.locator(".pz-player[data-state=playing]").wait_for(state="detached")
    if touch.count():
        touch.first.click()  # as it was, for the tests that follow
        rest(page)
    assert found == {"light": [], "dark": []}


@pytest.mark.parametrize("width", WIDTHS)
def test_nothing_is_too_wide_cut_off_or_too_small_for_a_thumb(page, width):
    turn(page, {"width": width, "height": 844})
    unfold(page)
    assert (wide(page), cut(page), small(page)) == ([], [], [])


@pytest.mark.parametrize("size", [UPRIGHT, LYING], ids=["upright", "lying"])
def test_verdict_plot_and_the_control_are_in_view_while_it_moves(page, size):
    if not page.page.locator(".pz-try").count():
        return  # a page that has nothing to move a curve with has nothing to hide
    # Folds without a slider are shut: what is in them would only be worked out anew after each move.
    page.page.evaluate("""() => {
        for (const fold of document.querySelectorAll("details")) fold.open = Boolean(fold.querySelector(".pz-control"));
    }""")
    turn(page, size)
    # On a screen that lies on its side, question and paragraph have been read and scrolled away.
    start = "0" if size is UPRIGHT else "scrollY + document.querySelector('.pz-try').getBoundingClientRect().top"
    sliders = page.page.locator(".pz-side .pz-control input[type=range]:visible")
    count = sliders.count()
    assert count > 20
    faults = []
    for number in {0, 1, 2, count // 3, 2 * count // 3, count - 1}:
        slider = sliders.nth(number)
        rest(page)  # what the move before it still brings may push it away
        # What is in view already need not be scrolled to: the browser would count from the top of the page.
        slider.evaluate(f"""e => {{
            document.activeElement.blur();
            scrollTo(0, {start});
            const {{ top, bottom }} = e.getBoundingClientRect();
            e.focus({{ preventScroll: top >= 0 && bottom <= innerHeight }});
        }}""")
        page.page.keyboard.press("ArrowRight")
        faults += page.page.evaluate(_IN_VIEW)
    assert faults == []


_IN_VIEW = """async () => {
    await new Promise((done) => setTimeout(() => requestAnimationFrame(done), 250));
    const slider = document.activeElement, faults = [];
    const say = (what) => faults.push(`${slider.dataset.slider}: ${what}`);
    for (const part of [".pz-verdict", ".pz-stick .piezolab-plot"]) {
        const { top, bottom } = document.querySelector(part).getBoundingClientRect();
        if (top < -1 || bottom > innerHeight + 1) say(`${part} lies from ${top} to ${bottom} of ${innerHeight}`);
    }
    const box = slider.getBoundingClientRect();
    if (box.top < -1 || box.bottom > innerHeight + 1) say(`lies from ${box.top} to ${box.bottom} of ${innerHeight}`);
    for (const x of [box.left + 5, box.left + box.width / 2, box.right - 5]) {
        const top = document.elementFromPoint(x, box.top + box.height / 2);
        if (top !== slider) say(`is covered at ${x} by ${top?.outerHTML.slice(0, 80) ?? "the edge of the screen"}`);
    }
    const entry = slider.closest(".pz-control").querySelector(".pz-entry").getBoundingClientRect();
    const over = document.elementFromPoint(entry.left + 5, entry.top + 5);
    if (!over?.closest(".pz-control")) say("its value is hidden");
    return faults;
}"""


def test_a_longer_verdict_moves_nothing_under_the_finger(page):
    if not page.page.locator(".pz-try").count():
        return
    turn(page, UPRIGHT)
    moved = page.page.evaluate(
        """async () => {
            const verdict = document.querySelector(".pz-verdict");
            const top = () => document.querySelector(".pz-side").getBoundingClientRect().top;
            const still = () => new Promise((done) => setTimeout(() => requestAnimationFrame(done), 300));
            scrollTo(0, 0);
            const places = [];
            for (const lines of [3, 4, 5]) {
                verdict.style.height = `${lines * 24 + 12}px`;
                await still();
                places.push([top(), verdict.offsetHeight]);
            }
            verdict.style.height = "";
            await still();
            return places;
        }"""
    )
    tops, heights = zip(*moved, strict=True)
    assert heights[0] < heights[1] < heights[2]
    assert max(tops) - min(tops) <= 2


def test_stillness_is_honoured(page):
    page.page.emulate_media(reduced_motion="reduce")
    moving = page.page.evaluate(
        """() => [...document.querySelectorAll("*")].filter((e) => {
            const style = getComputedStyle(e);
            const takes = (list) => list.split(",").some((one) => parseFloat(one) > 0);
            return (takes(style.transitionDuration) && !style.transitionProperty.includes("none"))
                || (takes(style.animationDuration) && style.animationName !== "none")
                || style.scrollBehavior === "smooth";
        }).map((e) => e.outerHTML.slice(0, 100))"""
    )
    assert moving == []


def test_nothing_failed(page):
    assert page.problems == []
