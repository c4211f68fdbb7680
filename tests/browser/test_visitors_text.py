"""What a visitor wrote is shown as text: no dollar of theirs makes a formula."""

import json

import pytest
from playwright.sync_api import expect

from tests.browser.chapter import DESK
from tests.serving.browsing import WAIT_MS, Page

pytestmark = pytest.mark.browser

TYPED = r"$x^2$ and $$\frac12$$"
CHAPTER = "will-this-transistor-do"
BAG = [{"name": r"$\frac12$", "jfet": "J113", "idss": 5e-3, "vds": 9.0, "vgsoff": -1.0}]


@pytest.fixture
def page(visit) -> Page:
    """The transistor's chapter, opened with a link, a bag and an entry that all hold dollars; its formulas are set."""
    opened = visit(**DESK)
    opened.page.add_init_script(f"localStorage.setItem('piezolab:bag', {json.dumps(json.dumps(BAG))})")
    opened.open(f"{CHAPTER}?gate_r=%24x%5E2%24+and+%24%24%5Cfrac12%24%24")
    entry = opened.page.get_by_label("source resistor", exact=True).first
    entry.fill(TYPED)
    entry.press("Enter")
    opened.page.locator(".pz-message:not(:empty)").first.wait_for(timeout=WAIT_MS)
    opened.page.get_by_text("The maths", exact=True).click()
    opened.page.locator(".pz-maths math mfrac").first.wait_for(timeout=WAIT_MS)
    return opened


def test_dollars_of_a_visitor_are_dollars(page):
    for shown in (".pz-problems", ".pz-message:not(:empty)"):
        # inner text: a formula's own source would stand in an annotation that nobody sees
        expect(page.page.locator(shown).first).to_contain_text(TYPED.replace("\\", "\\\\"), use_inner_text=True)
    expect(page.page.get_by_text(f"no. {BAG[0]['name']} (J113)")).to_be_visible()
    outside = page.page.evaluate("[...document.querySelectorAll('math')].filter((m) => !m.closest('.pz-maths')).length")
    assert outside == 0
    assert page.problems == []


def test_a_label_with_an_address_is_no_formula(page):
    """A stock label asks the page's typesetter to set it, whatever it holds."""
    page.page.evaluate(
        """() => {
            const label = document.createElement("div");
            label.id = "label";
            label.textContent = "$x^2$";
            document.body.append(label);
            MathJax.Hub.Queue(["Typeset", MathJax.Hub, label]);
            MathJax.Hub.Queue(["Typeset", MathJax.Hub, document.body]);
        }"""
    )
    page.page.wait_for_timeout(300)  # nothing to wait for: the typesetter is loaded, and shall do nothing
    assert page.page.locator("#label").inner_text() == "$x^2$"
