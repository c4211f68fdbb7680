"""A teacher writes a lesson with the page open: it follows the file, and says by line what is wrong with it."""

import pytest

from piezolab.lessons.template import new_lesson
from tests.serving.browsing import WAIT_MS, Page
from tests.serving.live import LiveServer

pytestmark = pytest.mark.browser


def test_an_open_page_follows_the_file_of_its_lesson(browser, tmp_path, monkeypatch) -> None:
    monkeypatch.setenv("PIEZOLAB_LESSONS", str(tmp_path))
    file = new_lesson("my-lesson", tmp_path)
    text = file.read_text("utf-8")
    server = LiveServer()
    page = Page(browser, server, viewport={"width": 390, "height": 664})
    web = page.page
    try:
        page.open("where-does-the-bass-go?lesson=my-lesson")
        web.get_by_text("sounds thin").wait_for(timeout=WAIT_MS)
        web.get_by_role("button", name="on ›").click()
        web.get_by_text("Which input leaves the low D the most?").wait_for(timeout=WAIT_MS)
        file.write_text(text.replace('compare = "largest"', 'compare = "most"'), "utf-8")
        web.get_by_text("my-lesson.toml, line 19: compare is 'most'; allowed are largest and smallest.").wait_for()
        file.write_text(text.replace("sounds thin", "sounds like a tin"), "utf-8")
        web.get_by_text("sounds like a tin").wait_for(timeout=WAIT_MS)
        assert page.problems == []
    finally:
        page.close()
        server.stop()
