"""The start page and its invented instruments."""

import json
import re
from html import escape
from pathlib import Path

import pytest

from piezolab.chain.link import to_query
from piezolab.chain.parameters import all_parameters
from piezolab.chapters import ChapterFile, find_chapters
from piezolab.lessons.shelf import ROOM_LESSON, known_lessons
from piezolab.location import notebooks_dir
from piezolab.pages.kit.short_answers import ANSWERS
from piezolab.pages.start import start_page as index
from piezolab.pages.start.glance import stops
from piezolab.pages.start.scenario import instruments
from piezolab.sheets.sheet_data import SheetData
from piezolab.sheets.step_counts import step_counts


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
    assert found[0].answers not in index.cards(found, "", True, {found[0].slug: "keeps its bass"})


def test_cards_carry_the_chain_and_escape_it():
    chapters = [ChapterFile("a-b", "01-a-b.ipynb", "Less < more?")]
    html = index.cards(chapters, "input=pedal,interface&gate_r=10M", linked=True)
    assert 'href="a-b?input=pedal,interface&amp;gate_r=10M"' in html and "Less &lt; more?" in html
    assert "href" not in index.cards(chapters, "", linked=False)


def test_every_control_stands_in_one_panel_and_the_drawing_opens_it():
    page = index.make("")
    keys = [key for panel in page.parts.panels.values() for key in panel._keys]
    assert sorted(keys) == sorted(key for key, parameter in all_parameters().items() if parameter.group != "link")
    assert [len(panel.groups[0]["items"]) <= 3 for panel in page.parts.panels.values()] == [True] * 6
    assert page.parts.panel.layout.display == "none"
    for name in page.parts.panels:
        page.parts.glance.press(name)
        shown = [word for word, panel in page.parts.panels.items() if panel.layout.display != "none"]
        assert shown == [name] == [page.parts.opened] and page.parts.panel.layout.display is None
        assert page.parts.glance.content.count('aria-expanded="true"') == 1
    page.parts.shut.press("shut")
    assert page.parts.opened == "" and page.parts.panel.layout.display == "none"


def test_each_question_has_its_answer_and_what_the_browser_keeps(monkeypatch):
    page = index.make("input=line")
    assert set(ANSWERS) == {chapter.slug for chapter in find_chapters(notebooks_dir())[:5]}
    lines = re.findall(r'<span class="pz-now">(.*?)</span>', page.chapters.content)
    assert lines[:5] == [answer(page.state.chain) for answer in ANSWERS.values()] and len(lines) == 9
    kept = {"checks": {"build-1": True, "off-1": True, "build-999": True}, "found": "a source follower, J113 <b>",
            "fault": {"reading 00": "dc:source=1.2", "reading 01": "dc:gate=0", "heard": "weak"}}  # fmt: skip
    sections = {name: json.dumps(value) for name, value in kept.items()}
    page.keepsake._heard(page.keepsake, {"word": "kept", "sections": sections}, [])
    counts = step_counts(SheetData(page.state.chain))
    html = page.chapters.content
    assert f"2 of {sum(counts.values())} steps done" in html
    assert "last found: a source follower, J113 &lt;b&gt;" in html
    assert "a search is open: 2 readings and what you hear" in html


def test_a_rooms_lesson_comes_first(monkeypatch):
    monkeypatch.setenv(ROOM_LESSON, known_lessons()[1].name)
    first = next(part for part in index.make("").widget.children if getattr(part, "kind", "") == "questions")
    assert known_lessons()[1].title in first.content and first.content.count("<li>") == 1


def test_cards_follow_the_chain(monkeypatch):
    monkeypatch.setenv("QUERY_STRING", "pickup_c=1n5")
    page = index.make()
    assert re.search(r'href="where-does-the-bass-go\?pickup_c=1n5"', page.chapters.content)
    page.parts.panels["stage"].enter("gate_r", "10M")
    assert "pickup_c=1n5&amp;gate_r=10M" in page.chapters.content
