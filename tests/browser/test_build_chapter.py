"""The chapter on building and checking in a real browser: ticks that last, the sheet as a file and as a window, a
measurement that reaches the address, the tone."""

import re

import pytest

from tests.browser.chapter import DESK, PHONE, address, verdict
from tests.browser.standard import rest
from tests.serving.browsing import WAIT_MS

pytestmark = pytest.mark.browser

SLUG = "how-do-i-build-it-and-check-it"
TONE_GAIN = """async () => {
    const button = [...document.querySelectorAll(".pz-tone button")][0];
    button.click();
    await new Promise((done) => setTimeout(done, 300));
    return [document.querySelector(".pz-tone").dataset.state, button.getAttribute("aria-pressed"), button.textContent];
}"""


def unfold(page, heading: str) -> None:
    """Open the fold whose heading starts so."""
    summary = page.page.locator("summary").filter(has_text=re.compile(rf"^\s*{heading}")).locator("visible=true").first
    summary.click()


def test_comes_up_and_the_layout_has_its_true_size(visit, screen):
    page = visit(**screen).open(f"{SLUG}?v=1")
    rest(page)
    assert "At first power" in verdict(page)
    bar = page.page.locator(".pz-board svg.scale .fifty").first
    bar.scroll_into_view_if_needed()
    # a CSS millimetre is 96/25.4 px
    assert bar.bounding_box()["width"] == pytest.approx(50 * 96 / 25.4, abs=0.6)
    assert page.page.evaluate("document.documentElement.scrollWidth") <= screen["viewport"]["width"]
    assert page.problems == []


def test_a_tick_by_the_keyboard_is_there_again_after_a_visit(visit):
    page = visit(**PHONE).open(f"{SLUG}?v=1")
    rest(page)
    unfold(page, "Build it, step by step")
    box = page.page.get_by_role("checkbox", name=re.compile("Lay out all parts"))
    box.focus()
    page.page.keyboard.press("Space")
    page.page.wait_for_function("() => localStorage.getItem('piezolab:checks')?.includes('build-1')")
    page.open(f"{SLUG}?v=1")
    unfold(page, "Build it, step by step: 1 done")
    again = page.page.get_by_role("checkbox", name=re.compile("Lay out all parts"))
    page.page.wait_for_function("() => document.querySelectorAll('.pz-checklist input:checked').length === 1")
    assert again.is_checked()
    page.page.get_by_role("button", name="take all ticks away").click()
    page.page.wait_for_function("() => document.querySelectorAll('.pz-checklist input:checked').length === 0")
    assert page.problems == []


def test_the_sheet_is_saved_and_opened_and_needs_nothing(visit):
    page = visit(**DESK).open(SLUG + "?pickup_c=1n5")
    rest(page)
    with page.page.expect_download(timeout=WAIT_MS * 2) as waiting:
        page.page.get_by_role("button", name="download sheet").click()
    with open(waiting.value.path(), encoding="utf-8") as file:
        text = file.read()
    assert waiting.value.suggested_filename == "piezolab-build-sheet.html"
    assert "pickup_c=1n5" in text and "First power" in text and "<script" not in text
    with page.page.expect_popup() as opened:
        page.page.get_by_role("button", name="print it").click()
    opened.value.locator("main.sheet").wait_for(timeout=WAIT_MS * 2)
    assert opened.value.evaluate("document.querySelector('.sheet').offsetWidth") > 300
    assert page.problems == []


def test_a_measured_pickup_goes_into_the_address(visit):
    page = visit(**DESK).open(f"{SLUG}?v=1")
    rest(page)
    unfold(page, "Measure what you have")
    form = page.page.locator("form").filter(has_text="by the meter's own range")
    form.get_by_label("meter's reading").fill("14.73n")
    form.get_by_role("button", name="work it out").click()
    page.page.get_by_text("nF; between").wait_for()
    page.page.get_by_role("button", name="put it into the chain as pickup capacitance").click()
    address(page, "pickup_c=14n7")
    page.page.get_by_role("button", name="forget these ranges").wait_for()
    assert page.problems == []


def test_another_board_and_the_tone(visit):
    page = visit(**DESK).open(f"{SLUG}?v=1")
    rest(page)
    form = page.page.locator(".pz-side form")
    form.get_by_label("kind of board", exact=True).select_option("breadboard")
    form.get_by_role("button", name="use these").click()
    page.page.get_by_text("plug-in breadboard", exact=False).first.wait_for()
    page.page.wait_for_function("() => document.querySelector('.pz-verdict .pz-body').innerText.includes('breadboard')")
    unfold(page, "Power on: what the meter should show")
    page.page.get_by_role("button", name="400 Hz tone").wait_for()
    assert page.page.evaluate(TONE_GAIN) == ["playing", "true", "stop the 400 Hz tone"]
    page.page.get_by_role("button", name="stop the 400 Hz tone").click()
    page.page.wait_for_function("() => document.querySelector('.pz-tone').dataset.state === 'idle'")
    assert page.problems == []
