"""The same widget in JupyterLab, where no server of ours hands out the drawing library."""

import re
import subprocess
import sys
import time
import urllib.request

import pytest

from tests.serving.conftest import write_notebook

pytestmark = pytest.mark.browser

_CELLS = (
    "# A plot in JupyterLab",
    "from piezolab.pages.plot import Plot\n"
    "plots = [Plot(label=f'plot {n}', height_px=200) for n in (1, 2)]\n"
    "for n, plot in enumerate(plots):\n"
    "    plot.set([{'x': [1, 2, 3], 'y': [n, 2, 1]}])\n"
    "    display(plot)",
    "plots[0].update([{'y': [5, 6, 7]}], label='plot one')",
)


@pytest.fixture
def jupyterlab(tmp_path):
    """A JupyterLab without a password, on a free port, with one notebook; its address."""
    write_notebook(tmp_path / "plots.ipynb", *_CELLS)
    options = [
        "--no-browser",
        "--allow-root",
        "--port=0",
        "--ip=127.0.0.1",
        f"--ServerApp.root_dir={tmp_path}",
    ]
    process = subprocess.Popen(
        [sys.executable, "-m", "jupyterlab", *options, "--IdentityProvider.token=", "--LabApp.news_url="],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    address = ""
    for line in process.stderr:
        found = re.search(r"(http\S+:\d+)/lab", line)
        if found:
            address = found[1]
            break
    assert address
    end = time.monotonic() + 30
    while time.monotonic() < end:
        try:
            urllib.request.urlopen(address + "/api", timeout=5).read()
            break
        except OSError:
            time.sleep(0.1)
    yield address
    process.terminate()
    process.wait(15)
    process.stderr.close()


def test_plots_draw_and_the_library_travels_once(browser, jupyterlab):
    page = browser.new_context().new_page()
    received: list[int] = []
    page.on("websocket", lambda line: line.on("framereceived", lambda frame: received.append(len(frame))))
    page.goto(jupyterlab + "/lab/tree/plots.ipynb")
    page.locator(".jp-Notebook .jp-MarkdownCell").first.click(timeout=60_000)
    page.locator(".jp-Notebook-ExecutionIndicator[data-status=idle]").first.wait_for(timeout=60_000)
    for _cell in _CELLS:
        page.keyboard.press("Shift+Enter")
    page.locator(".piezolab-plot[data-state=drawn]").nth(1).wait_for(timeout=60_000)
    page.locator(".piezolab-plot[data-revision='2'][aria-label='plot one']").wait_for(timeout=20_000)
    curve = page.evaluate(
        "Array.from(document.querySelector(\"[aria-label='plot one'] .js-plotly-plot\")._fullData[0].y)"
    )
    assert curve == [5, 6, 7]
    assert len([size for size in received if size > 1_000_000]) == 1
    page.context.close()
