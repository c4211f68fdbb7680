"""A server that was gone and is back: the page opens by itself, with the chain, what was typed and what was kept."""

import signal

import pytest

from tests.browser.standard import PATIENCE_MS, rest
from tests.serving.browsing import Page
from tests.serving.live import LiveServer

pytestmark = pytest.mark.browser


def test_typed_text_chain_and_place_come_back_with_the_server(browser):
    server = LiveServer()
    port = int(server.url.rstrip("/").rsplit(":", 1)[1])
    page = Page(browser, server)
    try:
        page.page.goto(server.url + "will-this-transistor-do?v=1&source_r=2k2")
        rest(page)
        page.page.locator("label:text-is('voltage across the first')").first.wait_for(timeout=PATIENCE_MS)
        field = page.page.get_by_label("voltage across the first")
        field.fill("0.73")
        battery = page.page.get_by_label("battery of the jig")
        assert battery.input_value() == "9.0"
        battery.fill("8.65")
        server.stop(signal.SIGKILL)
        page.page.get_by_text("opens again by itself").wait_for(timeout=PATIENCE_MS)
        server = LiveServer(port=port)
        page.page.get_by_text("answers again").wait_for(timeout=PATIENCE_MS)
        page.page.locator("#pz-gone").wait_for(state="hidden", timeout=PATIENCE_MS)
        rest(page)
        page.page.wait_for_function(
            "() => [...document.querySelectorAll('main input')].some((field) => field.value === '0.73')",
            timeout=PATIENCE_MS,
        )
        assert field.input_value() == "0.73" and battery.input_value() == "8.65" and "source_r=2k2" in page.page.url
    finally:
        page.close()
        server.stop()
