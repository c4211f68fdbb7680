"""A page whose kernel was forked from the warm process comes up as any other does."""

import subprocess
import sys
import time

import pytest

from tests.browser.chapter import DESK, LINK, address, move, verdict
from tests.serving.browsing import Page
from tests.serving.live import LiveServer

_REGISTERED = """
import comm, ipykernel.ipkernel, ipywidgets
print("jupyter.widget.control" in comm.get_comm_manager().targets)
"""


def test_widgets_still_register_only_where_there_is_a_kernel_already():
    """Why the warm process registers them itself; once this fails, it need not do so any more."""
    said = subprocess.run([sys.executable, "-c", _REGISTERED], capture_output=True, text=True, check=True).stdout
    assert said.strip() == "False"


@pytest.mark.browser
def test_all_widgets_come_in_one_message(browser):
    server = LiveServer(warm=True)
    try:
        spent = [-1.0, 0.0]
        while spent[-1] < 0.5 or spent[-1] - spent[-2] > 0.02:  # it works until it is warm, and then waits
            time.sleep(0.5)
            process = server.warm()
            spent.append(process.cpu_times().user if process else 0.0)
        page = Page(browser, server, **DESK).open(LINK)
        assert "17 dB down" in verdict(page)
        [kernel] = server.kernels()
        assert "piezolab.serving.warm" in kernel.cmdline()
        # A widget that is asked for on its own costs three messages, and a page has some fifty of them.
        assert len(page.frames) < 60
        move(page, "pickup_c", "ArrowRight", times=12)
        address(page, r"pickup_c=4n7")
        assert page.problems == []
        page.close()
    finally:
        server.stop()
