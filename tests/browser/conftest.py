"""The shipped chapters, served to a real browser."""

from collections.abc import Callable, Iterator

import pytest

from tests.browser.chapter import DESK, PHONE
from tests.serving.browsing import Page
from tests.serving.live import LiveServer


@pytest.fixture(scope="session")
def chapters() -> Iterator[LiveServer]:
    """One server of the shipped chapters for all tests in this folder."""
    live = LiveServer(patience={"unopened_s": 5.0, "lost_s": 5.0}, warm=True)
    yield live
    live.stop()


@pytest.fixture
def visit(browser, chapters) -> Iterator[Callable[..., Page]]:
    """Opens browser contexts on the shipped chapters and closes them again."""
    pages: list[Page] = []

    def open_one(**options) -> Page:
        pages.append(Page(browser, chapters, **options))
        return pages[-1]

    yield open_one
    for page in pages:
        page.close()


@pytest.fixture(params=["desk", "phone"])
def screen(request) -> dict:
    """The two sizes of screen that every page is looked at on."""
    return DESK if request.param == "desk" else PHONE
