"""The first chapter in a real browser, on a desk and in a hand."""

import re
from urllib.parse import urlsplit

import pytest

from tests.browser.conftest import DESK, PHONE
from tests.serving.browsing import WAIT_MS, Page

pytestmark = pytest.mark.browser

SLUG = "where-does-the-bass-go"
LINK = f"{SLUG}?pickup_c=1n5&input=pedal-vintage"


def verdict(page: Page) -> str:
    return page.page.locator(".pz-verdict .pz-body").inner_text()


def move(page: Page, key: str, press: str, times: int = 1) -> None:
    """Move a slider by the keyboard and wait for the curve that follows."""
    before = page.revision
    slider = page.page.locator(f"[data-slider={key}]").first
    slider.focus()
    for _ in range(times):
        page.page.keyboard.press(press)
    page.drawn(before + 1)


def address(page: Page, pattern: str) -> str:
    page.page.wait_for_url(re.compile(pattern), timeout=WAIT_MS)
    return page.page.url


def test_comes_up_from_a_share_link(visit, screen, chapters):
    page = visit(**screen).open(LINK)
    assert page.page.title() == "Where does the bass go?"
    assert page.page.locator("h1").inner_text() == "Where does the bass go?"
    assert "17 dB down" in verdict(page)
    assert page.page.get_by_label("pickup capacitance", exact=True).input_value() == "1n5"
    assert page.page.locator(".pz-schematic svg").is_visible()
    host = urlsplit(chapters.url).netloc
    own = ("blob:", "data:")
    assert [r.url for r in page.requests if not r.url.startswith(own) and urlsplit(r.url).netloc != host] == []
    assert page.problems == []


def test_a_slider_redraws_plot_verdict_and_address(visit, screen):
    page = visit(**screen).open(LINK)
    before, said = page.curve(), verdict(page)
    move(page, "pickup_c", "ArrowRight", times=12)
    address(page, r"pickup_c=4n7")
    page.page.wait_for_function("said => document.querySelector('.pz-verdict .pz-body').innerText !== said", arg=said)
    assert page.curve() != before
    assert page.page.get_by_label("pickup capacitance", exact=True).input_value() == "4n7"
    assert page.problems == []


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
@pytest.mark.parametrize("key", ["pickup_c", "gate_r", "cable_m"])
def test_verdict_and_plot_are_in_view_while_a_control_moves(visit, size, key):
    page = visit(**size).open(LINK)
    slider = page.page.locator(f"[data-slider={key}]").first
    slider.scroll_into_view_if_needed()
    move(page, key, "ArrowRight")
    height = size["viewport"]["height"]
    inside = "e => { const b = e.getBoundingClientRect(); return [b.top, b.bottom]; }"
    for wanted in (".pz-verdict", ".piezolab-plot"):
        top, bottom = page.page.locator(wanted).first.evaluate(inside)
        assert -1 <= top and bottom <= height + 1, f"{wanted} lies from {top} to {bottom} of {height}"
    box = slider.bounding_box()
    on_top = page.page.evaluate(
        "([x, y]) => document.elementFromPoint(x, y)?.dataset.slider", [box["x"] + 20, box["y"] + box["height"] / 2]
    )
    assert on_top == key, "something covers the slider"


def test_dragging_with_the_mouse_is_one_step_back(visit):
    page = visit(**DESK).open(LINK)
    slider = page.page.locator("[data-slider=gate_r]").first
    box = slider.bounding_box()
    page.page.mouse.move(box["x"] + box["width"] * 0.63, box["y"] + box["height"] / 2)
    page.page.mouse.down()
    for part in (0.6, 0.5, 0.4, 0.3):
        page.page.mouse.move(box["x"] + box["width"] * part, box["y"] + box["height"] / 2, steps=4)
    page.page.mouse.up()
    address(page, r"gate_r=")
    page.page.get_by_role("button", name="undo").click()
    address(page, r"1n5&input=pedal-vintage$")
    assert page.page.get_by_label("gate resistor", exact=True).input_value() == "4M7"


def test_exact_entry_and_what_is_said_of_a_wrong_one(visit, screen):
    page = visit(**screen).open(SLUG)
    entry = page.page.get_by_label("gate resistor", exact=True)
    entry.fill("3.3 Mohm")
    entry.press("Enter")
    address(page, r"gate_r=3M3$")
    assert entry.input_value() == "3M3"
    entry.fill("3m3")
    entry.press("Enter")
    alert = page.page.locator("[data-key=gate_r] [role=alert]")
    alert.get_by_text("did you mean 3M3?").wait_for()
    assert entry.input_value() == "3m3" and entry.get_attribute("aria-invalid") == "true"
    assert page.page.url.endswith("gate_r=3M3")


def test_copied_link_opens_the_same_state(visit, chapters):
    page = visit(**DESK, permissions=["clipboard-read", "clipboard-write"]).open(LINK)
    move(page, "cable_m", "ArrowRight", times=4)
    address(page, "cable_m=")
    page.page.locator("[data-copy=link]").click()
    page.page.get_by_text("Copied: full link.").wait_for()
    copied = page.page.evaluate("navigator.clipboard.readText()")
    assert copied == page.page.url
    other = visit(**PHONE).open(copied.removeprefix(chapters.url))
    assert other.page.get_by_label("output cable length", exact=True).input_value() == "4"
    assert verdict(other) == verdict(page)


def test_copying_works_without_the_clipboard_interface(visit):
    page = visit(**DESK)
    page.page.add_init_script("Object.defineProperty(navigator, 'clipboard', { value: undefined })")
    page.open(LINK)
    page.page.locator("[data-copy=text]").click()
    page.page.get_by_text("Copied: configuration text.").wait_for()
    paste = page.page.get_by_label("open a shared configuration")
    paste.fill("")
    paste.press("Control+V")
    assert paste.input_value() == "pickup_c=1n5&input=pedal-vintage"


def test_a_pasted_configuration_is_opened(visit):
    page = visit(**PHONE).open(SLUG)
    page.page.get_by_label("open a shared configuration").fill("http://workshop.example/other?pickup_c=2n2&stage=direct")
    page.page.get_by_role("button", name="open it").click()
    address(page, r"pickup_c=2n2&stage=direct$")
    page.page.get_by_role("button", name="put a follower in").click()
    address(page, r"pickup_c=2n2$")


def test_mistakes_in_a_link_are_listed_and_shown_as_text(visit):
    page = visit(**DESK).open(f"{SLUG}?pickup_c=1n5&gate_r=3m3&%3Cimg+src%3Dx%3E=1&gate=1")
    listed = page.page.locator(".pz-problems").inner_text()
    assert "gate resistor" in listed and "did you mean 3M3?" in listed
    assert "<img src=x>" in listed
    assert page.page.locator(".pz-problems img").count() == 0
    assert page.page.get_by_label("pickup capacitance", exact=True).input_value() == "1n5"
    assert page.page.get_by_label("gate resistor", exact=True).input_value() == "4M7"
    assert page.problems == []


def test_kept_curve_and_solved_tasks_are_found_again(visit):
    page = visit(**DESK).open(LINK)
    page.page.get_by_role("button", name="keep this curve").click()
    page.page.get_by_role("button", name="drop the kept curve").wait_for()
    page.page.locator(".pz-tasks input[type=text]").fill("159 Hz")
    page.page.locator(".pz-tasks button").first.click()
    page.page.get_by_text("Right: 159 Hz.").wait_for()
    page.page.wait_for_function("() => localStorage.getItem('piezolab:tasks') !== null")
    page.open(f"{SLUG}?pickup_c=10n")
    page.page.get_by_role("button", name="drop the kept curve").wait_for()
    page.page.get_by_text("✓ solved").wait_for()
    names = "document.querySelector('.js-plotly-plot')._fullData.filter((t) => t.showlegend).map((t) => t.name)"
    page.page.wait_for_function(f"() => {names}.includes('kept')")


def test_formulas_are_set_without_a_network(visit):
    page = visit(**DESK).open(SLUG)
    page.page.get_by_text("The maths", exact=True).click()
    page.page.locator(".pz-maths math mfrac").first.wait_for()
    assert "$" not in page.page.locator(".pz-maths").inner_text()


def test_phase_is_folded_away_on_a_phone(visit):
    page = visit(**PHONE).open(LINK)
    axes = "Boolean(document.querySelector('.js-plotly-plot .yaxislayer-above, .js-plotly-plot .y2tick'))"
    ticks = "document.querySelectorAll('.js-plotly-plot .y2tick').length"
    assert page.page.evaluate(axes) and page.page.evaluate(ticks) == 0
    page.page.get_by_role("button", name="phase").click()
    page.page.wait_for_function(f"() => {ticks} > 0")
    assert page.page.get_by_role("button", name="phase").get_attribute("aria-pressed") == "true"


@pytest.mark.parametrize("width", [360, 390, 430])
@pytest.mark.parametrize("path", ["", LINK])
def test_no_sideways_scroll_and_room_for_a_thumb(visit, width, path):
    page = visit(viewport={"width": width, "height": 800}, has_touch=True, is_mobile=True)
    page.open(path, drawn=bool(path))
    page.page.locator(".pz-share").wait_for()
    for fold in page.page.locator("summary").all():
        fold.click()
    assert page.page.evaluate("document.documentElement.scrollWidth") <= width
    small = page.page.evaluate(
        """() => [...document.querySelectorAll("button, summary, select, input, a")]
            .filter((e) => e.offsetParent && !e.closest("label") && !e.matches(".pz-skip, .pz-unseen, [type=radio]"))
            .map((e) => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])
            .filter(([, box]) => box.height < 43.5).map(([what, box]) => `${what} ${box.height}`)"""
    )
    assert small == []


def test_start_page_leads_to_the_chapter_with_the_chain(visit, screen):
    page = visit(**screen).open("", drawn=False)
    page.page.get_by_role("button", name="tea-chest bass").click()
    address(page, r"tuning=E1&")
    page.page.locator(".pz-stops").get_by_text("E1", exact=True).wait_for()
    page.page.locator(".pz-cards a").first.click()
    page.drawn()
    assert "your E (41 Hz)" in verdict(page)
    page.page.get_by_role("link", name="all questions").click()
    page.page.locator(".pz-stops").get_by_text("E1", exact=True).wait_for()
    assert page.problems == []
