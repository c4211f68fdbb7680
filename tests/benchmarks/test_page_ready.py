"""How soon a page can be used, how fast a curve follows its slider, and what a page's kernel weighs.

All ways are measured in turn in one run, so that the ratios hold on any computer; milliseconds and megabytes are
printed beside them. "Ready" is the time from opening the address, with an empty browser cache and a new kernel,
until the page is on the screen and its curve is drawn.
"""

import re
import statistics
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import psutil
import pytest

from tests.serving.conftest import _CURVE, write_notebook
from tests.serving.live import LiveServer

pytestmark = pytest.mark.browser

ROUNDS = 5
MOVES = 60
SHOWN = "#rendered_cells:not([style*='none'])"

_FIGURE_WIDGET = """
import ipywidgets as widgets
import numpy as np
import plotly.graph_objects as go

frequency = np.geomspace(20, 20e3, 400)

def level(corner):
    return -10 * np.log10(1 + (corner / frequency) ** 2)

slider = widgets.FloatSlider(value=100, min=10, max=1000, step=10)
figure = go.FigureWidget([go.Scatter(x=frequency, y=level(100))], {"xaxis": {"type": "log"}, "height": 320})

def move(change):
    with figure.batch_update():
        figure.data[0].y = level(change["new"])

slider.observe(move, "value")
widgets.VBox([slider, figure])
"""

# The page tells a time when a curve follows a key press; both kinds of plot report by one of these events.
_MOVES = """
async moves => {
  const handle = document.querySelector(".noUi-handle");
  const graph = document.querySelector(".js-plotly-plot");
  const light = document.querySelector(".piezolab-plot");
  const times = [];
  for (let move = 0; move < moves; move += 1) {
    const start = performance.now();
    const drawn = new Promise((resolve, reject) => {
      setTimeout(() => reject(new Error("no curve followed")), 5000);
      const done = () => requestAnimationFrame(() => resolve(performance.now() - start));
      if (light) light.addEventListener("piezolab:drawn", done, { once: true });
      else graph.once("plotly_afterplot", done);
    });
    handle.dispatchEvent(new KeyboardEvent("keydown", { key: move % 20 < 10 ? "ArrowRight" : "ArrowLeft" }));
    times.push(await drawn);
    await new Promise((resolve) => setTimeout(resolve, 60));
  }
  return times;
}
"""


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One slider and one curve, drawn in two ways, and a page with nothing on it."""
    folder = tmp_path_factory.mktemp("site")
    write_notebook(folder / "index.ipynb", "# Start")
    write_notebook(folder / "01-empty.ipynb", "# Empty")
    write_notebook(folder / "02-light.ipynb", "# Curve", _CURVE)
    write_notebook(folder / "03-heavy.ipynb", "# Curve", _FIGURE_WIDGET)
    return folder


@pytest.fixture(scope="module")
def ours(site: Path):
    """Our server."""
    server = LiveServer(site)
    yield server
    server.stop()


@pytest.fixture(scope="module")
def stock(site: Path):
    """Voila as it comes, on the same folder; its address."""
    process = subprocess.Popen(
        [sys.executable, "-m", "voila", "--no-browser", "--port=0", str(site)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    lines = psutil.Process(process.pid)
    port = 0
    end = time.monotonic() + 30
    while not port and time.monotonic() < end:
        time.sleep(0.1)
        port = next((c.laddr.port for c in lines.net_connections("inet") if c.status == "LISTEN"), 0)
    address = f"http://localhost:{port}/voila/render/"
    urllib.request.urlopen(f"http://localhost:{port}/voila/tree", timeout=20).read()
    yield address
    process.terminate()
    process.wait(15)
    process.stderr.close()


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


def test_page_ready(browser, ours, stock, report):
    curve = ".js-plotly-plot .scatterlayer .js-line"
    ways = {
        "empty page, Voila as it comes": (stock + "01-empty.ipynb", SHOWN),
        "empty page": (ours.url + "empty", SHOWN),
        "our plot": (ours.url + "light", ".piezolab-plot[data-state=drawn]"),
        "FigureWidget": (ours.url + "heavy", curve),
        "FigureWidget, Voila as it comes": (stock + "03-heavy.ipynb", curve),
    }
    taken: dict[str, list[float]] = {way: [] for way in ways}
    for _ in range(ROUNDS):
        for way, (address, selector) in ways.items():
            taken[way].append(seconds_until(browser, address, selector))
    median = {way: statistics.median(times) for way, times in taken.items()}
    floor = median["empty page, Voila as it comes"]
    report(
        "page ready, cold", {way: f"{t:.2f} s, {t / floor:.2f} of an empty page" for way, t in median.items()}
    )
    assert median["our plot"] < 1.8 * floor  # aim 1.3
    assert median["our plot"] < 0.8 * median["FigureWidget, Voila as it comes"]


def test_slider_to_curve(browser, ours, report):
    times = {}
    for way, slug in (("our plot", "light"), ("FigureWidget", "heavy")):
        page = browser.new_context().new_page()
        page.goto(ours.url + slug)
        page.wait_for_selector(".js-plotly-plot .scatterlayer .js-line", state="attached", timeout=60_000)
        page.evaluate(_MOVES, 10)  # warm-up
        times[way] = page.evaluate(_MOVES, MOVES)
        page.context.close()
    figures = {way: (statistics.median(t), statistics.quantiles(t, n=20)[-1]) for way, t in times.items()}
    report(
        "slider to redrawn curve",
        {way: f"median {m:.0f} ms, 95th percentile {p:.0f} ms" for way, (m, p) in figures.items()},
    )
    assert figures["our plot"][0] < 1.5 * figures["FigureWidget"][0]


def test_kernel_memory(browser, ours, report):
    weight = {}
    for way, slug in (("empty page", "empty"), ("our plot", "light"), ("FigureWidget", "heavy")):
        assert ours.kernels_become(0, 20)
        context = browser.new_context()
        page = context.new_page()
        page.goto(ours.url + slug)
        ready = SHOWN if slug == "empty" else ".js-plotly-plot .scatterlayer .js-line"
        page.wait_for_selector(ready, state="attached", timeout=60_000)
        time.sleep(1)
        [kernel] = ours.kernels()
        weight[way] = kernel.memory_full_info().uss / 2**20
        context.close()
    floor = weight["empty page"]
    report(
        "kernel memory of its own",
        {way: f"{m:.0f} MB, {m / floor:.2f} of an empty page" for way, m in weight.items()},
    )
    assert weight["our plot"] < weight["FigureWidget"]
