"""The first chapter's notebook in JupyterLab: code visible and short, the page alike, the address left alone."""

import shutil

import pytest

from piezolab.location import notebooks_dir
from tests.serving.lab import jupyterlab

pytestmark = pytest.mark.browser

NOTEBOOK = "01-where-does-the-bass-go.ipynb"


def test_the_same_notebook_runs_in_jupyterlab(browser, tmp_path):
    shutil.copy(notebooks_dir() / NOTEBOOK, tmp_path)
    with jupyterlab(tmp_path) as address:
        context = browser.new_context(viewport={"width": 1280, "height": 800})
        page = context.new_page()
        errors = []
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.goto(f"{address}/lab/tree/{NOTEBOOK}")
        page.locator(".jp-Notebook .jp-MarkdownCell").first.click(timeout=60_000)
        page.locator(".jp-Notebook-ExecutionIndicator[data-status=idle]").first.wait_for(timeout=60_000)
        url = page.url
        for _cell in range(3):
            page.keyboard.press("Shift+Enter")
        page.locator(".piezolab-plot[data-state=drawn]").wait_for(timeout=60_000)
        assert page.locator(".jp-CodeCell .jp-InputArea").first.is_visible()
        page.get_by_label("pickup capacitance", exact=True).fill("1n5")
        page.keyboard.press("Enter")
        shown = "[...document.querySelectorAll('.pz-share input')].map((field) => field.value)"
        page.wait_for_function(f"() => {shown}.includes('pickup_c=1n5')")
        page.get_by_text("The maths", exact=True).click()
        page.locator(".pz-maths math mfrac").first.wait_for(timeout=20_000)
        assert page.locator("text=full link").is_hidden()
        assert page.url == url and errors == []
        context.close()
