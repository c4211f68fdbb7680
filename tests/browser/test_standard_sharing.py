"""Sharing in a room with a plain http address: copying, QR code, pasting what others share, undo."""

import io
from urllib.parse import urlsplit

import numpy as np
import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import expect

from tests.browser.chapter import DESK, LINK, PHONE, SLUG, address, open_share, verdict
from tests.browser.standard import PAGES, PATIENCE_MS, come_up, outside
from tests.conftest import CHROMIUM_ARGUMENTS, find_chromium
from tests.serving.browsing import Page
from tests.serving.live import LiveServer

pytestmark = pytest.mark.browser

HOST = "workshop.example"
CHAPTER = next(chapter for chapter in PAGES if chapter.slug == SLUG)


@pytest.fixture(scope="module")
def room(browser):
    """A server for the whole room, and a browser that finds it by name."""
    server = LiveServer(host="0.0.0.0", patience={"unopened_s": 5.0, "lost_s": 5.0})
    server.url = server.url.replace("127.0.0.1", HOST)
    rule = f"--host-resolver-rules=MAP {HOST} 127.0.0.1"
    other = browser.browser_type.launch(executable_path=find_chromium(), args=[*CHROMIUM_ARGUMENTS, rule])
    yield server, other
    other.close()
    server.stop()


@pytest.fixture(scope="module")
def page(room):
    server, other = room
    one = Page(other, server, **DESK)
    come_up(one, CHAPTER, LINK.split("?")[1])
    yield one
    one.close()


def scanned(page: Page) -> str:
    """What a phone's camera reads off the page."""
    found: list = []
    for _ in range(20):  # a busy computer paints late; a shot of the code alone may miss what the page has grown by
        page.page.wait_for_timeout(250)
        shot = page.page.screenshot(full_page=True)
        found = zxingcpp.read_barcodes(np.asarray(Image.open(io.BytesIO(shot)).convert("RGB")))
        if found:
            break
    [code] = found
    return code.text


def test_every_copy_button_works_over_plain_http(page, room):
    assert not page.page.evaluate("isSecureContext") and page.page.evaluate("navigator.clipboard === undefined")
    open_share(page)
    paste = page.page.get_by_label("open a shared configuration")
    for name, label in (("link", "full link"), ("text", "configuration text"), ("parts", "parts list")):
        page.page.locator(f"[data-copy={name}]").click()
        page.page.get_by_text(f"Copied: {label}.").wait_for()
        paste.fill("")
        paste.press("Control+V")
        assert paste.input_value() == page.page.get_by_label(label, exact=True).input_value() != ""
    server, other = room
    link = page.page.get_by_label("full link", exact=True).input_value()
    assert urlsplit(link).hostname == HOST and link == server.url + LINK == page.page.url
    paste.fill("")
    assert outside(page, server) == []


def test_the_qr_code_holds_the_full_link_and_follows_it(page):
    open_share(page)
    page.page.get_by_text("QR code for a phone").click()
    page.page.locator(".pz-qr svg").wait_for()
    assert page.page.locator(".pz-qr svg").get_attribute("aria-label")
    assert scanned(page) == page.page.url
    page.page.get_by_label("gate resistor", exact=True).fill("3M3")
    page.page.keyboard.press("Enter")
    address(page, "gate_r=3M3")
    page.page.wait_for_function("() => document.querySelector('.pz-share input').value.includes('gate_r=3M3')")
    page.page.emulate_media(color_scheme="dark")
    try:
        assert scanned(page) == page.page.url
    finally:
        page.page.emulate_media(color_scheme="light")


def test_a_long_chains_qr_code_can_be_scanned(page):
    """Nearly every key, with more digits than anyone enters, from a phone's screen."""
    text = (
        "tuning=E2-A2-D3-G3-B3-E4&pickup_c=1.2345n&pickup_r=123.45M&pickup_loss=0.0123&play_v=1.2345&lead_m=0.345&"
        "lead_c=123.4p&stage=gain&jfet=2N3819&jfet_idss=6.5432m&jfet_vds=8.765&jfet_vgsoff=-2.3456&gate_r=3.3333M&"
        "source_r=1.2345k&drain_r=5.4321k&bypass_c=12.345u&out_c=1.2345u&bleed_r=98.765k&supply_v=8.7654&cable_m=4.5678&"
        "cable_c=98.76p&hum_c=0.7654p&shield_db=12.345&loop_v=1.2345m&temp_c=23.456"
    )
    page.page.set_viewport_size(PHONE["viewport"])
    paste(page, text)
    page.page.locator(".pz-share").get_by_text("Opened.").wait_for()
    address(page, "temp_c=23.456")
    page.page.wait_for_function("() => document.querySelector('.pz-share input').value.includes('temp_c=23.456')")
    page.page.wait_for_timeout(300)
    assert scanned(page) == page.page.url and len(page.page.url) > 400
    page.page.set_viewport_size(DESK["viewport"])


def paste(page: Page, text: str) -> None:
    """Open a shared configuration."""
    open_share(page)
    page.page.get_by_label("open a shared configuration").fill(text)
    page.page.get_by_role("button", name="open it").click()


def test_a_link_from_another_host_with_mistakes_in_it(page):
    paste(page, "pickup_c=2n2")
    address(page, r"\?pickup_c=2n2$")
    said = page.page.locator(".pz-share [role=status]").first
    shared = "https://elsewhere.example/lab/what?pickup_c=1n&gate_r=12&<b>bold</b>=1&source_r=2k2"
    paste(page, shared)
    said.get_by_text("gate resistor").wait_for()
    lines = said.locator("p").all_inner_texts()
    assert len(lines) == 2 and "'12'" in lines[0] and "1 kΩ to 1 GΩ" in lines[0] and "<b>bold</b>" in lines[1]
    assert said.locator("b").count() == 0
    expect(page.page.get_by_label("open a shared configuration")).to_have_value(shared)
    assert page.page.url.endswith("?pickup_c=2n2")  # it asks first
    page.page.get_by_role("button", name="open the rest of it").click()
    address(page, r"\?pickup_c=1n&source_r=2k2$")
    expect(page.page.get_by_label("gate resistor", exact=True)).to_have_value("4M7")
    for text, told in (("hello there", "link"), ("", "empty"), ("x" * 9000, "too long")):
        paste(page, text)
        said.get_by_text(told).first.wait_for()
        assert page.page.url.endswith("?pickup_c=1n&source_r=2k2")
    page.page.get_by_role("button", name="undo").click()
    address(page, r"\?pickup_c=2n2$")


def test_start_over_can_be_undone(page):
    paste(page, "pickup_c=2n2&stage=gain")
    address(page, r"\?pickup_c=2n2&stage=gain$")
    heard = verdict(page)
    page.page.get_by_role("button", name="start over").click()
    page.page.wait_for_url(lambda url: "?" not in url, timeout=PATIENCE_MS)
    page.page.get_by_role("button", name="undo").click()
    address(page, r"\?pickup_c=2n2&stage=gain$")
    page.page.wait_for_function("t => document.querySelector('.pz-verdict .pz-body').innerText === t", arg=heard)
    page.page.get_by_role("button", name="redo").click()
    page.page.wait_for_url(lambda url: "?" not in url, timeout=PATIENCE_MS)


def test_on_this_computer_only_a_sentence_instead_of_a_code(visit):
    page = visit(**PHONE).open(LINK)
    open_share(page)
    page.page.get_by_text("QR code for a phone").click()
    page.page.get_by_text("This address means this computer only").wait_for()
    assert page.page.locator(".pz-qr svg").count() == 0


def test_nothing_failed(page):
    assert page.problems == []
