"""The first chapter in a real browser, on a desk and in a hand."""

from urllib.parse import urlsplit

import pytest
from playwright.sync_api import expect

from tests.browser.chapter import DESK, LINK, SLUG, address, move, verdict

pytestmark = pytest.mark.browser


def test_comes_up_from_a_share_link(visit, screen, chapters):
    page = visit(**screen).open(LINK)
    assert page.page.title() == "Where does the bass go?"
    assert page.page.locator("h1").inner_text() == "Where does the bass go?"
    assert "17 dB down" in verdict(page)
    expect(page.page.get_by_label("pickup capacitance", exact=True)).to_have_value("1n5")
    assert page.page.locator(".pz-schematic svg").is_visible()
    host = urlsplit(chapters.url).netloc
    own = ("blob:", "data:")
    assert [r.url for r in page.requests if not r.url.startswith(own) and urlsplit(r.url).netloc != host] == []
    assert page.problems == []


def test_a_slider_redraws_plot_verdict_and_address(visit, screen):
    page = visit(**screen).open(LINK)
    before, said = page.curve(), verdict(page)
    move(page, "pickup_c", "ArrowRight", times=12)
    address(page, r"pickup_c=4n7")
    page.page.wait_for_function("said => document.querySelector('.pz-verdict .pz-body').innerText !== said", arg=said)
    assert page.curve() != before
    expect(page.page.get_by_label("pickup capacitance", exact=True)).to_have_value("4n7")
    assert page.problems == []


def test_dragging_with_the_mouse_is_one_step_back(visit):
    page = visit(**DESK).open(LINK)
    slider = page.page.locator("[data-slider=gate_r]").first
    box = slider.bounding_box()
    page.page.mouse.move(box["x"] + box["width"] * 0.63, box["y"] + box["height"] / 2)
    page.page.mouse.down()
    for part in (0.6, 0.5, 0.4, 0.3):
        page.page.mouse.move(box["x"] + box["width"] * part, box["y"] + box["height"] / 2, steps=4)
    page.page.mouse.up()
    address(page, r"gate_r=")
    page.page.get_by_role("button", name="undo").click()
    address(page, r"1n5&input=pedal-vintage$")
    expect(page.page.get_by_label("gate resistor", exact=True)).to_have_value("4M7")


def test_exact_entry_and_what_is_said_of_a_wrong_one(visit, screen):
    page = visit(**screen).open(f"{SLUG}?v=1")
    entry = page.page.get_by_label("gate resistor", exact=True)
    entry.fill("3.3 Mohm")
    entry.press("Enter")
    address(page, r"gate_r=3M3$")
    expect(entry).to_have_value("3M3")
    entry.fill("3m3")
    entry.press("Enter")
    alert = page.page.locator("[data-key=gate_r] [role=alert]")
    alert.get_by_text("did you mean 3M3?").wait_for()
    expect(entry).to_have_value("3m3")
    assert entry.get_attribute("aria-invalid") == "true"
    assert page.page.url.endswith("gate_r=3M3")
