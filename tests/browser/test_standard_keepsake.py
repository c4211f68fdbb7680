"""What the link does not hold: kept in this browser, saved to a file, opened elsewhere; bad files change nothing."""

import json

import pytest

from tests.browser.chapter import DESK, LINK, PHONE, SLUG
from tests.browser.standard import PATIENCE_MS, rest
from tests.serving.browsing import Page

pytestmark = pytest.mark.browser

KEPT = "drop the kept curve"


@pytest.fixture(scope="module")
def first(browser, chapters):
    """A page where something was kept and a task was solved."""
    page = Page(browser, chapters, **DESK).open(LINK)
    page.page.get_by_role("button", name="keep this curve").click()
    page.page.get_by_role("button", name=KEPT).wait_for()
    page.page.locator(".pz-tasks input[type=text]").fill("159 Hz")
    page.page.locator(".pz-tasks button").first.click()
    page.page.get_by_text("✓ solved").wait_for()
    yield page
    page.close()


@pytest.fixture(scope="module")
def saved(first, tmp_path_factory):
    """The file that the page saves."""
    with first.page.expect_download() as download:
        first.page.get_by_role("button", name="save to a file").click()
    assert download.value.suggested_filename == "piezolab-keepsake.json"
    path = tmp_path_factory.mktemp("kept") / "kept.json"
    download.value.save_as(path)
    return path


@pytest.fixture(scope="module")
def second(browser, chapters):
    """Another visitor's page, with nothing kept."""
    page = Page(browser, chapters, **PHONE).open(f"{SLUG}?v=1")
    yield page
    page.close()


def give(page: Page, name: str, content: bytes) -> str:
    """Open a file and wait for what is said of it."""
    said = page.page.locator(".pz-keepsake [role=status]")
    said.evaluate("e => { e.textContent = ''; }")
    page.page.locator(".pz-keepsake input[type=file]").set_input_files(
        {"name": name, "mimeType": "application/json", "buffer": content}
    )
    page.page.wait_for_function("e => e.textContent.length > 5", arg=said.element_handle(), timeout=PATIENCE_MS)
    return said.inner_text()


def store(page: Page) -> dict[str, str]:
    """All that the browser keeps for these pages."""
    return page.page.evaluate("({ ...localStorage })")


def test_it_is_there_again_after_a_reload(first):
    first.page.reload()
    first.drawn()
    first.page.get_by_role("button", name=KEPT).wait_for(timeout=PATIENCE_MS)
    first.page.get_by_text("✓ solved").wait_for()
    assert {"piezolab:curve", "piezolab:tasks"} <= store(first).keys()


def test_the_file_is_small_plain_and_complete(saved):
    content = json.loads(saved.read_text("utf-8"))
    assert content["sections"]["curve"] == "pickup_c=1n5&input=pedal-vintage"
    assert content["sections"]["tasks"] == {"bass-corner": True}
    assert saved.stat().st_size < 1000


DEEP = b"[" * 100_000 + b"]" * 100_000
BAD = {
    "cut off": b'{"format": "piezolab keepsake 1", "sections": {"curve": "pickup_c=2n',
    "no text": bytes(range(256)) * 20,
    "huge": b" " * 300_000,
    "very huge": b"[" + b"1," * 6_000_000 + b"1]",
    "deep": b'{"format": "piezolab keepsake 1", "sections": {"tasks": ' + DEEP + b"}}",
    "of something else": b'{"format": "another", "sections": {"curve": "pickup_c=2n2"}}',
    "a list": b'["piezolab keepsake 1"]',
    "no chain": json.dumps({"format": "piezolab keepsake 1", "sections": {"curve": "pickup_c=<img src=x>"}}).encode(),
    "markup": json.dumps({"format": "piezolab keepsake 1", "sections": {"<img src=x onerror=pzHit=1>": 1}}).encode(),
    "wrong kind": json.dumps({"format": "piezolab keepsake 1", "sections": {"tasks": {"bass-corner": 1}}}).encode(),
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_file_gives_a_sentence_and_changes_nothing(second, name):
    before = store(second)
    said = give(second, "bad.json", BAD[name])
    assert said.endswith(".") and len(said) < 400 and "Traceback" not in said
    assert store(second) == before
    assert second.page.get_by_role("button", name=KEPT).count() == 0
    assert second.page.get_by_text("✓ solved").count() == 0
    assert second.page.locator(".pz-keepsake img").count() == 0 and second.page.evaluate("window.pzHit") is None
    assert second.problems == []


def test_the_file_brings_all_to_another_browser(second, saved):
    assert give(second, "kept.json", saved.read_bytes()) == "The file was opened."
    second.page.get_by_role("button", name=KEPT).wait_for()
    second.page.get_by_text("✓ solved").wait_for()
    rest(second)
    names = "document.querySelector('.js-plotly-plot')._fullData.filter((t) => t.showlegend).map((t) => t.name)"
    second.page.wait_for_function(f"() => {names}.includes('kept')")
    assert store(second)["piezolab:curve"] == '"pickup_c=1n5&input=pedal-vintage"'


def test_a_browser_that_keeps_nothing_says_so_and_still_saves(visit):
    """Storage can be forbidden, and what other programs left in it can be anything."""
    page = visit(**DESK)
    page.page.add_init_script("Object.defineProperty(window, 'localStorage', { get() { throw new Error('no'); } })")
    page.open(LINK)
    page.page.get_by_text("This browser keeps nothing between visits.").wait_for()
    page.page.get_by_role("button", name="keep this curve").click()
    page.page.get_by_role("button", name=KEPT).wait_for()
    with page.page.expect_download() as download:
        page.page.get_by_role("button", name="save to a file").click()
    content = json.loads(download.value.path().read_text("utf-8"))
    assert content["sections"] == {"curve": "pickup_c=1n5&input=pedal-vintage"}


def test_whatever_lies_in_the_store_the_page_comes_up(visit):
    page = visit(**DESK)
    page.page.add_init_script(
        """for (const [name, text] of [["curve", '"gate_r=<b>"'], ["tasks", "{"], ["bag", "[1]"], ["other", "x"],
            ["readings", JSON.stringify("x".repeat(99999))]]) localStorage.setItem("piezolab:" + name, text);"""
    )
    page.open(LINK)
    page.page.locator(".pz-keepsake [role=status]").get_by_text("the kept curve").wait_for()
    assert page.page.locator(".pz-keepsake b").count() == 0
    assert page.page.get_by_role("button", name=KEPT).count() == 0
    assert page.problems == []
