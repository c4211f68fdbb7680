"""Opening a page in a browser that has never been there, and how long that takes."""

import re
import time

SHOWN = "#rendered_cells:not([style*='none'])"


def seconds_until(browser, address: str, selector: str) -> float:
    """From opening the address in a fresh browser context until something is there."""
    context = browser.new_context()
    try:
        page = context.new_page()
        # Stock pages ask hosts outside for style sheets: with no network at hand that must not count.
        page.route(re.compile(r"^https://"), lambda route: route.abort())
        start = time.perf_counter()
        page.goto(address, wait_until="commit")
        page.wait_for_selector(selector, state="attached", timeout=60_000)
        return time.perf_counter() - start
    finally:
        context.close()
