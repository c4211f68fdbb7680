"""The chapter on cable and input in a real browser: sections that open, impedance below the level, both sizes."""

import pytest
from playwright.sync_api import expect

from tests.browser.chapter import DESK, PHONE, address, move, verdict

pytestmark = pytest.mark.browser

SLUG = "what-do-cable-and-input-change"
LINK = f"{SLUG}?pickup_c=2n2&stage=direct&input=line-47k"


def test_comes_up_moves_and_stays_within_the_width(visit, screen):
    page = visit(**screen).open(LINK)
    assert page.page.locator("h1").inner_text() == "What do cable and input change?"
    assert "dB down" in verdict(page)
    # the first curve is that of nothing plugged in: it stands still while the other one falls
    levels = "document.querySelector('.js-plotly-plot').data.filter((t) => t.mode === 'lines').map((t) => t.y[300])"
    free, before, *_ = page.page.evaluate(levels)
    move(page, "cable_m", "ArrowRight", times=4)
    address(page, "cable_m=")
    page.page.wait_for_function(f"before => {levels}[1] < before - 0.1", arg=before)
    assert page.page.evaluate(levels)[0] == free
    width = page.page.evaluate("document.documentElement.scrollWidth")
    assert width <= screen["viewport"]["width"]
    assert page.problems == []


def test_a_folded_section_is_empty_until_the_keyboard_opens_it(visit):
    page = visit(**DESK).open(LINK)
    head = page.page.locator(".pz-bridging summary")
    assert page.page.locator(".pz-bridging table").count() == 0
    head.focus()
    page.page.keyboard.press("Enter")
    page.page.locator(".pz-bridging table").wait_for()
    assert "times the output" in page.page.locator(".pz-bridging").inner_text()
    page.page.get_by_role("button", name="put a follower in").click()
    page.page.locator(".pz-bridging").get_by_text("642 Ω").wait_for()
    assert page.problems == []


def test_the_second_plot_is_drawn_and_has_words(visit, screen):
    page = visit(**screen).open(LINK)
    plot = page.page.locator(".pz-plot-section .piezolab-plot")
    plot.scroll_into_view_if_needed()
    expect(plot).to_have_attribute("data-state", "drawn")
    assert "cable, no stage" in plot.get_attribute("aria-label")
    assert page.page.get_by_role("heading", name="How long may lead and cable be?").is_visible()


def test_impedance_is_below_the_level_and_folded_away_on_a_phone(visit, screen):
    page = visit(**screen).open(LINK)
    ticks = "document.querySelectorAll('.pz-stick .js-plotly-plot .y2tick').length"
    if screen is PHONE:
        assert page.page.evaluate(ticks) == 0
        page.page.get_by_role("button", name="impedance").click()
    page.page.wait_for_function(f"() => {ticks} > 0")
