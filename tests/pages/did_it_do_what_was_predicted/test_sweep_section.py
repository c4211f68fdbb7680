"""Measure with a sweep, without a browser: the files to play, a recording in slices, what is said, one click."""

import io
import json
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from piezolab.audio import RATE
from piezolab.audio.exponential_sweep import PEAK, ExponentialSweep
from piezolab.chain.link import from_link
from piezolab.pages.did_it_do_what_was_predicted import chapter
from piezolab.pages.did_it_do_what_was_predicted.sweep_words import TO_FINDER
from piezolab.pages.where_is_the_fault.entry import entered
from piezolab.studies.faults.fault_figures import read_readings
from piezolab.studies.recordings.sweep_against import as_swept
from piezolab.studies.recordings.sweep_reading import fault_readings
from tests.pages.did_it_do_what_was_predicted.test_chapter import SLICE
from tests.studies.recordings.sweeping import put_in, recorded, through
from tests.studies.recordings.test_sweep import response_of

LINK = "input=line&gate_r=1M&pickup_c=2n2"
WIRED = {"capacitor": "2n2", "alike": "yes", "tone": "", "transistor": ""}


@pytest.fixture(scope="module")
def file():
    """Made with 680 kOhm where the page has 1 MOhm."""
    played = put_in(ExponentialSweep(), 40.0)
    chain = through(played, response_of(as_swept(from_link("input=line&gate_r=680k"), 2.2e-9)))
    data = io.BytesIO()
    soundfile.write(data, recorded(chain, played, noise=1e-4).samples, RATE, format="WAV", subtype="PCM_24")
    return data.getvalue()


@pytest.fixture
def page(file):
    page = chapter.make(LINK)
    page.sweep.fold.head._turned({"open": True})
    said, one = [], page.sweep.brought
    one.send = lambda content, buffers=None: said.append(content)
    one._heard(one, {"word": "begin", "serial": 3, "name": "s.wav", "staged": True, "size": len(file)}, [])
    for at in range(0, len(file), SLICE):
        one._heard(one, {"word": "slice", "serial": 3, "at": at}, [memoryview(file[at : at + SLICE])])
    assert said[-1]["good"] and "found twice, with loop-back" in said[-1]["said"]
    return page


def test_before_there_is_one():
    sweep = chapter.make(LINK).sweep
    assert not sweep.result.content and "No sweep yet" in sweep.plot.head.content
    assert not sweep.into.buttons and not sweep.brought.takes
    said = []
    sweep.downloads.send = lambda content, buffers=None: said.append((content, buffers))
    for kind in ("sweep", "tone", "csv", "json", "exe"):
        sweep.downloads._save({"kind": kind})
    assert len(said) == 4 and "No sweep yet" in said[2][0]["trouble"]
    samples, rate = soundfile.read(io.BytesIO(said[0][1][0]))
    assert rate == RATE and np.abs(samples).max() == pytest.approx(PEAK, rel=1e-3) and len(samples) < 48 * RATE


def test_what_it_says_and_puts_into_the_chain(page):
    sweep = page.sweep
    assert sweep.form.submit(WIRED) and "gate resistor: 680" in sweep.result.content
    assert "Volts, and where it clips, need the meter" in sweep.result.content and "dBu" not in sweep.result.content
    assert sweep.form.submit(WIRED | {"tone": "0.31"}) and "dBu" in sweep.result.content
    assert [button["label"] for button in sweep.into.buttons] == ["put it into the chain: gate resistor"]
    sweep.numbers._turned({"open": True})
    assert "harmonic 2" in sweep.numbers.content and "+40 ppm" in sweep.numbers.content
    assert sweep.plot.plot.revision and not sweep.plot.head.content
    sweep.into.press("use")
    assert page.state.query.count("gate_r=68") == 1 and not sweep.into.buttons
    assert "it follows the prediction" in sweep.result.content
    page.state.undo()
    assert page.state.chain.gate_r == 1e6


def test_what_the_chain_cannot_explain_goes_to_the_fault_finder(page):
    """With the response of another chain: in one click, beside what was read there before, and read there."""
    sweep, kept = page.sweep, {}
    assert sweep.form.submit(WIRED) and not sweep.fault_texts(), "it follows the prediction"
    page.state.put(from_link("tuning=E1-A1&input=line&gate_r=10M&pickup_c=2n2"))
    assert [button["word"] for button in sweep.into.buttons] == ["use", "fault"]
    page.keepsake.keep = lambda name, value: kept.update({name: value})
    page.keepsake.open_file(json.dumps({
        "format": page.keepsake.format,
        "sections": {"fault": {"reading 00": "corner:sweep=5", "reading 01": "dc:source=1.02", "heard": "thin"}},
    }))  # fmt: skip
    sweep.into.press("fault")
    found = [entry.reading for entry in entered(kept["fault"])]
    assert [reading.check.key for reading in found] == ["corner:sweep", "level:sweep", "dc:source"]
    assert found[0].value == pytest.approx(1 / (2 * np.pi * 680e3 * 2.2e-9), rel=0.1)
    assert [reading.digit for reading in found[:2]] == pytest.approx(halves(page), rel=0.06)
    assert kept["fault"]["heard"] == "thin" and "where-is-the-fault?" in sweep.carried.content
    page.state.undo()
    assert not sweep.carried.content, "another chain, another question"


def halves(page):
    """Half the intervals of corner and level, as the study has them."""
    now, state = page.sweep.compared, page.state
    return [reading.digit for reading in fault_readings(state.swept, now, state.chain, state.set_up)]


def test_one_that_follows_the_prediction_is_taken_where_the_finder_may_have_asked_for_it(page):
    sweep = page.sweep
    page.state.put(page.state.chain.but(gate_r=680e3))
    assert sweep.form.submit(WIRED) and not sweep.fault_texts()
    page.keepsake._heard(page.keepsake, {"word": "kept", "sections": {"build": '{"recorder": "interface"}'}}, [])
    assert [button["label"] for button in sweep.into.buttons] == [TO_FINDER]
    corner, level = (text.partition("=")[2] for text in sweep.fault_texts())
    assert 100 < float(corner.partition("±")[0]) < 120 and "±" in level, "1/(2 pi RC) is 106 Hz, the input in parallel"
    page.keepsake._heard(page.keepsake, {"word": "kept", "sections": {"build": "{}"}}, [])
    assert not sweep.fault_texts() and not sweep.into.buttons


def test_without_a_known_capacitor_only_the_product_is_told(page):
    assert page.sweep.form.submit(WIRED | {"capacitor": "", "alike": "", "transistor": "yes"})
    said = page.sweep.result.content
    assert "only the product is told" in said and "read the capacitor with a meter" in said
    assert "V_GS(off): this set-up cannot tell it" in said and not page.sweep.into.buttons


@pytest.mark.parametrize(("name", "text"), [("capacitor", "2 V"), ("capacitor", "1p"), ("tone", "400"), ("tone", "x")])
def test_a_field_that_is_refused(page, name, text):
    assert not page.sweep.form.submit(WIRED | {name: text}) and set(page.sweep.form.wrong) == {name}


def test_what_is_saved_and_removed(page):
    said = []
    page.sweep.downloads.send = lambda content, buffers=None: said.append(buffers[0].decode())
    for kind in ("csv", "json"):
        page.sweep.downloads._save({"kind": kind})
    rows = np.loadtxt(said[0].splitlines()[1:], delimiter=",")
    found = json.loads(said[1])
    assert rows.shape == (len(found["response"]), 6) and found["largest_output_v_peak"] is None
    assert "pickup_c_times_gate_r_s" in found["fit"]  # nobody entered the capacitor
    assert [reading.check.key for reading in read_readings(found["fault_readings"])][0] == "corner:sweep"
    assert found["clock_ppm"] == pytest.approx(40.0, abs=0.2)
    page.sweep.brought._heard(None, {"word": "remove", "n": 0}, [])
    assert not page.sweep.result.content and "No sweep yet" in page.sweep.plot.head.content


def test_clipping_is_announced_and_volts_only_with_a_reading(page):
    """In the recorder, and in the chain, where a harmonic is over 1 %."""
    loud = replace(page.state.swept, clipped=7)
    bent = replace(page.state.swept, harmonics=np.where(np.isnan(loud.harmonics), np.nan, 0.03))
    for take, word in ((loud, "The recorder clips 7 times"), (bent, "it bends the sweep by more than 1 %")):
        page.state.swept = take
        page.sweep.form.submit(WIRED)
        assert word in page.sweep.result.content and "dBu" not in page.sweep.result.content
        page.sweep.form.submit(WIRED | {"tone": "0.31"})
        assert "it clips or bends" in page.sweep.result.content and "Clean" not in page.sweep.result.content
