"""Pages in a real browser: what loads, what moves, and how it looks."""

from urllib.parse import urlsplit

import pytest

from tests.serving.browsing import WAIT_MS, contrast

pytestmark = pytest.mark.browser


def test_page_loads_from_its_own_server_without_complaint(visit, live):
    page = visit().open("does-it-move?pickup_c=4n7")
    assert page.page.title() == "Does it move?"
    host = urlsplit(live.url).netloc
    outside = [
        r.url
        for r in page.requests
        if not r.url.startswith(("blob:", "data:")) and urlsplit(r.url).netloc != host
    ]
    assert outside == []
    assert page.problems == []
    assert "pickup_c=4n7" in page.page.locator(".widget-label").first.text_content()
    assert not page.page.locator("#loading").count()


def test_drawing_library_is_fetched_once_and_kept(visit):
    page = visit().open()
    libraries = [r for r in page.requests if "plotly" in r.url]
    assert len(libraries) == 1 and libraries[0].response().status == 200
    page.requests.clear()
    page.open("does-it-move?again=1")
    fetched = [r for r in page.requests if "/static/" in r.url and r.sizes()["responseBodySize"] > 0]
    assert fetched == []
    carried = sum(len(frame) for frame in page.frames)
    assert carried < 200_000  # a FigureWidget alone brings 5 MB over this line


def test_lost_library_comes_from_the_kernel_instead(visit):
    page = visit()
    page.page.route("**/plotly-*.min.js", lambda route: route.abort())
    page.open()
    assert len(page.curve()) == 400


def test_slider_moves_the_curve_and_the_text_alternative_and_the_plot_holds_no_keyboard_stop(visit):
    page = visit().open()
    plot = page.page.locator(".piezolab-plot")
    stops = "a, button, input, [tabindex]:not([tabindex='-1']), .modebar-btn"
    assert plot.locator(stops).count() == 0
    assert plot.get_attribute("role") == "img"
    assert plot.get_attribute("aria-label") == "corner 100 Hz"
    before = page.curve()
    page.slide()
    assert page.curve()[0] < before[0] - 0.5
    assert plot.get_attribute("aria-label") == "corner 110 Hz"
    assert page.problems == []


def test_redraw_keeps_the_zoom(visit):
    page = visit().open()
    box = page.page.locator(".nsewdrag").bounding_box()
    page.page.mouse.move(box["x"] + 60, box["y"] + 30)
    page.page.mouse.down()
    page.page.mouse.move(box["x"] + 260, box["y"] + 150, steps=5)
    page.page.mouse.up()
    read = "document.querySelector('.js-plotly-plot')._fullLayout.xaxis.range"
    page.page.wait_for_function(f"() => {read}[1] < 4")
    zoomed = page.page.evaluate(read)
    page.slide()
    assert page.page.evaluate(read) == zoomed


def test_phone_sees_the_whole_width_and_scrolls_over_the_plot(visit):
    page = visit(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True).open()
    width = page.page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    assert width[0] <= width[1] == 390
    plot = page.page.locator(".piezolab-plot").bounding_box()
    assert plot["x"] >= 0 and plot["x"] + plot["width"] <= 390 and plot["width"] > 300
    layout = page.page.evaluate("document.querySelector('.js-plotly-plot')._fullLayout.dragmode")
    assert layout is False
    # Below its limit of width the plot takes its other layout and leaves out what is for wide ones.
    assert page.page.evaluate("document.querySelector('.js-plotly-plot')._fullData.length") == 1
    assert plot["height"] == 260
    assert "pan-y" in page.page.evaluate("getComputedStyle(document.querySelector('.nsewdrag')).touchAction")


def test_plot_follows_the_width(visit):
    page = visit(viewport={"width": 1200, "height": 800}).open()
    page.page.set_viewport_size({"width": 600, "height": 800})
    page.page.wait_for_function(
        "() => document.querySelector('.piezolab-plot .main-svg').getBoundingClientRect().width <= 600",
        timeout=WAIT_MS,
    )
    assert page.page.evaluate("document.documentElement.scrollWidth") <= 600


@pytest.mark.parametrize("motion, kept", [("no-preference", {"duration": 50}), ("reduce", None)])
def test_nothing_glides_for_those_who_asked_for_stillness(visit, motion, kept):
    page = visit(reduced_motion=motion).open("does-it-glide")
    assert page.page.evaluate("document.querySelector('.js-plotly-plot').layout.transition ?? null") == kept


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_plot_takes_its_colours_from_the_page(visit, scheme):
    page = visit(color_scheme=scheme).open()
    text, paper = page.page.evaluate(
        "(l => [l.font.color, l.paper_bgcolor])(document.querySelector('.js-plotly-plot')._fullLayout)"
    )
    assert paper == "rgba(0,0,0,0)"
    line = page.page.evaluate("document.querySelector('.js-plotly-plot')._fullData[1].line.color")
    assert line == text  # given as var(--plot-text)
    ground = page.page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert contrast(text, ground) >= 7
    drawn = int(page.page.locator(".piezolab-plot").get_attribute("data-drawn"))
    page.page.emulate_media(color_scheme="light" if scheme == "dark" else "dark")
    page.page.wait_for_function(
        f"() => Number(document.querySelector('.piezolab-plot').dataset.drawn) > {drawn}", timeout=WAIT_MS
    )
    other = page.page.evaluate("document.querySelector('.js-plotly-plot')._fullLayout.font.color")
    assert contrast(other, page.page.evaluate("getComputedStyle(document.body).backgroundColor")) >= 7


def test_formula_is_set_without_help_from_outside(visit):
    page = visit().open("is-it-set", drawn=False)
    page.page.wait_for_selector("math mfrac", timeout=WAIT_MS)
    assert "$" not in page.page.locator("main").text_content()
    assert page.problems == []


def test_error_in_a_control_never_reaches_the_visitor(visit, live):
    page = visit().open()
    before = len(page.frames)
    page.page.get_by_role("button", name="break").click()
    page.slide()
    said = "".join(f if isinstance(f, str) else f.decode("utf-8", "replace") for f in page.frames[before:])
    assert "a secret word" not in said and "Traceback" not in said and "ZeroDivisionError" not in said
    assert "to standard output" in said and "to standard error" not in said
    assert "a secret word" not in page.page.content()
    live.wait_for("a page's kernel raised an error:[^~]*a secret word", 60)
