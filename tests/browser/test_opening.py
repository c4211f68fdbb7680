"""Whose chain a page shows, in a real browser: the example, a link's, this browser's own."""

import pytest
from playwright.sync_api import expect

from tests.browser.chapter import DESK, PHONE, address, verdict
from tests.serving.browsing import Page

pytestmark = pytest.mark.browser

SLUG = "where-does-the-bass-go"


def said(page: Page):
    return page.page.locator(".pz-opening")


def press(page: Page, name: str) -> None:
    page.page.get_by_role("button", name=name, exact=True).click()


def test_the_story_goes_on_from_example_to_example_until_the_chain_is_moved(visit, screen):
    page = visit(**screen).open(SLUG)
    assert "17 dB down" in verdict(page)
    expect(said(page)).to_contain_text("Example: stick dulcimer into a line input.")
    page.page.locator(".pz-ways a[data-way=next]").click()
    page.page.wait_for_url("**/will-this-transistor-do")
    page.drawn()
    expect(said(page)).to_contain_text("Example: stick dulcimer, a 2N3819 in a gain stage.")
    entry = page.page.get_by_label("source resistor", exact=True)
    entry.fill("470")
    entry.press("Enter")
    address(page, r"\?stage=gain&jfet=2N3819&source_r=470")
    expect(said(page)).to_contain_text("Changed from the example")
    page.page.locator(".pz-ways a[data-way=next]").click()
    page.page.wait_for_url("**/what-do-cable-and-input-change?stage=gain&jfet=2N3819&source_r=470*")
    assert page.problems == []


def test_ones_own_comes_back_and_can_be_forgotten(visit):
    page = visit(**PHONE).open(f"{SLUG}?pickup_c=3n3")
    press(page, "make it mine")
    expect(said(page)).to_contain_text("Yours")
    page.page.wait_for_function("() => document.cookie.includes('piezolab-own=')")
    entry = page.page.get_by_label("gate resistor", exact=True)
    entry.fill("10M")
    entry.press("Enter")
    address(page, r"pickup_c=3n3&gate_r=10M$")
    page.open("how-loud-before-it-clips")
    expect(said(page)).to_contain_text("Yours")
    page.page.locator(".pz-ways a[data-way=before]").click()
    page.page.wait_for_url("**?pickup_c=3n3&gate_r=10M")
    page.drawn()
    page.open(f"{SLUG}?v=1")
    expect(page.page.get_by_label("gate resistor", exact=True)).to_have_value("4M7")
    page.open(SLUG)
    expect(page.page.get_by_label("gate resistor", exact=True)).to_have_value("10M")
    press(page, "forget mine")
    page.page.wait_for_function("() => !document.cookie.includes('piezolab-own=')")
    page.open(SLUG)
    expect(said(page)).to_contain_text("Example")
    assert page.problems == []


def test_back_to_the_example_shows_it_and_keeps_ones_own(visit):
    page = visit(**DESK).open("", drawn=False)
    page.page.get_by_role("button", name="tea-chest bass").click()
    expect(said(page)).to_contain_text("Yours")
    page.open(SLUG)
    assert "your E (41 Hz)" in verdict(page)
    press(page, "back to the example")
    expect(said(page)).to_contain_text("Example: stick dulcimer")
    expect(page.page.locator(".pz-verdict")).to_contain_text("17 dB down")
    page.open(SLUG)
    assert "your E (41 Hz)" in verdict(page)
