"""The second chapter in a real browser: measuring, the bag, solving backwards."""

from urllib.parse import urlsplit

import pytest
from playwright.sync_api import expect

from tests.browser.chapter import DESK, PHONE, address, move, verdict
from tests.browser.standard import rest

pytestmark = pytest.mark.browser

SLUG = "will-this-transistor-do"
READINGS = {"first source resistor": "330R", "voltage across the first": "0.61", "second source resistor": "4k7",
            "voltage across the second": "1.05", "battery of the jig": "9.12"}  # fmt: skip


def measure(page) -> None:
    """Type two readings and have them worked out."""
    for label, text in READINGS.items():
        page.page.get_by_label(label, exact=True).fill(text)
    page.page.get_by_role("button", name="work it out").click()
    page.page.get_by_text("I_DSS is").wait_for()


def says(page, part: str) -> None:
    """Wait until the verdict says something."""
    page.page.locator(".pz-verdict .pz-body", has_text=part).wait_for()


def test_comes_up_from_a_share_link(visit, screen, chapters):
    page = visit(**screen).open(f"{SLUG}?stage=gain&jfet=2N3819")
    assert page.page.title() == page.page.locator("h1").inner_text() == "Will this transistor do?"
    assert "does not work in this gain stage" in verdict(page)
    page.page.locator(".pz-schematic svg").wait_for()
    host = urlsplit(chapters.url).netloc
    own = ("blob:", "data:")
    assert [r.url for r in page.requests if not r.url.startswith(own) and urlsplit(r.url).netloc != host] == []
    assert page.problems == []


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_a_slider_moves_what_stays_in_view(visit, size):
    page = visit(**size).open(f"{SLUG}?v=1")
    told = "document.querySelector('.piezolab-plot').getAttribute('aria-label')"
    before = page.page.evaluate(told)
    slider = page.page.locator("[data-slider=source_r]").first
    slider.scroll_into_view_if_needed()
    move(page, "source_r", "ArrowLeft", times=20)
    address(page, r"source_r=")
    assert page.page.evaluate(told) != before
    inside = "e => { const b = e.getBoundingClientRect(); return [b.top, b.bottom]; }"
    for wanted in (".pz-verdict", ".piezolab-plot"):
        top, bottom = page.page.locator(wanted).first.evaluate(inside)
        assert -1 <= top and bottom <= size["viewport"]["height"] + 1
    box = slider.bounding_box()
    middle = [box["x"] + 20, box["y"] + box["height"] / 2]
    assert page.page.evaluate("([x, y]) => document.elementFromPoint(x, y)?.dataset.slider", middle) == "source_r"
    assert page.problems == []


def test_two_readings_and_the_bag_are_found_again(visit, screen):
    page = visit(**screen).open(f"{SLUG}?v=1")
    measure(page)
    page.page.get_by_role("button", name="into the bag", exact=True).click()
    page.page.get_by_text("Solder no. 1").wait_for()
    page.page.wait_for_function("() => localStorage.getItem('piezolab:bag') !== null")
    page.open(f"{SLUG}?v=1")
    page.page.get_by_text("Solder no. 1").wait_for()
    expect(page.page.get_by_label("voltage across the second", exact=True)).to_have_value("1.05")
    page.page.get_by_role("button", name="use no. 1 with source resistor").click()
    address(page, r"jfet_idss=.*jfet_vgsoff=-1")
    says(page, "Your J113 works")
    assert page.problems == []


def test_a_reading_that_cannot_be_is_said_at_its_field(visit):
    page = visit(**DESK).open(f"{SLUG}?v=1")
    measure(page)
    entry = page.page.get_by_label("voltage across the second", exact=True)
    entry.fill("0.4")
    entry.press("Enter")
    page.page.get_by_text("the larger resistor always shows the higher voltage").wait_for()
    assert entry.get_attribute("aria-invalid") == "true" and entry.input_value() == "0.4"
    described = entry.get_attribute("aria-describedby").split()
    told = [page.page.locator(f"[id='{name}']").inner_text() for name in described]
    assert any("allowed is 610" in text for text in told)
    assert page.page.get_by_role("button", name="use it in this chain").count() == 0


def test_solved_backwards_with_the_keyboard_alone(visit):
    page = visit(**DESK).open(f"{SLUG}?stage=gain&jfet=2N3819")
    button = page.page.get_by_role("button", name="put in: source resistor")
    button.focus()
    page.page.keyboard.press("Enter")
    address(page, r"source_r=")
    says(page, "A typical 2N3819 works")
    page.page.get_by_role("button", name="it is in the chain").wait_for()
    page.page.get_by_role("button", name="undo").click()
    says(page, "does not work")
    series = page.page.get_by_label("values to choose from")
    series.select_option("E96")
    page.page.get_by_role("button", name="look for it").click()
    page.page.locator(".pz-answer", has_text="For a typical 2N3819").first.wait_for()
    assert page.problems == []


def test_a_task_is_solved_and_remembered(visit):
    page = visit(**DESK).open(f"{SLUG}?v=1")
    page.page.locator(".pz-tasks input[type=text]").fill("2 V")
    page.page.locator(".pz-tasks button").first.click()
    page.page.get_by_text("Right: 2.00 V.").wait_for()


def test_no_sideways_scroll_and_room_for_a_thumb(visit):
    page = visit(**PHONE).open(f"{SLUG}?v=1")
    measure(page)
    page.page.get_by_role("button", name="into the bag", exact=True).click()
    page.page.get_by_text("Solder no. 1").wait_for()
    shut = page.page.locator("details:not([open]) > summary:visible")
    while shut.count():
        shut.first.click()
    for width in (360, 390, 430):
        page.page.set_viewport_size({"width": width, "height": 800})
        page.page.wait_for_function("width => innerWidth === width", arg=width)
        assert page.page.evaluate("document.documentElement.scrollWidth") <= width
    small = page.page.evaluate(
        """() => [...document.querySelectorAll("button, summary, select, input, a")]
            .filter((e) => e.offsetParent && !e.closest("label")
                && !e.matches(".pz-skip, .pz-unseen, [type=radio], [type=checkbox]"))
            .map((e) => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])
            .filter(([, box]) => box.height < 43.5).map(([what, box]) => `${what} ${box.height}`)"""
    )
    assert small == []


def test_every_field_has_a_name_of_its_own_and_every_plot_is_told_in_words(visit):
    page = visit(**DESK).open(f"{SLUG}?v=1")
    page.page.locator(".pz-share").wait_for()
    rest(page)
    ids = page.page.evaluate("[...document.querySelectorAll('[id]')].map((e) => e.id)")
    assert len(ids) == len(set(ids))
    nameless = page.page.evaluate(
        """() => [...document.querySelectorAll("input, select, textarea")]
            .filter((e) => !e.labels?.length && !e.getAttribute("aria-label")).map((e) => e.outerHTML.slice(0, 80))"""
    )
    assert nameless == []
    plots = "[...document.querySelectorAll('.piezolab-plot')].filter((e) => e.offsetParent)"
    told = page.page.evaluate(f"() => {plots}.map((e) => e.getAttribute('aria-label'))")
    assert len(told) == 3 and all(told)
