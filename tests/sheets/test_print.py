"""The build sheet on paper, through a headless Chromium: pages, true size, nothing cut, in colour and in grey."""

from __future__ import annotations

from functools import cache

import numpy as np
import pypdfium2
import pytest

from piezolab.chain.link import from_link
from piezolab.lessons.shelf import known_lessons
from piezolab.sheets.build_sheet import build_sheet
from piezolab.sheets.handout import handout
from piezolab.sheets.layout_svg import scale_bar_svg
from piezolab.studies.board.layout import METHODS
from piezolab.studies.board_as_built import BoardAsBuilt

pytestmark = pytest.mark.browser

LARGE = "return=divider&gate_stop=1k&drain_r=1k&supply_r=1k&bypass_c=10u&bypass_part=0.5&input=interface-microphone"
LARGEST = "return=tap&stage=gain&bypass_part=0.7&supply_r=100&gate_stop=1k&input=microphone&discs=2s&pad=10k,1k"
CASES = [("", "wire"), ("stage=gain&input=microphone&supply=adapter", "tape"), (LARGE, "stripboard"), (LARGEST, "tape"),
         (LARGEST, "breadboard"), ("stage=direct", "wire")]  # fmt: skip
INCH = 25.4
DPI = 300


@cache
def sheet(link: str, method: str) -> str:
    return build_sheet(from_link(link), BoardAsBuilt(method=method))


def show(page, html: str) -> None:
    """Show a document and wait for its face."""
    page.set_content(html)
    faces = """Promise.all(["", "bold "].map((weight) => document.fonts.load(weight + '1em "piezolab text"')))"""
    assert page.evaluate(faces + ".then((found) => found.flat().length)") == 2


def printed(browser, html: str, paper: str) -> pypdfium2.PdfDocument:
    page = browser.new_page()
    try:
        page.set_content(html)
        return pypdfium2.PdfDocument(page.pdf(format=paper, print_background=True))
    finally:
        page.close()


def grey(document: pypdfium2.PdfDocument, number: int) -> np.ndarray:
    """A page as grey levels 0 to 1 at 300 dots per inch."""
    picture = document[number].render(scale=DPI / 72).to_numpy()[..., :3]
    return picture @ np.array([0.114, 0.587, 0.299]) / 255


def bar_lengths_mm(picture: np.ndarray) -> list[float]:
    """Lengths of solid black bars at least 1 mm thick, mm: rows whose longest dark run starts and ends alike."""
    dark = picture < 0.3
    runs: dict[tuple[int, int], int] = {}
    for row in dark:
        edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(np.int8), [0]])))
        for start, end in zip(edges[::2], edges[1::2], strict=True):
            if end - start > 30 / INCH * DPI:
                runs[start, end] = runs.get((start, end), 0) + 1
    thick = 1.0 / INCH * DPI
    return [(end - start) / DPI * INCH for (start, end), rows in runs.items() if rows >= thick]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize(("link", "method"), CASES)
def test_one_or_two_pages_with_a_true_scale_bar(browser, link: str, method: str, paper: str) -> None:
    document = printed(browser, sheet(link, method), paper)
    assert len(document) == (1 if "direct" in link else 2)
    width, height = (points / 72 * INCH for points in document[0].get_size())
    assert (round(width), round(height)) == ((210, 297) if paper == "A4" else (216, 279))
    if len(document) == 2:
        lengths = [length for length in bar_lengths_mm(grey(document, 1)) if 40 < length < 60]
        assert lengths and all(abs(length - 50) <= 0.2 for length in lengths)


@pytest.mark.parametrize(("link", "method"), CASES)
@pytest.mark.parametrize("computer", ["browser", "bare_browser"])
def test_nothing_is_cut_or_runs_over(request, computer: str, link: str, method: str) -> None:
    """In the width of the paper: no box leaves its page, no lettering its drawing or its table cell."""
    browser = request.getfixturevalue(computer)
    page = browser.new_page(viewport={"width": round(190 / INCH * 96), "height": 900})
    try:
        page.emulate_media(media="print")
        show(page, sheet(link, method))
        faults = page.evaluate(
            """() => {
                const out = [];
                for (const sheet of document.querySelectorAll('.page')) {
                    const frame = sheet.getBoundingClientRect();
                    for (const e of sheet.querySelectorAll('*')) {
                        const b = e.getBoundingClientRect();
                        if (b.width && (b.right > frame.right + 1 || b.left < frame.left - 1))
                            out.push('beyond the page: ' + e.tagName + ' ' + (e.textContent || '').slice(0, 40));
                    }
                    if (frame.height > 259 * 96 / 25.4) out.push('a page is ' + frame.height * 25.4 / 96 + ' mm high');
                }
                for (const t of document.querySelectorAll('svg text')) {
                    const b = t.getBoundingClientRect(), s = t.ownerSVGElement.getBoundingClientRect();
                    const out_of = b.left < s.left - 1 || b.right > s.right + 1;
                    if (out_of || b.top < s.top - 1.5 || b.bottom > s.bottom + 1.5)
                        out.push('lettering cut: ' + t.textContent);
                }
                for (const cell of document.querySelectorAll('td, th'))
                    if (cell.scrollWidth > cell.clientWidth + 1) out.push('cell: ' + cell.textContent);
                return out;
            }"""
        )
        assert faults == []
    finally:
        page.close()


def lesson() -> str:
    return handout(known_lessons()[0], "http://192.168.0.20:8350")


@pytest.mark.parametrize("html", [lambda: sheet(LARGE, "stripboard"), lambda: sheet(LARGEST, "tape"), lesson])
def test_a_computer_without_faces_prints_the_same_picture(browser, bare_browser, html) -> None:
    ours, bare = (printed(one, html(), "A4") for one in (browser, bare_browser))
    assert len(ours) == len(bare) <= 2
    for number in range(len(ours)):
        assert np.array_equal(grey(ours, number), grey(bare, number))
        assert np.mean(grey(bare, number) < 0.3) > 0.005


def test_layout_prints_at_its_true_size(browser) -> None:
    """The board's own outline, measured in the page that prints it."""
    from piezolab.studies.board.layout import layout

    page = browser.new_page()
    try:
        for method in METHODS:
            chain = from_link("stage=gain")
            found = layout(chain, BoardAsBuilt(method=method).layout(chain))
            show(page, sheet("stage=gain", method))
            width, height = page.evaluate(
                "() => { const b = document.querySelector('.layout .board').getBoundingClientRect();"
                " return [b.width, b.height] }"
            )
            assert width / 96 * INCH == pytest.approx(found.width, abs=0.3)
            assert height / 96 * INCH == pytest.approx(found.height, abs=0.3)
            holes = page.evaluate(
                "() => [...document.querySelectorAll('.template .hole')].map(e => e.getBoundingClientRect().width)"
            )
            assert [round(hole / 96 * INCH, 1) for hole in holes] == pytest.approx([9.5, 6.2, 4.0], abs=0.3)
    finally:
        page.close()


def test_in_grey_lanes_and_letters_can_be_told_from_the_paper(browser) -> None:
    picture = grey(printed(browser, sheet("stage=gain", "tape"), "A4"), 1)
    assert picture.max() > 0.99
    lanes = np.mean((picture > 0.75) & (picture < 0.95))
    ink = np.mean(picture < 0.3)
    assert lanes > 0.003 and ink > 0.02


@pytest.mark.parametrize("width", [390, 1280])
def test_sheet_fits_a_screen(browser, width: int) -> None:
    """What is wider than a telephone scrolls in its own frame, not the page."""
    page = browser.new_page(viewport={"width": width, "height": 844})
    try:
        show(page, sheet(LARGE, "stripboard"))
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.evaluate("document.querySelector('.schematic').getBoundingClientRect().width") >= 600
    finally:
        page.close()


def test_measure_sees_a_wrong_bar(browser) -> None:
    html = "<style>@page { margin: 10mm }</style>" + scale_bar_svg().replace('width="80mm"', 'width="78mm"')
    wrong = [length for length in bar_lengths_mm(grey(printed(browser, html, "A4"), 0)) if 40 < length < 60]
    assert wrong and all(abs(length - 50) > 0.2 for length in wrong)
