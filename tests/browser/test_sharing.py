"""Links that are copied, pasted, wrong; and what a browser keeps."""

import pytest
from playwright.sync_api import expect

from tests.browser.chapter import DESK, LINK, PHONE, SLUG, address, move, open_share, verdict

pytestmark = pytest.mark.browser


def test_copied_link_opens_the_same_state(visit, chapters):
    page = visit(**DESK, permissions=["clipboard-read", "clipboard-write"]).open(LINK)
    move(page, "cable_m", "ArrowRight", times=4)
    address(page, "cable_m=")
    fields = "[...document.querySelectorAll('.pz-share input')].map(field => field.value)"
    page.page.wait_for_function(f"() => {fields}.includes(location.href)")
    open_share(page)
    page.page.locator("[data-copy=link]").click()
    page.page.get_by_text("Copied: full link.").wait_for()
    copied = page.page.evaluate("navigator.clipboard.readText()")
    assert copied == page.page.url
    other = visit(**PHONE).open(copied.removeprefix(chapters.url))
    expect(other.page.get_by_label("output cable length", exact=True)).to_have_value("4")
    assert verdict(other) == verdict(page)


def test_copying_works_without_the_clipboard_interface(visit):
    page = visit(**DESK)
    page.page.add_init_script("Object.defineProperty(navigator, 'clipboard', { value: undefined })")
    page.open(LINK)
    open_share(page)
    page.page.locator("[data-copy=text]").click()
    page.page.get_by_text("Copied: configuration text.").wait_for()
    paste = page.page.get_by_label("open a shared configuration")
    paste.fill("")
    paste.press("Control+V")
    expect(paste).to_have_value("pickup_c=1n5&input=pedal-vintage")


def test_a_pasted_configuration_is_opened(visit):
    page = visit(**PHONE).open(f"{SLUG}?v=1")
    open_share(page)
    page.page.get_by_label("open a shared configuration").fill("http://workshop.example/other?pickup_c=2n2&stage=direct")
    page.page.get_by_role("button", name="open it").click()
    address(page, r"pickup_c=2n2&stage=direct$")
    page.page.get_by_role("button", name="put a follower in").click()
    address(page, r"pickup_c=2n2$")


def test_mistakes_in_a_link_are_listed_and_shown_as_text(visit):
    page = visit(**DESK).open(f"{SLUG}?pickup_c=1n5&gate_r=3m3&%3Cimg+src%3Dx%3E=1&gate=1")
    listed = page.page.locator(".pz-problems").inner_text()
    assert "gate resistor" in listed and "did you mean 3M3?" in listed
    assert "<img src=x>" in listed
    assert page.page.locator(".pz-problems img").count() == 0
    expect(page.page.get_by_label("pickup capacitance", exact=True)).to_have_value("1n5")
    expect(page.page.get_by_label("gate resistor", exact=True)).to_have_value("4M7")
    assert page.problems == []


def test_kept_curve_and_solved_tasks_are_found_again(visit):
    page = visit(**DESK).open(LINK)
    page.page.get_by_role("button", name="keep this curve").click()
    page.page.get_by_role("button", name="drop the kept curve").wait_for()
    page.page.locator(".pz-tasks input[type=text]").fill("159 Hz")
    page.page.locator(".pz-tasks button").first.click()
    page.page.get_by_text("Right: 159 Hz.").wait_for()
    page.page.wait_for_function("() => localStorage.getItem('piezolab:tasks') !== null")
    page.open(f"{SLUG}?pickup_c=10n")
    page.page.get_by_role("button", name="drop the kept curve").wait_for()
    page.page.get_by_text("✓ solved").wait_for()
    names = "document.querySelector('.js-plotly-plot')._fullData.filter((t) => t.showlegend).map((t) => t.name)"
    page.page.wait_for_function(f"() => {names}.includes('kept')")
