"""What the drawer's search offered is heard in the ninth chapter of the same browser."""

import re

import pytest

from tests.browser.chapter import DESK
from tests.browser.standard import rest
from tests.serving.browsing import WAIT_MS

pytestmark = pytest.mark.browser
LINK = "pickup_c=500p"
PARTS = {"resistors": "2k2 6k8 22k 1M 4M7", "capacitors": "100n 10u", "transistor types": "J113"}
#: A number for each sound that the browser has decoded.
HOOK = """() => {
  window.sounds = [];
  const real = AudioContext.prototype.decodeAudioData;
  AudioContext.prototype.decodeAudioData = async function (bytes) {
    const sound = await real.call(this, bytes);
    let number = 0;
    for (const sample of sound.getChannelData(0)) number = (number * 31 + Math.round(sample * 32767)) | 0;
    window.sounds.push(number);
    return sound;
  };
}"""


def test_from_the_drawer_to_the_ear(visit) -> None:
    page = visit(**DESK)
    page.open(f"what-shall-i-build-from-my-drawer?{LINK}")
    rest(page)
    form = page.page.locator(".pz-form-block", has=page.page.get_by_role("heading", name="Your drawer and your wishes"))
    for name, text in PARTS.items():
        form.get_by_label(name, exact=True).fill(text)
    form.get_by_role("button", name="look for builds").click()
    page.page.get_by_role("button", name="put it in: first choice").wait_for(timeout=WAIT_MS)
    page.open(f"did-it-do-what-was-predicted?{LINK}")
    rest(page)
    page.page.get_by_text("Hear your own instrument").first.click()
    rest(page)
    found = page.page.locator(".pz-player", has=page.page.locator("option[value=own]"))
    found.get_by_text("Volume and level").click()
    names = found.locator(".pz-player-turns label").all_inner_texts()
    assert names[:3] == ["bare pickup", "with the stage", "drawer: first choice"] and len(names) <= 5
    page.page.evaluate(HOOK)
    boxes = found.locator(".pz-player-turns input")
    for n, name in enumerate(names):
        boxes.nth(n).check()
        for k in range(len(names)):
            boxes.nth(k).set_checked(k == n)
        found.get_by_role("button", name=re.compile("hear it")).click()
        page.page.wait_for_function("count => window.sounds.length > count", arg=n, timeout=WAIT_MS)
        page.page.locator(f".pz-player[data-state=playing][data-turns='{name}']").wait_for(timeout=WAIT_MS)
        found.get_by_role("button", name="stop").click()
    assert len(set(page.page.evaluate("() => window.sounds"))) == len(names), "each sounds different"
    assert page.problems == []
