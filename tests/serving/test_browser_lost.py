"""Pages in a real browser: leaving, and what is said when nobody answers any more."""

import signal

import pytest

from tests.serving.browsing import WAIT_MS, Page
from tests.serving.live import LiveServer

pytestmark = pytest.mark.browser

#: A page that is left frees its kernel within this; the patience with a lost one is much longer.
AT_ONCE_S = 10


def test_page_works_behind_a_prefix(visit, small_notebooks):
    server = LiveServer(small_notebooks, base_url="/workshop/")
    try:
        page = visit(server).open()
        page.slide()
        assert page.problems == []
        page.page.goto("about:blank")
        assert server.kernels_become(0, AT_ONCE_S)
    finally:
        server.stop()


def test_leaving_a_page_frees_its_kernel_at_once(visit, live):
    assert live.kernels_become(0, 120)
    page = visit().open()
    assert len(live.kernels()) == 1
    page.page.goto("about:blank")
    assert live.kernels_become(0, AT_ONCE_S)
    page.open()
    page.page.close()
    assert live.kernels_become(0, AT_ONCE_S)


def test_reloading_and_going_back_leave_one_kernel(visit, live):
    assert live.kernels_become(0, 120)
    page = visit().open()
    page.page.reload()
    page.drawn()
    page.open("does-it-move?second=1")
    page.page.go_back()
    page.drawn()
    page.slide()
    assert live.kernels_become(1, AT_ONCE_S)


def banner(page: Page):
    """The notice that nobody answers."""
    return page.page.locator("#pz-gone:not([hidden])")


def test_killed_kernel_is_told_and_the_way_back_keeps_the_chain(visit, live):
    assert live.kernels_become(0, 120)
    page = visit().open("does-it-move?pickup_c=4n7")
    page.page.evaluate("history.replaceState(null, '', '?pickup_c=10n#plot')")
    [kernel] = live.kernels()
    kernel.kill()
    banner(page).wait_for(timeout=WAIT_MS)
    assert banner(page).get_attribute("role") == "alert"
    assert banner(page).text_content() == (
        "This page has stopped answering. Your chain is kept in the address: open it again."
    )
    page.page.get_by_role("link", name="open it again").click()
    page.page.wait_for_selector("#pz-gone", state="hidden")
    page.drawn()
    assert "pickup_c=10n" in page.page.locator(".widget-label").first.text_content()
    page.slide()


def test_stopped_server_is_told_and_the_page_comes_back_with_it(visit, small_notebooks):
    server = LiveServer(small_notebooks)
    port = int(server.url.rstrip("/").rsplit(":", 1)[1])
    page = visit(server).open("does-it-move?pickup_c=4n7")
    server.stop(signal.SIGKILL)
    banner(page).wait_for(timeout=WAIT_MS)
    assert "The server cannot be reached just now." in banner(page).text_content()
    assert "Your chain is kept in the address" in banner(page).text_content()
    again = LiveServer(small_notebooks, port=port)
    try:
        assert again.url == server.url
        page.page.get_by_text("The server answers again").wait_for(timeout=WAIT_MS)  # and nobody presses anything
        page.page.wait_for_selector("#pz-gone", state="hidden", timeout=WAIT_MS)
        page.drawn()
        assert "pickup_c=4n7" in page.page.locator(".widget-label").first.text_content()
    finally:
        again.stop()


def test_a_kernel_that_ends_alone_reloads_nothing(visit, live):
    page = visit().open()
    [kernel] = live.kernels()
    kernel.kill()
    banner(page).wait_for(timeout=WAIT_MS)
    page.page.wait_for_timeout(7000)
    assert "has stopped answering" in banner(page).text_content()


@pytest.mark.slow
def test_short_loss_of_the_network_heals_itself(visit, live):
    page = visit()
    page.context.add_init_script(
        """const Socket = WebSocket;
        window.lines = [];
        window.WebSocket = class extends Socket { constructor(...a) { super(...a); window.lines.push(this); } };"""
    )
    page.open()
    page.context.set_offline(True)
    # Chromium leaves open lines open when offline: close this one as a vanished access point would.
    page.page.evaluate("window.lines.forEach(line => line.close())")
    banner(page).wait_for(timeout=WAIT_MS)
    page.context.set_offline(False)
    page.page.wait_for_selector("#pz-gone", state="hidden", timeout=WAIT_MS)
    page.page.wait_for_timeout(500)
    page.slide()
