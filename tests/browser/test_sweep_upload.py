"""A recorded sweep sent from a browser: on its way, listened to, what it says, to the fault finder, into the chain."""

import re

import pytest
import soundfile

from piezolab.audio import RATE
from piezolab.audio.exponential_sweep import ExponentialSweep
from piezolab.chain.link import from_link
from piezolab.studies.recordings.sweep_against import as_swept
from tests.browser.chapter import DESK, address, verdict
from tests.browser.standard import rest, unfold
from tests.serving.browsing import WAIT_MS
from tests.studies.recordings.sweeping import put_in, recorded, through
from tests.studies.recordings.test_sweep import response_of

pytestmark = pytest.mark.browser
OPENED, MADE = "tuning=E1-A1&input=line&gate_r=10M&pickup_c=2n2", "input=line&gate_r=680k"


@pytest.fixture
def sweep(tmp_path):
    played = put_in(ExponentialSweep(), 40.0)
    chain = through(played, response_of(as_swept(from_link(MADE), 2.2e-9)))
    soundfile.write(tmp_path / "bench.wav", recorded(chain, played, noise=1e-4).samples, RATE, subtype="PCM_16")
    return tmp_path / "bench.wav"


def test_from_the_file_to_the_chain(visit, sweep) -> None:
    page = visit(**DESK).open(f"did-it-do-what-was-predicted?{OPENED}")
    rest(page)
    unfold(page)
    seen = page.page
    seen.evaluate("""() => {
      window.shares = [];
      for (const bar of document.querySelectorAll('.pz-sound-input progress'))
        new MutationObserver(() => window.shares.push(bar.value)).observe(bar, { attributes: true });
    }""")
    seen.get_by_label("open the recorded sweep").set_input_files(sweep)
    seen.get_by_text("the sweep was found twice, with loop-back.").wait_for(timeout=4 * WAIT_MS)
    shares = seen.evaluate("() => window.shares")
    assert len(set(shares)) > 5 and shares == sorted(shares) and shares[-1] > 0.8, "how far it has come is shown"
    form = seen.locator(".pz-form-block", has=seen.get_by_role("heading", name="How it was wired"))
    form.get_by_label("capacitor in the disc's place").fill("2n2")
    form.get_by_label("both inputs have the same gain").check()
    form.get_by_role("button", name="use it").click()
    seen.get_by_text(re.compile("Thinner than predicted")).first.wait_for()
    seen.get_by_text(re.compile("gate resistor: 6[78]")).first.wait_for()
    seen.get_by_role("button", name="take it to the fault finder").click()
    onward = seen.get_by_role("link", name="The sweep is among your readings now: Where is the fault?")
    onward.wait_for()
    seen.get_by_role("button", name="put it into the chain: gate resistor").click()
    address(page, r"gate_r=6[78]")
    rest(page)
    seen.get_by_text(re.compile("it follows the prediction")).first.wait_for()
    assert page.problems == []
    other = page.open(f"where-is-the-fault?{OPENED}")
    rest(other)
    assert "the gate's lane" in verdict(other), "where so little resistance would come from"
    assert other.page.get_by_role("button", name="forget no. 2").count() == 1
    assert other.problems == []
