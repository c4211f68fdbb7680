"""The player: nothing before it is asked for, only what is offered, and in a browser sound at the stated levels."""

import io
import json
import re
import subprocess
import sys
from collections.abc import Iterator

import numpy as np
import pytest
import scipy.io.wavfile
from playwright.sync_api import expect

from piezolab.chain import SignalChain
from piezolab.pages.kit import player as player_module
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.player import (
    AT_MOST,
    BACK,
    CAUTION,
    FAILED,
    GONE,
    IN_A_ROOM,
    LOWEST_DB,
    NO_NOTE,
    START_DB,
    TOO_FAR,
    Player,
    balance_sentence,
)
from piezolab.pages.kit.touch_words import offer
from piezolab.studies import listening
from piezolab.studies.first_touch import bass_touch, quiet_touch
from piezolab.studies.listening import PEAK, TURN_S, Balance, listen_to
from tests.serving.browsing import WAIT_MS, Page, contrast
from tests.serving.live import LiveServer

THIN = SignalChain(input_r=47e3)
ASK = {"word": "play", "serial": 7, "versions": ["bare"], "sound": "lowest", "level": "matched", "noises": []}


@pytest.fixture
def calls(monkeypatch: pytest.MonkeyPatch) -> list:
    """What `listen_to` was asked for, while it does its work."""
    made: list = []
    real = player_module.listen_to

    def counted(*args, **options):
        made.append(options)
        return real(*args, **options)

    monkeypatch.setattr(player_module, "listen_to", counted)
    return made


def asked(player: Player, **changes) -> tuple[dict, list]:
    """The answer to a message from the browser."""
    sent: list = []
    player.send = lambda content, buffers=None: sent.append((content, buffers or []))
    player._heard(player, {**ASK, **changes}, [])
    assert len(sent) <= 1
    return sent[0] if sent else ({}, [])


def test_nothing_is_made_before_it_is_asked_for_and_then_only_once(calls: list) -> None:
    state = PageState(THIN)
    player = Player(state)
    state.put(THIN.but(cable_m=5.0))
    assert calls == []
    message, buffers = asked(player)
    assert message["word"] == "sound" and message["serial"] == 7 and message["revision"] == player.revision
    assert re.match(r"Bare pickup: turned up by \d+\sdB, to be as loud\.", message["said"])
    assert message["turns"] == ["bare pickup"]
    message, _ = asked(player, versions=["bare", "stage"])
    assert len(calls) == 1 and message["turns"] == ["bare pickup", "with the stage"]
    asked(player, level="true")
    state.put(THIN)
    asked(player, level="true")
    assert len(calls) == 3
    rate, steps = scipy.io.wavfile.read(io.BytesIO(buffers[0]))
    assert len(steps) / rate == TURN_S and 0.1 < np.abs(steps / 32766).max() <= PEAK


def test_versions_follow_the_bench() -> None:
    state = PageState(THIN)
    player = Player(state)
    assert [word for word, _ in player.versions] == ["bare", "stage"]
    before = player.revision
    state.keep()
    assert [word for word, _ in player.versions] == ["bare", "stage", "kept"] and player.revision > before
    state.put(THIN.but(stage="direct", tuning="E1-A1"))
    assert [word for word, _ in player.versions] == ["bare", "kept"]
    assert player.sounds[0] == ["lowest", "Your lowest string, E1 (41 Hz)"]
    message, buffers = asked(player, versions=["stage"])
    assert "version: 'stage' is not there; bare, kept can be heard." in message["problem"] and not buffers


def test_hiss_and_hum_are_worked_out_only_when_ticked(calls: list) -> None:
    wanted: list = []

    def table(chain: SignalChain) -> tuple[np.ndarray, np.ndarray]:
        wanted.append(chain.stage)
        return np.array([100.0, 200.0]), np.array([1e-6, 1e-6])

    player = Player(PageState(THIN), hiss=table)
    assert player.noises == [["hiss", "with hiss"], ["hum", "with hum"]]
    asked(player)
    assert wanted == [] and "hiss" not in calls[0]
    asked(player, noises=["hiss", "gong"])
    assert wanted == ["direct", "follower"] and set(calls[1]["hiss"]) == {"bare", "stage"} and "hum" not in calls[1]
    deaf = Player(PageState(THIN), hiss=None, hum=None)
    assert deaf.noises == []
    message, buffers = asked(deaf, noises=["hiss", "hum"])
    assert buffers and "hiss" not in calls[2]


@pytest.mark.parametrize(
        "changes",
    [
        {"versions": ["<b>"]}, {"versions": []}, {"versions": "bare"}, {"versions": ["bare", "bare"]},
        {"versions": None}, {"versions": [["bare"]]}, {"versions": ["x" * 10**6]}, {"sound": "gong"}, {"sound": None},
        {"level": 3},
    ],
)  # fmt: skip
def test_what_is_not_offered_is_refused(changes: dict, calls: list) -> None:
    message, buffers = asked(Player(PageState(THIN)), **changes)
    assert message["problem"].endswith("Load the page again.") and not buffers and calls == []


@pytest.mark.parametrize("content", [{"word": "sing"}, {"word": None}, {}, [], "play", None])
def test_other_messages_are_dropped(content: object) -> None:
    player = Player(PageState(THIN))
    player.send = lambda *_: pytest.fail("answered")
    player._heard(player, content, [])
    player._heard(player, {"word": "describe", "sound": "gong"}, [])


def test_browser_cannot_change_the_player() -> None:
    player = Player(PageState(THIN))
    player.set_state({"peak": 9.0, "start_db": 0, "sounds": []})
    assert player.peak == PEAK and player.start_db == START_DB == -20 and player.sounds


def test_fault_of_ours_is_said_and_raised(monkeypatch: pytest.MonkeyPatch) -> None:
    player = Player(PageState(THIN))
    sent: list = []
    player.send = lambda content, buffers=None: sent.append(content)
    monkeypatch.setattr(player_module, "listen_to", lambda *_, **__: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        player._asked_for_sound(ASK)
    assert [message["problem"] for message in sent] == [FAILED]


def test_silence_is_said() -> None:
    message, buffers = asked(Player(PageState(SignalChain(discs="2px"))))
    assert message["said"] == "Bare pickup: silence; nothing of the note is left." and buffers


def test_words_tell_tone_and_levels() -> None:
    message, _ = asked(Player(PageState(THIN)), word="describe", sound="bass")
    bare, stage, reference = message["sentences"]
    assert bare.startswith("Bare pickup: very thin")
    assert re.search(r" 41\sHz, arrives \d+ dB down, its overtones at 2\skHz 0\.\d dB down", bare)
    assert re.match(r"With the stage: it keeps its bass\.", stage) and "nothing connected" in reference
    sentence = balance_sentence("bare pickup", Balance(100.0, 2000.0, 1e-9, 1e-9))
    assert sentence == "Bare pickup: silence; nothing of the note is left."


def test_where_it_clips_knocks_are_heard_and_what_went_too_far_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(listening, "PASSES", 500)
    player = Player(PageState(SignalChain(stage="gain", play_v=100.0, input_max=100.0)), clips=True)
    assert player.sounds[-1] == ["knocks", "Two knocks, 40 V, over your lowest string"]
    message, _ = asked(player, word="describe", sound="knocks")
    assert message["sentences"] == [NO_NOTE]
    message, buffers = asked(player, versions=["bare", "stage"])
    assert f"With the stage: {TOO_FAR}" in message["said"] and "Bare pickup: clips" not in message["said"] and buffers
    quiet = Player(PageState(THIN))
    assert "knocks" not in [word for word, _ in quiet.sounds]
    assert asked(quiet, sound="knocks")[0]["problem"].endswith("Load the page again.")


def test_caution_tells_the_levels_that_hold() -> None:
    assert CAUTION.startswith("Volume down, headphones off first")
    assert re.search(r"20\sdB down", CAUTION) and re.search(r"lies 6\sdB under", AT_MOST)
    assert START_DB == -20 and LOWEST_DB < START_DB and round(-20 * np.log10(PEAK)) == 6


def test_page_with_a_player_imports_no_scipy() -> None:
    code = (
        "import sys; from piezolab.pages.kit.page_state import PageState; from piezolab.pages.kit.player import Player;"
        "Player(PageState()); print(sorted({'scipy', 'wave.x', 'pandas'} & set(sys.modules)))"
    )
    assert subprocess.check_output([sys.executable, "-c", code], text=True).strip() == "[]"


# ---- the one change -----------------------------------------------------------------------------------------------
def touching(chain: SignalChain, find=bass_touch) -> tuple[PageState, Player, list]:
    state = PageState(chain)
    player = Player(state, touch=lambda chain: offer(find(chain)))
    sent: list = []
    player.send = lambda content, buffers=None: sent.append((content, buffers or []))
    return state, player, sent


def press(player: Player, word: str) -> None:
    player._heard(player, {**ASK, "word": word}, [])


def test_one_press_makes_the_change_and_plays_before_and_after_a_second_takes_it_back() -> None:
    chain = SignalChain(input="line")
    state, player, sent = touching(chain)
    assert player.touch == {"label": "plug it into an amplifier instead", "back": False}
    press(player, "touch")
    assert state.chain == chain.but(input="amplifier") and player.touch == {"label": BACK, "back": True}
    message, buffers = sent.pop()
    assert message["turns"] == ["bare, before", "bare, after"] and message["serial"] == 7
    assert message["said"].startswith("Your low D (147 Hz), bare, is 17 dB louder.")
    rate, steps = scipy.io.wavfile.read(io.BytesIO(buffers[0]))
    halves = np.split(steps / 32766, 2)
    wanted = listen_to({"before": chain.but(stage="direct"), "after": state.chain.but(stage="direct")})
    for half, one in zip(halves, wanted.values(), strict=True):
        inside = slice(rate // 5, round(TURN_S * rate) - rate // 5)
        assert np.allclose(half[inside], one.signal[inside], atol=1e-4)
    press(player, "back")
    assert state.chain == chain and not player.touch["back"] and sent == []
    state.undo()
    assert state.chain == chain.but(input="amplifier")
    state.undo()
    assert state.chain == chain, "the first press is one step back"


def test_a_change_that_is_no_longer_offered_is_not_made() -> None:
    state, player, sent = touching(SignalChain(input="line"))
    offered = player._offer
    state.put(SignalChain())
    assert player.touch == {} and offered is not None
    player._offer = offered  # the browser was faster than the page
    press(player, "touch")
    press(player, "back")
    assert state.chain == SignalChain() and [message["problem"] for message, _ in sent] == [GONE]


def test_against_hum_the_hum_is_heard_without_a_tick(calls: list) -> None:
    _, player, sent = touching(SignalChain(input="line", hum_c=2e-12), quiet_touch)
    press(player, "touch")
    assert set(calls[0]["hum"]) == {"before", "after"} and "hiss" not in calls[0]
    assert "dB less hum" in sent[0][0]["said"].replace("\u00a0", " ")


# ---- in a browser -----------------------------------------------------------------------------------------------

_CELL = """
from piezolab.chain import SignalChain
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.blocks import Look
from piezolab.pages.kit.player import Player
from ipywidgets import VBox, Button
from piezolab.pages.kit.touch_words import offer
from piezolab.studies.first_touch import bass_touch
state = PageState(SignalChain(pickup_c=15e-9, input="pedal-buffered"))
def keep(_):
    state.keep()
def change(_):
    state.put(SignalChain())
def low(_):
    state.put(SignalChain(input="line"))
row = [Button(description=text) for text in ("keep it", "change it", "plug it low")]
for button, does in zip(row, (keep, change, low)):
    button.on_click(does)
player = Player(state, touch=lambda chain: offer(bass_touch(chain)))
VBox([Look(), *row, player]).add_class("pz-page")
"""

#: Counts decoded sounds and listens in on whatever goes to the loudspeaker.
_SPY = """
window.spy = { decoded: [], contexts: 0, top: 0 };
const Context = window.AudioContext;
window.AudioContext = class extends Context {
  constructor(...rest) { super(...rest); window.spy.contexts += 1; }
};
const decode = Context.prototype.decodeAudioData;
Context.prototype.decodeAudioData = async function (bytes) {
  const kind = String.fromCharCode(...new Uint8Array(bytes, 0, 4));
  const buffer = await decode.call(this, bytes);
  const top = buffer.getChannelData(0).reduce((most, x) => Math.max(most, Math.abs(x)), 0);
  window.spy.decoded.push({ kind, seconds: buffer.duration, channels: buffer.numberOfChannels, top });
  return buffer;
};
const connect = AudioNode.prototype.connect;
AudioNode.prototype.connect = function (target, ...rest) {
  if (target === this.context.destination) {
    const ear = this.context.createAnalyser();
    ear.fftSize = 32768;
    connect.call(this, ear);
    const samples = new Float32Array(ear.fftSize);
    setInterval(() => {
      ear.getFloatTimeDomainData(samples);
      window.spy.now = samples.reduce((most, x) => Math.max(most, Math.abs(x)), 0);
      window.spy.top = Math.max(window.spy.top, window.spy.now);
    }, 100);
  }
  return connect.call(this, target, ...rest);
};
"""


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LiveServer]:
    """A server with one page that holds a player."""
    folder = tmp_path_factory.mktemp("player")
    kernel = {"kernelspec": {"name": "python3", "language": "python", "display_name": "Python 3"}}
    code = {"outputs": [], "execution_count": None}
    pages = {"index.ipynb": ["# Start"], "01-how-does-it-sound.ipynb": ["# How does it sound?", _CELL]}
    for name, cells in pages.items():
        made = [
            {"id": f"c{n}", "metadata": {}, "source": text, "cell_type": "code" if n else "markdown"}
            | (code if n else {})
            for n, text in enumerate(cells)
        ]
        (folder / name).write_text(json.dumps({"nbformat": 4, "nbformat_minor": 5, "metadata": kernel, "cells": made}))
    server = LiveServer(folder)
    yield server
    server.stop()


@pytest.fixture
def opened(browser, served: LiveServer) -> Iterator[Page]:
    """The page with the player, with a spy on its sound."""
    page = Page(browser, served, viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    page.page.add_init_script(_SPY)
    page.open("how-does-it-sound", drawn=False)
    page.page.wait_for_selector(".pz-player-play", timeout=WAIT_MS)
    yield page
    page.close()


def state(page: Page, wanted: str) -> None:
    """Wait until the player says that it is in that state."""
    page.page.wait_for_selector(f".pz-player[data-state={wanted}]", timeout=WAIT_MS)


def spied(page: Page, what: str):
    return page.page.evaluate(f"window.spy.{what}")


@pytest.mark.browser
def test_one_button_plays_in_turns_at_the_stated_level_by_keyboard(opened: Page) -> None:
    page = opened.page
    assert spied(opened, "contexts") == 0, "no sound may be opened before a button is pressed"
    assert sum(len(frame) for frame in opened.frames) < 200_000
    group = page.get_by_role("group", name="Hear it")
    assert group.locator("button:visible").count() == 1
    page.get_by_role("button", name="hear it: bare pickup, then with the stage").focus()
    page.keyboard.press("Enter")
    state(opened, "playing")
    assert "Playing in turns: bare pickup; with the stage." in group.get_by_role("status").last.text_content()
    (sound,) = spied(opened, "decoded")
    assert sound["kind"] == "RIFF" and sound["channels"] == 1
    assert sound["seconds"] == pytest.approx(2 * TURN_S, abs=1e-3)
    assert 0.2 < sound["top"] <= 1.01 * PEAK
    page.wait_for_function("() => window.spy.top > 0.001", timeout=WAIT_MS)
    page.wait_for_timeout(500)
    # 20 dB down: a tenth.
    peak = float(page.locator(".pz-player").get_attribute("data-peak"))
    assert spied(opened, "top") == pytest.approx(0.1 * peak, rel=0.15)
    for name in ("with the stage", "bare pickup", "with the stage"):  # round and round
        page.locator(".pz-player-now", has_text=f"now: {name}").wait_for(timeout=10_000)
    page.keyboard.press("Space")
    state(opened, "idle")
    page.wait_for_function("() => window.spy.now < 1e-4", timeout=WAIT_MS)
    assert page.locator(".pz-player-now").text_content() == ""
    page.keyboard.press("Space")
    state(opened, "playing")
    assert len(spied(opened, "decoded")) == 1, "the browser should have kept the sound"
    page.keyboard.press("Space")
    state(opened, "idle")
    assert opened.problems == []


@pytest.mark.browser
def test_a_choice_is_heard_at_once_and_a_change_of_the_chain_makes_new_sounds(opened: Page) -> None:
    page = opened.page
    page.get_by_role("button", name="hear it").click()
    state(opened, "playing")
    page.get_by_text("Volume, note and level").click()
    page.get_by_role("checkbox", name="with the stage").uncheck()
    page.wait_for_selector(".pz-player[data-state=playing][data-turns='bare pickup']", timeout=WAIT_MS)
    page.get_by_role("checkbox", name="bare pickup").click()
    assert page.get_by_role("checkbox", name="bare pickup").is_checked(), "one of them is always heard"
    page.get_by_role("checkbox", name="with the stage").check()
    page.wait_for_selector(".pz-player[data-state=playing][data-turns='bare pickup|with the stage']", timeout=WAIT_MS)
    page.get_by_role("button", name="change it").click()
    page.get_by_text("Still the sound from before the change").wait_for(timeout=WAIT_MS)
    page.get_by_role("button", name="stop").click()
    page.get_by_role("button", name="keep it").click()
    page.get_by_role("button", name="hear it: bare pickup, then with the stage, then kept curve").click()
    state(opened, "playing")
    page.get_by_role("checkbox", name="with hum").check()
    page.wait_for_selector(".pz-player[data-state=waiting]", timeout=WAIT_MS)
    state(opened, "playing")
    assert opened.problems == []


@pytest.mark.browser
def test_the_one_change_moves_the_chain_plays_and_goes_back_by_keyboard(opened: Page) -> None:
    page = opened.page
    page.get_by_role("button", name="change it").click()
    touch = page.locator(".pz-player-touch")
    expect(touch).to_be_hidden()
    page.get_by_role("button", name="plug it low").click()
    expect(touch).to_have_text("\u25b6 plug it into an amplifier instead", timeout=WAIT_MS)
    assert touch.bounding_box()["height"] >= 44
    touch.focus()
    page.keyboard.press("Enter")
    page.wait_for_selector(".pz-player[data-state=playing][data-turns='bare, before|bare, after']", timeout=WAIT_MS)
    expect(touch).to_have_text("put it back as it was", timeout=WAIT_MS)
    expect(page.get_by_role("status").last).to_contain_text("is 17 dB louder")
    assert page.evaluate("document.activeElement.className").endswith("pz-player-touch")
    page.keyboard.press("Enter")
    state(opened, "idle")
    expect(touch).to_have_text("\u25b6 plug it into an amplifier instead", timeout=WAIT_MS)
    expect(page.get_by_role("status").last).to_have_text("It is back as it was.")
    assert opened.problems == []


@pytest.mark.browser
def test_volume_starts_low_and_everything_has_a_name(opened: Page) -> None:
    page = opened.page
    group = page.get_by_role("group", name="Hear it")
    assert group.get_by_text("Volume down, headphones off first").is_visible(), "beside the action, in no fold"
    assert IN_A_ROOM not in group.inner_text()
    volume = group.get_by_role("slider", name="Volume")
    expect(volume).to_be_hidden()
    group.get_by_text("Volume, note and level").click()
    assert volume.input_value() == "-20" and volume.get_attribute("aria-valuetext") == "−20 dB"
    assert volume.get_attribute("max") == "0"
    volume.focus()
    page.keyboard.press("ArrowLeft")
    assert volume.get_attribute("aria-valuetext") == "−21 dB"
    assert group.get_by_role("combobox", name="Note").locator("option").count() == 4
    assert group.get_by_role("radio").count() == 2 and group.get_by_role("checkbox").count() == 4
    group.get_by_text("What there is to hear, in words").click()
    group.get_by_text("Bare pickup: ").wait_for(timeout=WAIT_MS)
    group.get_by_role("combobox", name="Note").select_option("bass")
    group.get_by_text(re.compile(r"41\sHz, arrives")).first.wait_for(timeout=WAIT_MS)
    width = page.evaluate("document.documentElement.scrollWidth")
    assert width <= 390
    assert opened.problems == []


_READ = """selector => {
    const style = getComputedStyle(document.querySelector(selector));
    return [style.color, style.backgroundColor];
}"""


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_can_be_read_in_every_state(browser, served: LiveServer, scheme: str) -> None:
    """WCAG 2.2, 1.4.3: contrast of 4.5 to 1; of the button at rest and playing, under a pointer, pressed, focused."""
    page = Page(browser, served, color_scheme=scheme, reduced_motion="reduce").open("how-does-it-sound", drawn=False)
    web = page.page
    web.wait_for_selector(".pz-player-play", timeout=WAIT_MS)
    ground = web.evaluate("getComputedStyle(document.body).backgroundColor")
    pale = []

    def look(selector: str, when: str) -> None:
        text, own = web.evaluate(_READ, selector)
        if contrast(text, ground if own in ("rgba(0, 0, 0, 0)", "transparent") else own) < 4.5:
            pale.append((selector, when, text, own))

    for selector in (".pz-player-caution", ".pz-player .pz-hint", ".pz-player label", ".pz-player summary"):
        look(selector, "at rest")
    button = ".pz-player-play"
    for when in ("at rest", "playing"):
        web.mouse.move(0, 0)
        web.wait_for_timeout(200)
        look(button, when)
        web.hover(button)
        web.wait_for_timeout(200)
        look(button, f"{when}, under the pointer")
        web.focus(button)
        look(button, f"{when}, focused")
        web.mouse.down()
        look(button, f"{when}, pressed")
        web.mouse.up()
        web.wait_for_selector(f".pz-player[data-state={'playing' if when == 'at rest' else 'idle'}]", timeout=WAIT_MS)
    look(".pz-player-now", "said")
    assert pale == []
    page.close()
