"""Every page with all of it open at once, sounding, and refusing what was entered: axe and the contrast of it; and each
caution, once, where its action is.

A page is opened once. Everyday each is looked at on one screen in one scheme, which take turns over the pages; the long
run looks at all four on each.
"""

import os
import re
from itertools import product

import pytest

from tests.browser.checks import axe, cut, wide
from tests.browser.standard import DESK, NAMES, PAGES, PATIENCE_MS, WORDS, come_up, rest, unfold
from tests.serving.browsing import Page

pytestmark = pytest.mark.browser

SCREENS = [{"width": 1280, "height": 800}, {"width": 390, "height": 844}]
LOOKS = list(product(SCREENS, ("light", "dark")))
LONG = bool(os.environ.get("PIEZOLAB_LONG"))

#: Of a page, by its address: what can hurt, and a part of the page that it guards.
GUARDS = {
    "where-does-the-bass-go": [
        ("before you press or tap a disc", ".pz-plot-section:has-text('Hold it pressed') .piezolab-plot"),
    ],
    "will-this-transistor-do": [
        ("Never the gate to plus", "text=gate to the battery's minus"),
        ("before you change a resistor", "button:text('look for it')"),
    ],
    "what-do-cable-and-input-change": [("Before you plug in or pull out", "th:text('instrument amplifier')")],
    "who-makes-the-hiss-and-the-hum": [
        ("before you touch plugs or open the box", "text=Line the box with foil"),
        ("never measure it", "[data-key=mains_v] select"),
    ],
    "how-loud-before-it-clips": [("before you try how loud it gets", "text=one change at a time")],
    "how-do-i-build-it-and-check-it": [
        ("can short the battery", "text=Only then straight to the battery"),
        ("phantom power off, volume down", "text=Line the box with foil"),
        ("open a window", "text=Iron at 330"),
        ("A wrongly wired switch or a reversed clip", "text=Wire clip"),
    ],
    "where-is-the-fault": [("Measure on the battery side only", "h2:text('Measure next')")],
}
#: The longest pages: fewer words than this with everything open, by address.
MOST_WORDS = {
    "what-do-cable-and-input-change": 2739,
    "who-makes-the-hiss-and-the-hum": 2285,
    "how-do-i-build-it-and-check-it": 3872,
    "did-it-do-what-was-predicted": 2345,  # its own first measure: a sweep and the visitor's own sound in it
}
PLAYER = ("Volume down, headphones off first", ".pz-player-play")
# what carries a caution; a step of a list says its own, so there only the same list must not say it twice
CAUTIONS = """() => [...document.querySelectorAll(".pz-guard, .pz-player-caution, .pz-caution, .pz-cautions")]
    .map((e) => e.textContent.trim()).filter(Boolean)"""
STEPS = """() => [...document.querySelectorAll(".pz-checklist, .pz-steps, ol, ul")].map((list) =>
    [...list.querySelectorAll(".pz-step-caution")].map((e) => e.textContent.trim()).filter(Boolean))"""


@pytest.fixture(scope="module", params=PAGES, ids=NAMES)
def opened(request, browser, chapters):
    one = Page(browser, chapters, **DESK)
    come_up(one, request.param)
    yield request.param, one
    one.close()


def sentences(text: str) -> list[str]:
    """A text's sentences, without their end."""
    return [one.rstrip(".") for one in re.split(r"(?<=[.;])\s+", text) if one]


def twice(texts: list[str]) -> list[str]:
    """Sentences that are said more than once."""
    said = [one for text in texts for one in sentences(text)]
    return sorted({one for one in said if said.count(one) > 1})


def test_a_sentence_said_twice_is_found():
    assert twice(["Volume down. Hot: let go.", "Volume down."]) == ["Volume down"]
    assert twice(["Volume down.", "Hot."]) == []


def _seen(found) -> bool:
    """Whether something of it can be seen."""
    return any(one.is_visible() for one in found.all())


def test_each_caution_is_there_once_and_whenever_its_action_is(opened):
    chapter, page = opened
    web = page.page
    guards = [*GUARDS.get(chapter.slug, []), *([PLAYER] if chapter.slug else [])]
    for open_it in (False, True):
        if open_it:
            unfold(page)
        for caution, action in guards:
            there, guarded = _seen(web.get_by_text(caution)), _seen(web.locator(action))
            assert there == guarded, (caution, open_it)
            assert guarded or not open_it, (action, "is nowhere")
    assert twice(web.evaluate(CAUTIONS)) == []
    assert [twice(texts) for texts in web.evaluate(STEPS) if twice(texts)] == []


def test_all_open_the_long_pages_have_fewer_words_than_they_had(opened):
    chapter, page = opened
    unfold(page)
    told = page.page.evaluate(WORDS)[1]
    assert told < MOST_WORDS.get(chapter.slug, 2200), told
    page.page.evaluate("n => document.body.append(' word'.repeat(n))", 4000)
    assert page.page.evaluate(WORDS)[1] == told + 4000
    page.page.evaluate("() => document.body.lastChild.remove()")


def _refused(web) -> int:
    """Enter what cannot be: in a control, in a form, in the row that opens a shared chain. How many said so."""
    wrong = 0
    part = web.locator(".pz-stops [data-press]").first  # the start page's way to the controls
    if part.count():
        part.click()
        web.locator(".pz-part-panel .pz-entry").first.wait_for()
    entry = web.locator(".pz-controls .pz-entry:visible, .pz-part-panel .pz-entry:visible").first
    if entry.count():
        entry.fill("much")
        entry.press("Enter")
        web.locator(".pz-message[role=alert]:not(:empty)").first.wait_for(timeout=PATIENCE_MS)
        wrong += 1
    form = web.locator("form:has(input[type=text]:visible):has(.pz-message[role=alert])").first
    if form.count():
        form.locator("input[type=text]:visible").first.fill("much")
        form.locator("button[type=submit]").click()
        form.locator(".pz-message[role=alert]:not(:empty)").first.wait_for(timeout=PATIENCE_MS)
        wrong += 1
    web.get_by_label("open a shared configuration").fill("gate_r=much")
    web.get_by_role("button", name="open it", exact=True).click()
    web.locator(".pz-share").get_by_text("gate resistor").first.wait_for(timeout=PATIENCE_MS)
    return wrong + 1


def test_axe_finds_nothing_while_it_sounds_and_refuses(opened):
    chapter, page = opened
    web = page.page
    unfold(page)
    assert _refused(web) >= 2
    play = web.locator(".pz-player-play")
    if play.count():
        play.first.scroll_into_view_if_needed()
        play.first.click()
        web.locator(".pz-player[data-state=playing]").wait_for(timeout=PATIENCE_MS)
    faults = []
    for screen, scheme in LOOKS if LONG else [LOOKS[PAGES.index(chapter) % len(LOOKS)]]:
        web.set_viewport_size(screen)
        web.emulate_media(color_scheme=scheme)
        rest(page)
        faults += [(screen["width"], scheme, one) for one in (*axe(page), *cut(page), *wide(page))]
    assert faults == []
    assert page.problems == []


def test_at_twice_the_size_all_fits_and_the_lower_panel_is_folded(opened):
    """A desk's browser at 200 % zoom has half of each side."""
    _, page = opened
    web = page.page
    web.set_viewport_size({"width": 640, "height": 400})
    web.wait_for_function("() => !document.querySelector('.pz-stick .y2tick')", timeout=PATIENCE_MS)
    rest(page)
    assert [*cut(page), *wide(page)] == []
    plot = web.locator(".pz-stick .piezolab-plot")
    if plot.count():
        assert plot.first.bounding_box()["height"] <= 300  # the controls have the rest of the screen
