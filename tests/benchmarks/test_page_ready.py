"""How soon a page can be used, how fast a curve follows its slider, and what a page's kernel weighs.

All ways are measured in turn in one run, so that the ratios hold on any computer; milliseconds and megabytes are
printed beside them. "Ready" is the time from opening the address, with an empty browser cache and a new kernel,
until the page is on the screen and its curve is drawn.
"""

import statistics
import time
from pathlib import Path

import pytest

from tests.benchmarks.opening import SHOWN, seconds_until
from tests.serving.live import LiveServer

pytestmark = pytest.mark.browser

ROUNDS = 5
MOVES = 60

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
def ours(site: Path):
    """Our server."""
    server = LiveServer(site)
    yield server
    server.stop()


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
