"""The shipped pages against an empty page: how soon they can be used, how fast a curve follows its slider, and what
they weigh. Each ratio is of two things measured in turn in one run. Beside each slider stands the yardstick of the same
minute: a machine that is busy with other things is slower by both."""

import statistics
import time
from collections.abc import Iterator

import pytest

from piezolab.chapters import find_chapters
from piezolab.location import notebooks_dir
from tests.benchmarks.opening import SHOWN, seconds_until
from tests.benchmarks.yardstick import yardstick_ms
from tests.serving.live import LiveServer

pytestmark = pytest.mark.browser

CHAPTERS = find_chapters(notebooks_dir())
ROUNDS = 5
MOVES = 30
DRAWN = f"{SHOWN} .piezolab-plot[data-state=drawn]"
COME_UP = f"{SHOWN} .pz-keepsake p"

# Moves the first slider that a hand would take, back and forth, and tells how long each curve took.
_MOVES = """
async moves => {
  const slider = document.querySelector(".pz-controls input[type=range]");
  const plot = document.querySelector(".piezolab-plot");
  const times = [];
  const middle = Math.round(slider.max / 2);
  for (let move = 0; move < moves; move += 1) {
    const start = performance.now();
    const drawn = new Promise((resolve, reject) => {
      setTimeout(() => reject(new Error("no curve followed")), 10000);
      const done = () => requestAnimationFrame(() => resolve(performance.now() - start));
      plot.addEventListener("piezolab:drawn", done, { once: true });
    });
    slider.value = middle + (move % 20 < 10 ? move % 20 : 20 - (move % 20));
    slider.dispatchEvent(new Event("input"));
    slider.dispatchEvent(new Event("change"));
    times.push(await drawn);
    await new Promise((resolve) => setTimeout(resolve, 150));
  }
  return times;
}
"""


@pytest.fixture(scope="module")
def cold() -> Iterator[LiveServer]:
    """The shipped chapters, each kernel started from nothing."""
    server = LiveServer()
    yield server
    server.stop()


@pytest.fixture(scope="module")
def shipped() -> Iterator[LiveServer]:
    """The shipped chapters as `piezolab serve` serves them, once it has warmed up."""
    server = LiveServer(warm=True)
    spent = [-1.0, 0.0]
    while spent[-1] < 0.5 or spent[-1] - spent[-2] > 0.02:  # it works until it is warm, and then waits
        time.sleep(0.5)
        process = server.warm()
        spent.append(process.cpu_times().user if process else 0.0)
    yield server
    server.stop()


def ready(slug: str) -> str:
    """What is there when a chapter can be used."""
    return DRAWN if slug else COME_UP


def test_first_chapter_ready(browser, stock, cold, shipped, report):
    slug = CHAPTERS[0].slug
    ways = {
        "empty page, Voila as it comes": (stock + "01-empty.ipynb", SHOWN),
        "chapter 1, kernel from nothing": (cold.url + slug, DRAWN),
        "chapter 1, as shipped": (shipped.url + slug, DRAWN),
    }
    taken: dict[str, list[float]] = {way: [] for way in ways}
    for _ in range(ROUNDS + 1):
        for way, (address, selector) in ways.items():
            taken[way].append(seconds_until(browser, address, selector))
            time.sleep(0.5)  # the kernel that is left takes a moment to end
    median = {way: statistics.median(times[1:]) for way, times in taken.items()}
    floor = median["empty page, Voila as it comes"]
    report("page ready", {way: f"{t:.2f} s, {t / floor:.2f} of an empty page" for way, t in median.items()})
    assert median["chapter 1, as shipped"] < 1.3 * floor
    assert median["chapter 1, kernel from nothing"] < 1.8 * floor


def test_every_page_ready(browser, stock, shipped, report):
    ways = {"empty page, Voila as it comes": (stock + "01-empty.ipynb", SHOWN)}
    ways |= {slug or "start page": (shipped.url + slug, ready(slug)) for slug in ["", *(c.slug for c in CHAPTERS)]}
    taken: dict[str, list[float]] = {way: [] for way in ways}
    for _ in range(3):
        for way, (address, selector) in ways.items():
            taken[way].append(seconds_until(browser, address, selector))
            time.sleep(0.5)
    median = {way: statistics.median(times) for way, times in taken.items()}
    floor = median["empty page, Voila as it comes"]
    report("page ready, as shipped", {way: f"{t:.2f} s, {t / floor:.2f}" for way, t in median.items()})
    assert max(median.values()) < 2.5 * floor


def test_slider_to_curve(browser, shipped, report):
    figures = {}
    for slug in [c.slug for c in CHAPTERS]:
        page = browser.new_context().new_page()
        page.goto(shipped.url + slug)
        page.wait_for_selector(DRAWN, state="attached", timeout=60_000)
        page.wait_for_selector(COME_UP, state="attached", timeout=60_000)
        page.evaluate(_MOVES, 5)  # warm-up
        yardstick = [yardstick_ms()]
        times = page.evaluate(_MOVES, MOVES)
        yardstick.append(yardstick_ms())
        figures[slug] = statistics.median(times), statistics.quantiles(times, n=20)[-1], statistics.mean(yardstick)
        page.context.close()
    told = {
        slug: f"median {m:.0f} ms, 95th percentile {p:.0f} ms; yardstick {y:.0f} ms, median {m / y:.1f} of it"
        for slug, (m, p, y) in figures.items()
    }
    report("slider to redrawn curve", told)
    first = figures[CHAPTERS[0].slug][0]
    # The volts of a whole board are worked out anew, a curve only bent.
    assert max(median for median, _, _ in figures.values()) < 25 * first


def test_kernel_memory(browser, shipped, report):
    weight = {}
    for slug in ["", *(c.slug for c in CHAPTERS)]:
        assert shipped.kernels_become(0, 20)
        context = browser.new_context()
        page = context.new_page()
        page.goto(shipped.url + slug)
        page.wait_for_selector(ready(slug), state="attached", timeout=60_000)
        time.sleep(1)
        [kernel] = shipped.kernels()
        weight[slug or "start page"] = kernel.memory_full_info().uss / 2**20
        context.close()
    report("kernel memory of its own, as shipped", {slug: f"{m:.0f} MB" for slug, m in weight.items()})
    assert max(weight.values()) < 4 * weight["start page"]
