"""Sizes of screen, and what every browser test of a chapter does."""

import re

from tests.serving.browsing import WAIT_MS, Page

DESK = {"viewport": {"width": 1280, "height": 800}}
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}

SLUG = "where-does-the-bass-go"
LINK = f"{SLUG}?pickup_c=1n5&input=pedal-vintage"


def verdict(page: Page) -> str:
    """The verdict on the screen."""
    return page.page.locator(".pz-verdict .pz-body").inner_text()


def move(page: Page, key: str, press: str, times: int = 1) -> None:
    """Move a slider by the keyboard and wait for the curve that follows."""
    before = page.revision
    slider = page.page.locator(f"[data-slider={key}]").first
    slider.focus()
    for _ in range(times):
        page.page.keyboard.press(press)
    page.drawn(before + 1)


def address(page: Page, pattern: str) -> str:
    """Wait for an address; returns it."""
    page.page.wait_for_url(re.compile(pattern), timeout=WAIT_MS)
    return page.page.url


def open_share(page: Page) -> None:
    """Unfold the share row."""
    page.page.evaluate("() => { document.querySelector('.pz-share-fold').open = true; }")
