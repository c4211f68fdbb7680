"""What is in view, fits the width and the thumb."""

import pytest

from tests.browser.chapter import DESK, LINK, PHONE, SLUG, move

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_verdict_and_plot_are_in_view_while_a_control_moves(visit, size):
    page = visit(**size).open(LINK)
    for key in ("pickup_c", "gate_r", "cable_m"):
        check_in_view(page, key, size["viewport"]["height"])


def check_in_view(page, key: str, height: int) -> None:
    """Move one control and look whether verdict, plot and the control itself can be seen."""
    slider = page.page.locator(f"[data-slider={key}]").first
    slider.scroll_into_view_if_needed()
    move(page, key, "ArrowRight")
    inside = "e => { const b = e.getBoundingClientRect(); return [b.top, b.bottom]; }"
    for wanted in (".pz-verdict", ".piezolab-plot"):
        top, bottom = page.page.locator(wanted).first.evaluate(inside)
        assert -1 <= top and bottom <= height + 1, f"{wanted} lies from {top} to {bottom} of {height}"
    box = slider.bounding_box()
    on_top = page.page.evaluate(
        "([x, y]) => document.elementFromPoint(x, y)?.dataset.slider", [box["x"] + 20, box["y"] + box["height"] / 2]
    )
    assert on_top == key, "something covers the slider"


def test_phase_is_folded_away_on_a_phone(visit):
    page = visit(**PHONE).open(LINK)
    axes = "Boolean(document.querySelector('.js-plotly-plot .yaxislayer-above, .js-plotly-plot .y2tick'))"
    ticks = "document.querySelectorAll('.js-plotly-plot .y2tick').length"
    assert page.page.evaluate(axes) and page.page.evaluate(ticks) == 0
    page.page.get_by_role("button", name="phase").click()
    page.page.wait_for_function(f"() => {ticks} > 0")
    assert page.page.get_by_role("button", name="phase").get_attribute("aria-pressed") == "true"


@pytest.mark.parametrize("path", ["", LINK], ids=["start", "chapter"])
def test_no_sideways_scroll_and_room_for_a_thumb(visit, path):
    page = visit(**PHONE).open(path, drawn=bool(path))
    page.page.locator(".pz-keepsake").wait_for()
    check_fits(page)
    panel = page.page.locator(".pz-part-panel")
    for part in page.page.locator(".pz-stops button").all():
        part.click()
        panel.wait_for()
        check_fits(page)
        assert panel.evaluate("panel => panel.scrollWidth <= panel.clientWidth")
        panel.get_by_role("button", name="done").click()
        panel.wait_for(state="hidden")


def check_fits(page) -> None:
    """Open every fold that can be seen and look whether all of it fits."""
    shut = page.page.locator("details:not([open]) > summary:visible")
    while shut.count():
        shut.first.click()
    for width in (360, 390, 430):
        page.page.set_viewport_size({"width": width, "height": 800})
        page.page.wait_for_function("width => innerWidth === width", arg=width)
        assert page.page.evaluate("document.documentElement.scrollWidth") <= width
    small = page.page.evaluate(
        """() => [...document.querySelectorAll("button, summary, select, input, a")]
            .filter((e) => e.offsetParent && !e.closest("label") && !e.matches(".pz-skip, .pz-unseen, [type=radio]"))
            .map((e) => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])
            .filter(([, box]) => box.height < 43.5).map(([what, box]) => `${what} ${box.height}`)"""
    )
    assert small == []


def test_formulas_are_set_without_a_network(visit):
    page = visit(**DESK).open(f"{SLUG}?v=1")
    page.page.get_by_text("The maths", exact=True).click()
    page.page.locator(".pz-maths math mfrac").first.wait_for()
    assert "$" not in page.page.locator(".pz-maths").inner_text()


def test_the_level_axis_grows_only_when_the_hand_lets_go(visit):
    page = visit(**DESK).open(f"{SLUG}?resonance=4k,12,0.2")
    web, top = page.page, "() => document.querySelector('.js-plotly-plot').layout.yaxis.range[1]"
    assert web.evaluate(top) == 20  # a disc that rings: louder than the usual 10 dB
    box = web.locator("[data-slider=pickup_c]").first.bounding_box()
    middle = box["y"] + box["height"] / 2
    before = page.revision
    web.mouse.move(box["x"] + 0.62 * box["width"], middle)
    web.mouse.down()
    web.mouse.move(box["x"] + 0.97 * box["width"], middle, steps=4)
    page.drawn(before + 2)
    web.wait_for_url("**pickup_c=*")
    assert web.evaluate(top) == 20
    web.mouse.up()
    web.wait_for_function(f"() => ({top})() === 30")
    assert page.problems == []
