"""What every page has to keep: the pages, and what looks at one of them."""

from __future__ import annotations

from urllib.parse import urlsplit

from piezolab.chapters import INDEX_FILE, ChapterFile, find_chapters, notebook_title
from piezolab.location import notebooks_dir
from tests.browser.chapter import DESK, PHONE
from tests.serving.browsing import Page
from tests.serving.live import LiveServer

_FOLDER = notebooks_dir()
#: The start page and every chapter.
PAGES = [ChapterFile("", INDEX_FILE, notebook_title(_FOLDER / INDEX_FILE)), *find_chapters(_FOLDER)]
NAMES = [chapter.slug or "start" for chapter in PAGES]

#: A page may take long to come up on a computer that is busy with other things; how long is no matter of these tests.
PATIENCE_MS = 60_000

#: Words that can be read, on the first screen and in all: no ticks of an axis, no options of a shut list, nothing
#: for screen readers alone.
WORDS = """() => {
    const skip = "script, style, noscript, select, textarea, svg, .pz-unseen";
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    let first = 0, all = 0;
    for (let node; (node = walker.nextNode());) {
        const words = node.data.split(/\\s+/).filter((word) => /[\\p{L}\\p{N}]/u.test(word)).length;
        if (!words || node.parentElement.closest(skip) || !node.parentElement.checkVisibility()) continue;
        const range = document.createRange();
        range.selectNodeContents(node);
        const boxes = [...range.getClientRects()].filter((box) => box.width > 1 && box.height > 1);
        if (!boxes.length) continue;
        all += words;
        if (boxes[0].top + scrollY < innerHeight) first += words;
    }
    return [first, all];
}"""

__all__ = ["DESK", "NAMES", "PAGES", "PATIENCE_MS", "PHONE", "WORDS", "come_up", "outside", "rest", "unfold"]


def come_up(page: Page, chapter: ChapterFile, query: str = "") -> Page:
    """Open a page and wait until all its parts are there and drawn."""
    page.open(chapter.slug + ("?" + query if query else ""), drawn=False)
    page.page.locator(".pz-keepsake").wait_for(timeout=PATIENCE_MS)
    rest(page)
    return page


def rest(page: Page) -> None:
    """Wait until all is worked out, every plot that can be seen is drawn as the kernel holds it, and nothing moves."""
    page.page.locator("[data-rest=done]").wait_for(state="attached", timeout=PATIENCE_MS)
    page.page.wait_for_function(
        """() => [...document.querySelectorAll(".piezolab-plot")]
            .filter((plot) => plot.offsetParent).every((plot) => plot.dataset.state === "drawn")""",
        timeout=PATIENCE_MS,
    )
    page.page.evaluate("() => new Promise((done) => setTimeout(() => requestAnimationFrame(done), 150))")


def unfold(page: Page) -> None:
    """Open whatever is folded away, and wait for what is then worked out."""
    page.page.evaluate("for (const fold of document.querySelectorAll('details')) fold.open = true")
    page.page.evaluate("() => new Promise((done) => setTimeout(done, 300))")
    page.page.evaluate("for (const fold of document.querySelectorAll('details')) fold.open = true")
    rest(page)


def outside(page: Page, server: LiveServer) -> list[str]:
    """Requests of a page that went anywhere but to its server."""
    host = urlsplit(server.url).netloc
    own = ("blob:", "data:", "about:")
    return [r.url for r in page.requests if not r.url.startswith(own) and urlsplit(r.url).netloc != host]
