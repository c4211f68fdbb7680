"""A learner with a phone goes through every lesson: reads, guesses, sets controls by touch, answers wrong, then right.

Each step has to lie within one screen, at 390 x 664 (what a phone shows beside its browser's bars) with whatever
verdict and reply are there, and at 390 x 844; with a keyboard open verdict and answer stay. The learner never scrolls.
"""

import re
from collections.abc import Callable
from math import pi

import pytest

from piezolab.lessons.lesson import Lesson
from piezolab.lessons.screens import screens
from piezolab.lessons.shelf import lesson_named
from tests.browser.chapter import PHONE
from tests.browser.checks import axe, wide
from tests.room.conftest import open_room
from tests.serving.browsing import Page

pytestmark = pytest.mark.browser
PATIENCE_MS = 60_000
HUM = r"Hum is (\d+) dB under"
WIDE, LOW, TALL, KEYS = 390, 664, 844, 350
#: Where the parts of the step lie: its top and end, its plot's height, what the page was scrolled by.
PLACES = """() => {
  const step = document.querySelector(".pz-stepped").getBoundingClientRect();
  return [step.top, step.bottom, document.querySelector(".pz-stepped .piezolab-plot").offsetHeight, scrollY];
}"""


class Learner:
    """Somebody with a phone, in one lesson."""

    def __init__(self, page: Page, lesson: Lesson) -> None:
        self.page, self.web, self.lesson = page, page.page, lesson
        self.places = {screen.step.name: n for n, screen in enumerate(screens(lesson)) if screen.asks}
        self.count = len(screens(lesson))
        self.solved, self.at = 0, 0

    def fits(self, height: int = LOW) -> None:
        """The step lies within the screen, and nobody has scrolled."""
        for _ in range(40):  # a new verdict takes its line from the plot at the next frame
            top, end, plot, moved = self.web.evaluate(PLACES)
            if top >= 0 and end <= height + 0.5 and moved < 2:
                break
            self.web.wait_for_timeout(100)
        least = 80 if height == KEYS else 118
        assert top >= 0 and end <= height + 0.5 and moved < 2 and plot >= least, (self.at + 1, top, end, plot, moved)

    def settled(self) -> None:
        self.web.locator("[data-rest=done]").wait_for(state="attached", timeout=PATIENCE_MS)

    def turn(self, by: int = 1) -> None:
        """One screen on or back; it fits, on a taller telephone too."""
        self.at += by
        self.web.get_by_role("button", name="on ›" if by > 0 else "‹ back").tap()
        self.web.locator(f".pz-step-head[data-at='{self.at}']").wait_for(timeout=PATIENCE_MS)
        self.settled()
        self.fits()

    def to(self, task: str) -> None:
        """On until the task shows."""
        while self.at < self.places[task]:
            self.turn()

    def moved(self, act: Callable[[], None]) -> None:
        """Do something that changes the chain, and wait until the address follows and all is worked out."""
        before = self.web.url
        act()
        self.web.wait_for_url(lambda now: now != before, timeout=PATIENCE_MS)
        self.settled()
        self.fits()

    def set(self, key: str, text: str) -> None:
        """Set a control to something else, by touch."""
        control = self.web.locator(f".pz-stepped .pz-control[data-key={key}]:visible")
        chosen = control.locator("select").first
        if chosen.count():
            self.moved(lambda: chosen.select_option(text))
        else:
            entry = control.locator("input.pz-entry").first
            entry.tap()
            entry.fill(text)
            self.moved(lambda: entry.press("Enter"))
        assert not control.locator(".pz-message").inner_text()

    def type_only(self, key: str, text: str) -> None:
        """Type into a control's field, and go on without a word."""
        entry = self.web.locator(f".pz-stepped .pz-control[data-key={key}] input.pz-entry")
        entry.tap()
        entry.fill(text)

    def touch_slider(self, key: str, part: float) -> None:
        """Touch a slider at a part of its length."""
        box = self.web.locator(f".pz-stepped [data-slider={key}]").first.bounding_box()
        here = box["x"] + part * box["width"], box["y"] + box["height"] / 2
        self.moved(lambda: self.web.touchscreen.tap(*here))

    def guess(self, word: str, key: str) -> None:
        """Guess, and only then there is something to move."""
        control = self.web.locator(f".pz-stepped .pz-control[data-key={key}]")
        assert not control.is_visible()
        self.web.locator(".pz-guess button", has_text=word).tap()
        control.wait_for(timeout=PATIENCE_MS)
        self.fits()

    def drag_the_dot(self, key: str, up: float) -> None:
        """Guess by the dot: touch it and draw it up by so many px, then on by the keyboard; its ghost stays there."""
        control = self.web.locator(f".pz-stepped .pz-control[data-key={key}]")
        assert not control.is_visible()
        dot = self.web.get_by_role("slider", name="your guess")
        dot.wait_for(timeout=PATIENCE_MS)
        self.fits()
        begins = float(dot.get_attribute("aria-valuenow"))
        box = dot.bounding_box()
        assert box["width"] >= 44 and box["height"] >= 44
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        finger = self.web.context.new_cdp_session(self.web)
        for kind, at in (("touchStart", y), ("touchMove", y - up / 2), ("touchMove", y - up), ("touchEnd", None)):
            points = [] if at is None else [{"x": x, "y": at}]
            finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
        assert abs(dot.bounding_box()["y"] - (box["y"] - up)) < 2
        drawn = float(dot.get_attribute("aria-valuenow"))
        assert drawn > begins
        dot.focus()
        self.web.keyboard.press("ArrowUp")
        guessed = dot.get_attribute("aria-valuetext")
        assert float(dot.get_attribute("aria-valuenow")) == pytest.approx(drawn + 1, abs=0.11)
        self.web.get_by_role("button", name="that is my guess").tap()
        control.wait_for(timeout=PATIENCE_MS)
        assert self.web.locator(".pz-ghost").inner_text() == f"your guess: {guessed}"
        self.fits()
        ghost, plot = (self.web.locator(one).bounding_box() for one in (".pz-dot-ghost", ".pz-stepped .piezolab-plot"))
        assert abs(ghost["x"] - box["x"]) < 2 and plot["y"] < ghost["y"] < plot["y"] + plot["height"]

    def went(self, words: str) -> None:
        """The guess is shown beside what happened."""
        self.web.locator(".pz-guess-result", has_text=re.compile(words)).wait_for(timeout=PATIENCE_MS)
        assert "your guess" in self.web.locator(".pz-ghost").inner_text()
        self.fits()

    def read(self) -> str:
        """The figure that can be read off, without its name."""
        return self.web.locator(".pz-readings").inner_text().rsplit(": ", 1)[1].strip()

    def reads(self, figure: str) -> None:
        """The figure that can be read off is or becomes this one: it follows the address by some milliseconds."""
        there = re.compile(rf": {re.escape(figure)}\s*$")
        self.web.locator(".pz-readings").filter(has_text=there).wait_for(timeout=PATIENCE_MS)

    def verdict(self, pattern: str) -> str:
        """What the verdict says there."""
        return re.search(pattern, self.web.locator(".pz-verdict .pz-body").inner_text())[1]

    def answered(self, words: str, good: bool) -> None:
        """Wait for the sentence."""
        said = self.web.locator(".pz-step-task .pz-answer", has_text=re.compile(words))
        said.wait_for(timeout=PATIENCE_MS)
        self.fits()
        if good:
            self.web.locator(".pz-step-place", has_text="✓").wait_for(timeout=PATIENCE_MS)
            self.solved += 1

    def checked(self, words: str, good: bool) -> None:
        self.web.get_by_role("button", name="check").tap()
        self.answered(words, good)

    def number(self, wrong: str, why: str, right: str) -> None:
        """Type a wrong answer, look at the hint, type the right one."""
        field = self.web.get_by_label("your answer")
        self.with_keyboard(field)
        field.fill(wrong)
        self.checked(why, False)
        self.web.get_by_role("button", name="hint").tap()
        self.answered("^Hint: ", False)
        field.fill(right)
        field.press("Enter")
        self.answered("^Right: ", True)

    def with_keyboard(self, field) -> None:
        """While a keyboard takes half of the screen, verdict, plot, question, answer and reply are still there."""
        field.tap()
        self.web.set_viewport_size({"width": WIDE, "height": KEYS})
        self.web.locator(".pz-stepped[data-keys=open]").wait_for(timeout=PATIENCE_MS)
        self.fits(KEYS)
        answer = "input[aria-label='your answer']"
        for part in (".pz-verdict", ".piezolab-plot", ".pz-step-question", answer, ".pz-answer"):
            box = self.web.locator(f".pz-stepped {part}").first.bounding_box()
            assert box["y"] >= 0 and box["y"] + box["height"] <= KEYS + 0.5, part
        self.web.set_viewport_size({"width": WIDE, "height": LOW})
        self.web.locator(".pz-stepped:not([data-keys])").wait_for(timeout=PATIENCE_MS)
        self.fits()

    def pick(self, wrong: str, right: str) -> None:
        """Pick a wrong answer, which is answered by its own figure, then the right one."""
        self.web.get_by_role("button", name=wrong, exact=True).tap()
        self.answered(f"^Not so. “{re.escape(wrong)}”: .* Another one has (more|less)", False)
        self.web.get_by_role("button", name=right, exact=True).tap()
        self.answered("^Right. ", True)


def bass(who: Learner) -> None:
    who.to("how-much")
    loss = who.verdict(r"(\d+) dB down")
    who.number(loss, "size is right, but mind the sign", f"{loss} dB down")
    who.to("which-input")
    who.guess("same", "input")
    who.set("input", "amplifier")
    who.went("it went up")
    who.pick("old pedal", "amplifier")
    who.to("small-disc")
    who.number("2.94 kHz", "factor of 2π", f"{1 / (2 * pi * 68e3 * 5e-9):.0f} Hz")
    who.turn(-1)  # there and back: what was solved and said is still there
    who.turn()
    who.answered("^Right: ", False)
    who.to("two-discs")
    who.drag_the_dot("discs", up=30)
    who.set("discs", "2p")
    who.went(r"it is −1\d\.\d dB")
    who.pick("in series", "in parallel")
    who.to("cable")
    who.guess("down", "cable_m")
    who.touch_slider("cable_m", 0.9)
    who.went("it went down")
    who.pick("15 m", "1 m")
    who.to("rescue")
    who.checked("Not yet: .*the kind of stage is no stage and should be a follower", False)
    who.set("stage", "gain")
    who.checked("Not yet: .*the kind of stage is a gain stage", False)
    who.set("stage", "follower")
    who.checked("^Right. ", True)
    who.to("spoil")
    who.guess("down", "gate_r")
    who.checked("Not yet", False)
    who.type_only("gate_r", "33k")  # what stands in a field is meant, sent or not
    who.checked("^Right. ", True)
    who.went("it went down")
    who.to("least")
    who.set("input_r", "70k")
    who.reads("−3.0 dB")
    who.number("7 kΩ", "the point is 1 place off", "70 000")


def transistor(who: Learner) -> None:
    who.turn()
    who.touch_slider("source_r", 0.8)
    who.to("rest")
    who.number("2.5 V", "less than that", "1 V")
    who.to("current")
    volts = float(who.read().split()[0])
    who.number("1 V", "your answer: ", f"{volts / 3.9:.3f} mA")
    who.to("larger-resistor")
    who.guess("up", "source_r")
    who.set("source_r", "1k")
    who.went("it went up")
    who.pick("22 kΩ", "1 kΩ")
    who.to("three-of-a-bag")
    who.set("jfet_idss", "15m")
    who.set("jfet_vgsoff", "-2.4")
    who.pick("2 mA, −0.5 V", "15 mA, −2.4 V")
    who.to("weak-part")
    who.number("0.5 V", "less than that", f"{float(who.read().split()[0]) / 1000 * 3.9:.2f}")
    who.to("gain-stage")
    who.number("4 V", "the point is 1 place off", who.verdict(r"and has (\d+.mV)"))
    who.to("mend")
    who.guess("up", "source_r")
    who.checked("Not yet: where the transistor works is triode", False)
    who.set("source_r", "4k7")
    who.went("it went up")
    who.checked("^Right. ", True)
    who.to("tired-battery")
    who.guess("down", "supply_v")
    who.number("4.2 V", "That is the figure of what is on the screen; the question has “supply voltage” 6.00", "1.24 V")
    who.set("supply_v", "6")
    who.went("it went down")
    who.to("your-part")
    who.checked("Not yet: the source voltage is 1.16 V and should be at least 1.20 V", False)
    who.set("source_r", "10k")
    who.checked("^Right. ", True)


def hum(who: Learner) -> None:
    who.to("how-loud")
    together = who.verdict(HUM)
    who.number("27", "mind the sign", f"{together} dB under")
    who.to("which-way")
    who.pick("a battery instead of the adapter", "foil in the box, worth 20 dB")
    who.to("what-is-left")
    who.number(f"-{together} dB", "the question has “shield” 30.0", "-59")
    who.set("shield_db", "30")
    assert who.verdict(HUM) == "59"
    who.to("next-way")
    who.pick("a second layer of foil: 40 dB", "one outlet strip, and no more loop")
    who.to("follower")
    who.guess("down", "stage")
    who.set("stage", "follower")
    who.went("it stayed the same")
    who.pick("follower", "10 dB of foil")
    who.to("divider")
    who.number("-30 dB", "further below 0", "-" + who.verdict(HUM))
    who.to("bypass")
    who.guess("down", "divider_c")
    who.checked("Not yet: hum to the ear, against hard playing, is −65", False)
    who.set("divider_c", "100n")
    who.went("it went down")
    who.checked("^Right. ", True)
    who.to("quiet")
    who.set("shield_db", "60")
    who.checked("Not yet: hum to the ear, against hard playing, is −5", False)
    who.set("loop_v", "0")
    who.checked("^Right. ", True)


WALKS = {"where-the-bass-goes": bass, "will-this-transistor-do": transistor, "find-the-hum": hum}


@pytest.fixture(scope="module")
def lesson_room():
    """The shipped chapters, kernels forked where they can be."""
    server = open_room(None, warm=True, seats=4)
    yield server
    server.stop()


@pytest.mark.parametrize("name", WALKS)
def test_a_lesson_from_first_to_last_step(lesson_room, browser, name) -> None:
    lesson = lesson_named(name)
    page = Page(browser, lesson_room, **{**PHONE, "viewport": {"width": WIDE, "height": LOW}})
    try:
        page.open(f"{lesson.chapter}?lesson={name}")
        page.page.locator(".pz-keepsake").wait_for(state="attached", timeout=PATIENCE_MS)
        who = Learner(page, lesson)
        who.fits()
        WALKS[name](who)
        assert who.solved == len(lesson.tasks)
        who.turn()
        page.page.get_by_text(lesson.closing).wait_for(timeout=PATIENCE_MS)
        assert not wide(page) and not axe(page)
        # A taller telephone has the same screens, the last one first.
        page.page.set_viewport_size({"width": WIDE, "height": TALL})
        who.fits(TALL)
        for _ in range(who.count - 1):
            page.page.get_by_role("button", name="‹ back").tap()
            who.at -= 1
            page.page.locator(f".pz-step-head[data-at='{who.at}']").wait_for(timeout=PATIENCE_MS)
            who.fits(TALL)
        # Whoever comes back finds what they have solved, on a kernel of its own.
        page.page.reload()
        page.page.get_by_text(lesson.closing).wait_for(timeout=PATIENCE_MS)
        page.page.goto(lesson_room.url + "projector")
        # Each task was solved once by one visitor, whose reloading counts nothing, and who is not named.
        page.page.get_by_text("1 solved it").nth(len(lesson.tasks) - 1).wait_for(timeout=PATIENCE_MS)
        assert not page.problems
        assert all(request.url.startswith((lesson_room.url, "blob:", "data:")) for request in page.requests)
    finally:
        page.close()
