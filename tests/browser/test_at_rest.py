"""In a real browser: a slider that moves while the page still works at the lists gets its curve first."""

import importlib
import re
from concurrent.futures import ThreadPoolExecutor
from html import unescape
from time import monotonic

import pytest

from tests.browser.chapter import DESK
from tests.serving.browsing import WAIT_MS

pytestmark = pytest.mark.browser

DONE = "[data-rest=done]"
# Moves a slider twice, the second time as soon as the first curve is there, and tells what numbers stood on the page
# when each curve was drawn, and whether lists were waiting in between.
MOVES = """
async key => {
  const slider = document.querySelector(`[data-slider="${key}"]`);
  const plot = document.querySelector(".piezolab-plot");
  const rest = document.querySelector("[data-rest]");
  const numbers = document.querySelector(".pz-numbers");
  const seen = [], states = [];
  new MutationObserver(() => states.push(rest.dataset.rest)).observe(rest, { attributeFilter: ["data-rest"] });
  for (const at of [3, 6]) {
    const drawn = new Promise((resolve) => plot.addEventListener("piezolab:drawn", resolve, { once: true }));
    slider.value = Math.round(slider.max / 2) + at;
    slider.dispatchEvent(new Event("input"));
    slider.dispatchEvent(new Event("change"));
    await drawn;
    seen.push(numbers.textContent);
  }
  const late = performance.now() + 60000;
  while ((rest.dataset.rest !== "done" || !states.length) && performance.now() < late) {
    await new Promise((next) => setTimeout(next, 20));
  }
  return [...seen, states.includes("waiting")];
}
"""


def plain(html: str) -> str:
    """The words of some HTML as a browser gives them."""
    return unescape(re.sub(r"<[^>]+>", "", html))


@pytest.mark.parametrize(
    ("room", "key"),
    [("how_do_i_build_it_and_check_it", "source_r"), ("what_do_cable_and_input_change", "cable_m"),
     ("where_is_the_fault", "source_r")],
)  # fmt: skip
def test_the_curve_comes_first_and_the_numbers_are_those_of_the_newest_chain(visit, room, key):
    slug = room.replace("_", "-")
    page = visit(**DESK).open(f"{slug}?v=1")
    page.page.locator(DONE).wait_for(state="attached", timeout=WAIT_MS)
    page.page.locator(".pz-old").first.wait_for(state="detached", timeout=WAIT_MS)
    before = page.page.locator(".pz-numbers").text_content()
    first, second, waited = page.page.evaluate(MOVES, key)
    after = page.page.locator(".pz-numbers").text_content()
    assert waited and first == before, "the first curve was there before its numbers"
    assert second != after, "the second curve was there before its numbers"
    page.page.locator(DONE).wait_for(state="attached", timeout=WAIT_MS)
    page.page.wait_for_function("key => location.search.includes(`${key}=`)", arg=key, timeout=WAIT_MS)
    # Work may have been at rest between the two moves: what the page comes to in the end counts.
    numbers = [page.page.locator(".pz-numbers"), page.page.locator(".pz-verdict")]
    late = monotonic() + WAIT_MS / 1000
    while True:
        query = page.page.evaluate("location.search")
        with ThreadPoolExecutor(1) as aside:  # there no loop is running, so everything is worked out at once
            made = aside.submit(importlib.import_module(f"piezolab.pages.{room}").make, query).result()
        wanted = [plain(block.content) for block in (made.table, made.verdict)]
        shown = [block.text_content() for block in numbers]
        if all(words in text for words, text in zip(wanted, shown, strict=True)):
            break
        assert monotonic() < late, (query, wanted, shown)
    page.page.locator(DONE).wait_for(state="attached", timeout=WAIT_MS)
    for words, block in zip(wanted, numbers, strict=True):
        assert words in block.text_content(), "and there it stays"
    assert page.page.evaluate("location.search") == query
    assert page.page.locator(".pz-old").count() == 0
    assert not page.problems
