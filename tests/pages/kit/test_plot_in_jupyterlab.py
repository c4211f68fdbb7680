"""The same widget in JupyterLab, where no server of ours hands out the drawing library."""

import pytest
from playwright.sync_api import TimeoutError

from tests.serving.conftest import write_notebook
from tests.serving.lab import jupyterlab

pytestmark = pytest.mark.browser

_CELLS = (
    "# A plot in JupyterLab",
    "from piezolab.pages.kit.plot import Plot\n"
    "plots = [Plot(label=f'plot {n}', height_px=200) for n in (1, 2)]\n"
    "for n, plot in enumerate(plots):\n"
    "    plot.set([{'x': [1, 2, 3], 'y': [n, 2, 1]}])\n"
    "    display(plot)",
    "plots[0].update([{'y': [5, 6, 7]}], label='plot one')",
)


@pytest.fixture
def lab(tmp_path):
    """A JupyterLab with one notebook; its address."""
    (tmp_path / "notebooks").mkdir()
    write_notebook(tmp_path / "notebooks" / "plots.ipynb", *_CELLS)
    with jupyterlab(tmp_path) as address:
        yield address


def test_plots_draw_and_the_library_travels_once(browser, lab):
    page = browser.new_context().new_page()
    received: list[int] = []
    page.on("websocket", lambda line: line.on("framereceived", lambda frame: received.append(len(frame))))
    page.goto(lab + "/lab/tree/plots.ipynb")
    updated = page.locator(".piezolab-plot[data-revision='2'][aria-label='plot one']")
    prose = page.locator(".jp-Notebook .jp-MarkdownCell").first
    prose.click(timeout=60_000)
    page.locator(".jp-Notebook-ExecutionIndicator[data-status=idle]").first.wait_for(timeout=60_000)
    for _attempt in range(6):
        # JupyterLab takes the focus to itself now and then while it starts: then the keys go nowhere.
        prose.click()
        for _cell in _CELLS:
            page.keyboard.press("Shift+Enter")
            page.wait_for_timeout(300)
        try:
            updated.wait_for(timeout=8_000)
            break
        except TimeoutError:
            page.keyboard.press("Escape")
    page.locator(".piezolab-plot[data-state=drawn]").nth(1).wait_for(timeout=20_000)
    curve = page.evaluate(
        "Array.from(document.querySelector(\"[aria-label='plot one'] .js-plotly-plot\")._fullData[0].y)"
    )
    assert curve == [5, 6, 7]
    assert len([size for size in received if size > 1_000_000]) == 1
    page.context.close()
