"""The first chapter's notebook in JupyterLab, as the guide starts it: code visible, the page alike and alive; and a
notebook of one's own beside it."""

import shutil

import pytest

from piezolab.location import notebooks_dir
from tests.serving.conftest import write_notebook
from tests.serving.lab import jupyterlab
from tests.test_public_names import example

pytestmark = pytest.mark.browser

NOTEBOOK = "01-where-does-the-bass-go.ipynb"


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    """A JupyterLab over a copy of the chapters, with a notebook of one's own beside them; its address."""
    above = tmp_path_factory.mktemp("copy")
    shutil.copytree(notebooks_dir(), above / "notebooks", ignore=shutil.ignore_patterns(".ipynb_checkpoints"))
    write_notebook(above / "notebooks" / "mine.ipynb", "# Mine", example())
    with jupyterlab(above) as address:
        yield address


def opened(page, address: str) -> None:
    """Open a notebook and wait until its kernel is there; the mark beside its name says idle before there is one."""
    page.goto(address)
    page.locator(".jp-Notebook .jp-MarkdownCell").first.click(timeout=60_000)
    page.locator("#jp-main-statusbar").get_by_text("Python 3 (ipykernel) | Idle").wait_for(timeout=60_000)


def run_all(page) -> None:
    """By the menu: a key that is pressed before the notebook has the keyboard is lost."""
    page.get_by_role("menuitem", name="Run", exact=True).click()
    page.get_by_role("menuitem", name="Run All Cells", exact=True).click()


def test_the_first_chapter_opens_and_its_slider_redraws(browser, lab):
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    page = context.new_page()
    errors = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    opened(page, f"{lab}/lab/tree/{NOTEBOOK}")
    url = page.url
    run_all(page)
    page.locator(".piezolab-plot[data-state=drawn]").first.wait_for(timeout=60_000)
    assert page.locator(".jp-CodeCell .jp-InputArea").first.is_visible()
    page.get_by_label("pickup capacitance", exact=True).fill("1n5")
    page.keyboard.press("Enter")
    shown = "[...document.querySelectorAll('.pz-share input')].map((field) => field.value)"
    page.wait_for_function(f"() => {shown}.includes('pickup_c=1n5')")
    curve = "JSON.stringify([...document.querySelector('.js-plotly-plot')._fullData[0].y])"
    before = page.evaluate(curve)
    page.locator("[data-slider=pickup_c]").first.focus()
    page.keyboard.press("ArrowRight")
    page.wait_for_function(f"before => {curve} !== before", arg=before)
    page.get_by_text("The maths", exact=True).click()
    page.locator(".pz-maths math mfrac").first.wait_for(timeout=20_000)
    assert page.locator("text=full link").is_hidden()
    assert page.url == url and errors == []
    context.close()


def test_the_documented_example_draws_its_figure(browser, lab):
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    page = context.new_page()
    opened(page, f"{lab}/lab/workspaces/mine/tree/mine.ipynb")
    run_all(page)
    page.locator(".jp-OutputArea .js-plotly-plot .gtitle", has_text="Just enough").wait_for(timeout=60_000)
    assert "Nothing is wrong with the link." in page.locator(".jp-OutputArea").first.inner_text()
    context.close()
