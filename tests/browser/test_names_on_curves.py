"""Names written on the curves: no two touch, none leaves the plot, and each curve that is seen has one.

The figures are those of the chapters; they are drawn in a page of the product, with its type faces and its drawing
library, at the smallest size of a plot on that screen: on a larger one they stand farther apart.
"""

import json

import numpy as np
import pytest

from piezolab.chain.link import from_link
from piezolab.pages.kit.still_svg import _merged
from piezolab.pages.what_do_cable_and_input_change import chapter as cable
from piezolab.pages.where_does_the_bass_go import chapter as bass
from piezolab.pages.who_makes_the_hiss_and_the_hum import chapter as hiss
from piezolab.pages.will_this_transistor_do.curves import over_frequency
from tests.browser.chapter import DESK, PHONE
from tests.browser.standard import PAGES, come_up
from tests.serving.browsing import Page

pytestmark = pytest.mark.browser

CHAINS = [
    "", "input=line", "stage=direct", "stage=direct&input=line", "stage=gain&input=line", "pickup_c=1n&input=line",
    "gate_r=100k&pickup_c=1n", "stage=gain&bypass_part=0.5", "cable_m=100&stage=direct",
    "pickup_c=100p&gate_r=100k&input=line", "supply=adapter&loop_v=10m&tuning=E1,A1,D2,G2",
    "supply=adapter&loop_v=1m&cable_hum_c=5p&stage=gain", "resonance=4k,20,0.5",
]  # fmt: skip
KEPT = "pickup_c=3n3"
SIZES = {"desk": (522, 300), "phone": (300, 150)}  # px

_DRAWN = """async ([data, layout]) => {
    const box = document.createElement("div");
    document.querySelector(".pz-page").append(box);
    await Plotly.newPlot(box, data, layout, { staticPlot: true });
    const place = (e) => { const b = e.getBoundingClientRect(); return [b.left, b.top, b.right, b.bottom]; };
    const words = [...box.querySelectorAll(".annotation")].map((e) => [e.textContent, place(e)]);
    const out = [words, place(box), box.querySelectorAll(".legend").length];
    box.remove();
    return out;
}"""


def _plain(value):
    """A figure as JSON knows it."""
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray | list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, float | np.floating):
        return float(value) if np.isfinite(value) else None
    return value


def _figures():
    kept = from_link(KEPT)
    for query in CHAINS:
        chain = from_link(query)
        for chapter in (bass, cable, hiss):
            for held in (None, kept) if query in CHAINS[::2] else (kept,):
                view = chapter.view(chain, held, False)
                yield f"{chapter.CHAPTER.slug} {query}", view.traces, view.layout, view.narrow
    for query in ("", "stage=gain&input=line"):
        yield f"builds {query}", *over_frequency(from_link(query), kept)[:3]


@pytest.fixture(scope="module")
def figures():
    return [(told, *(json.loads(json.dumps(_plain(part))) for part in parts)) for told, *parts in _figures()]


def touching(words: list) -> list[tuple[str, str]]:
    """Pairs of words whose boxes (left, top, right, bottom) share more than a pixel."""
    return [
        (one, two)
        for n, (one, a) in enumerate(words)
        for two, b in words[:n]
        if min(a[2], b[2]) - max(a[0], b[0]) > 1 and min(a[3], b[3]) - max(a[1], b[1]) > 1
    ]


def test_words_that_touch_are_found():
    assert touching([("a", [0, 0, 20, 10]), ("b", [15, 5, 30, 15])]) == [("b", "a")]
    assert touching([("a", [0, 0, 20, 10]), ("b", [20, 0, 30, 10]), ("c", [0, 10, 20, 20])]) == []


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_no_two_names_touch(browser, chapters, figures, size):
    wide = size is DESK
    page = Page(browser, chapters, **size)
    come_up(page, PAGES[1])
    assert not page.page.locator(".piezolab-plot").first.locator(".legend").count()
    faults = []
    for told, traces, layout, narrow in figures:
        traces = [one for one in traces if wide or not one.get("meta", {}).get("wide_only")]
        layout = layout if wide else _merged(layout, narrow)
        width, height = SIZES["desk" if wide else "phone"]
        drawn = {**layout, "width": width, "height": height}
        words, box, legends = page.page.evaluate(_DRAWN, [traces, drawn])
        faults += [(told, pair) for pair in touching(words)]
        faults += [(told, "cut", word) for word, at in words if at[0] < box[0] or at[2] > box[2]]
        said = [name for word, _ in words for name in word.removeprefix("▼ ").split(" = ")]
        named = {one["name"] for one in traces if one.get("showlegend", True) and one.get("name")}
        faults += [(told, "said", name, said.count(name)) for name in named if said.count(name) != 1]
        assert legends == 0
    page.close()
    assert faults == [], faults
