"""The start page and its invented instruments."""

import re
from html import escape
from pathlib import Path

import pytest

from piezolab.chain.link import to_query
from piezolab.chapters import ChapterFile, find_chapters
from piezolab.location import notebooks_dir
from piezolab.pages.start import start_page as index
from piezolab.pages.start.glance import stops
from piezolab.pages.start.scenario import instruments


@pytest.mark.parametrize("instrument", instruments(), ids=lambda i: i.name)
def test_an_instruments_link_is_canonical_and_its_chain_comes_up(instrument):
    assert instrument.chain.entered and to_query(instrument.chain)
    page = index.make("")
    page.examples.press(instrument.name)
    assert page.state.chain == instrument.chain
    assert [b["word"] for b in page.examples.buttons if b["held"]] == [instrument.name]
    page.bar.press("undo")
    assert page.state.query == ""


def test_the_workshop_is_marked_as_invented():
    page = index.make("")
    texts = " ".join(str(getattr(child, "content", "")) for child in page.widget.children)
    assert "Saltmarsh Instrument Workshop, which is invented" in texts


def test_the_picture_shows_the_whole_chain_with_values():
    names = [stop.name for stop in stops(index.make("").state.chain)]
    assert names == ["instrument", "pickup", "lead", "stage", "cable", "input"]
    bare = stops(index.make("stage=direct").state.chain)
    assert bare[3].lines == ("none",)
    assert "1.50 nF, one disc" in stops(index.make("pickup_c=1n5").state.chain)[1].lines


def test_every_question_says_what_it_answers_as_the_read_me_does():
    found = find_chapters(notebooks_dir())
    told = (Path(__file__).parents[3] / "README.md").read_text("utf-8")
    rows = [f"| {chapter.title} | {chapter.answers} |" for chapter in found]
    assert rows and [row for row in rows if row not in told] == [], "rows that the table in README.md lacks"
    assert all(escape(chapter.answers) in index.cards(found, "", True) for chapter in found)


def test_cards_carry_the_chain_and_escape_it():
    chapters = [ChapterFile("a-b", "01-a-b.ipynb", "Less < more?")]
    html = index.cards(chapters, "input=pedal,interface&gate_r=10M", linked=True)
    assert 'href="a-b?input=pedal,interface&amp;gate_r=10M"' in html and "Less &lt; more?" in html
    assert "href" not in index.cards(chapters, "", linked=False)


def test_cards_follow_the_chain(monkeypatch):
    monkeypatch.setenv("QUERY_STRING", "pickup_c=1n5")
    page = index.make()
    assert re.search(r'href="where-does-the-bass-go\?pickup_c=1n5"', page.chapters.content)
    page.controls.enter("gate_r", "10M")
    assert "pickup_c=1n5&amp;gate_r=10M" in page.chapters.content
