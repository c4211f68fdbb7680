"""The recordings chapter without a browser: what it opens on, a visitor's file in slices, and what is refused."""

import io
import json
import xml.etree.ElementTree

import numpy as np
import pytest
import soundfile

from piezolab.audio import RATE
from piezolab.audio.sound_file import MB, MOST_BYTES_IN_A_ROOM
from piezolab.chain.link import from_link
from piezolab.lessons.shelf import IN_A_ROOM
from piezolab.pages.did_it_do_what_was_predicted import chapter
from piezolab.pages.did_it_do_what_was_predicted.sound_input import SLICE
from piezolab.pages.did_it_do_what_was_predicted.takes_download import TakesDownload
from piezolab.pages.did_it_do_what_was_predicted.takes_paper import takes_paper
from piezolab.studies.recordings.invented_takes import invented_takes

LINK = "input=line"


@pytest.fixture(scope="module")
def files():
    out = []
    for one in invented_takes(from_link(LINK), 5):
        data = io.BytesIO()
        soundfile.write(data, one.samples, RATE, format="WAV", subtype="PCM_16")
        out.append(data.getvalue())
    return out


@pytest.fixture
def page(monkeypatch):
    monkeypatch.delenv(IN_A_ROOM, raising=False)
    return chapter.make(LINK)


def sent(page, data, *, staged=False, name="mine.wav", size=None, serial=7):
    """Send a file as the browser does; returns what was answered."""
    said, one = [], page.sound_input
    one.send = lambda content, buffers=None: said.append(content)
    one._heard(one, {"word": "begin", "serial": serial, "name": name, "staged": staged,
                     "size": len(data) if size is None else size}, [])  # fmt: skip
    for at in range(0, len(data), SLICE):
        one._heard(one, {"word": "slice", "serial": serial, "at": at}, [memoryview(data[at : at + SLICE])])
    return said


def test_it_opens_on_an_answer_and_says_that_it_is_invented(page):
    assert "It did what was predicted" in page.verdict.content and "Invented" in page.sound_input.whose
    assert {trace["name"] for trace in page.plot.traces} == {"predicted", "takes, slid to that level"}
    assert "one take of each knows it to ±3 dB only" in page.verdict.content.replace("\u00a0", " ")
    assert "Invented takes against the prediction" in page.table.content


def test_moving_the_prediction_leaves_the_takes_as_they_are(page):
    before = page.state.heard
    page.own.enter("pickup_c", "2n")
    assert page.state.heard is before and "less than predicted" in page.verdict.content


def test_own_takes_in_slices(page, files):
    said = sent(page, files[0])
    assert said[-1]["good"] and "12 notes" in said[-1]["said"] and page.sound_input._data is None
    assert "Now add a take with the stage" in page.verdict.content
    assert "which is there already" in sent(page, files[0], name="again.wav")[-1]["said"]
    assert sent(page, files[1], staged=True)[-1]["good"]
    assert "It did what was predicted" in page.verdict.content and len(page.sound_input.takes) == 2
    page.sound_input._heard(None, {"word": "remove", "n": 0}, [])
    assert "Now add a bare take" in page.verdict.content
    page.sound_input._heard(None, {"word": "remove", "n": 0}, [])
    assert page.state.heard.invented


def test_the_disc_by_ones_own_bare_takes(page, files):
    """Invented takes offer nothing; one's own are put into the chain by one click."""
    assert not page.disc.section.content and not page.disc.into.buttons
    page.own.enter("pickup_c", "33n")
    sent(page, files[0])
    assert not page.disc.into.buttons
    sent(page, files[1], staged=True)
    assert "resistance times capacitance only" in page.disc.section.content
    page.disc.into.press("use")
    assert 8e-9 < page.state.chain.pickup_c < 25e-9 and not page.disc.into.buttons
    page.state.undo()
    assert page.state.chain.pickup_c == 33e-9


def test_what_is_refused_and_what_is_out_of_order(page, files, monkeypatch):
    assert "empty" in sent(page, b"")[-1]["said"]
    assert "up to 128 MB" in sent(page, b"", size=129 * MB)[-1]["said"]
    assert "no WAV or FLAC" in sent(page, b"hello" * 100, name="<b>.wav")[-1]["said"]
    one = page.sound_input
    one._heard(one, {"word": "begin", "serial": 9, "name": "x", "size": 10, "staged": True}, [])
    for content, buffers in (({"serial": 8, "at": 0}, [b"abc"]), ({"serial": 9, "at": 3}, [b"abc"]),
                             ({"serial": 9, "at": 0}, []), ({"serial": 9, "at": 0}, [bytes(SLICE + 1)])):  # fmt: skip
        one._heard(one, {"word": "slice", **content}, buffers)
        assert one._data.size == 0
    one._heard(one, {"word": "cancel"}, [])
    assert one._data is None and page.state.heard.invented
    monkeypatch.setenv(IN_A_ROOM, "yes")
    assert f"up to {MOST_BYTES_IN_A_ROOM // MB} MB" in chapter.make(LINK).sound_input.limits


def test_what_is_saved(page):
    said, saves = [], TakesDownload(page.state)
    saves.send = said.append
    for kind in ("csv", "json", "exe"):
        saves._save({"kind": kind})
    rows = said[0]["text"].splitlines()
    assert rows[0].startswith("frequency_hz,") and len(rows) > 8 and len(said) == 2
    assert np.isfinite(np.loadtxt(rows[1:], delimiter=",")).all()
    found = json.loads(said[1]["text"])
    assert found["invented"] is True and found["finding"] == "agrees"


def test_a_page_to_print(page, files):
    """It stands by itself, says what the screen says, names what is invented, and holds nothing unescaped."""
    said = []
    saves = TakesDownload(page.state, lambda: takes_paper(page.state, page.sweep))
    saves.send = said.append
    saves._save({"kind": "sheet"})
    assert said[-1]["file"].endswith(".html") and "Invented takes: an example" in said[-1]["text"]
    sent(page, files[0], name="<i>a.wav")
    sent(page, files[1], staged=True)
    saves._save({"kind": "sheet"})
    text = said[-1]["text"]
    xml.etree.ElementTree.fromstring(text[text.index("<svg") : text.index("</svg>") + 6])
    assert "Invented" not in text and "<i>" not in text and "&lt;i&gt;a.wav" in text
    assert "It did what was predicted" in text and "input=line" in text
    for word in ('src="http', "href=", "<script"):
        assert word not in text
    saves = TakesDownload(chapter.make("stage=direct").state)
    saves.send = said.append
    saves._save({"kind": "sheet"})
    assert said[-1] == {"trouble": "There is nothing to save yet."}


def test_takes_that_hold_too_little_of_the_bass_are_given_no_figures():
    """A disc of 2.2 nF into 10 kOhm has its corner at 7 kHz: nothing of the notes tells it from a higher one."""
    page = chapter.make("input=line&gate_r=1M&pickup_c=2n2")
    assert "No verdict yet" in page.verdict.content
    for content in (page.verdict.content, page.table.content):
        assert "000000" not in content and "cannot be told" in page.table.content


def test_without_a_stage_it_says_so():
    page = chapter.make("stage=direct")
    assert "has none" in page.verdict.content and page.state.heard is None
    page.state.put_stage_in()
    assert page.state.heard is not None and "predicted" in page.verdict.content
