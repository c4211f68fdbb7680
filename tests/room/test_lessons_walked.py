"""A learner with a phone goes through every lesson: reads, sets controls by touch, answers wrong and then right.

What is typed is read off the page where the hints say, so that a hint that leads nowhere fails.
"""

import re
from collections.abc import Callable
from math import pi

import pytest

from piezolab.lessons.lesson import Lesson
from piezolab.lessons.shelf import lesson_named
from tests.browser.chapter import PHONE
from tests.browser.checks import axe, wide
from tests.room.conftest import open_room
from tests.serving.browsing import Page

pytestmark = pytest.mark.browser
PATIENCE_MS = 60_000


class Learner:
    """Somebody with a phone, in one lesson."""

    def __init__(self, page: Page, lesson: Lesson) -> None:
        self.page, self.web, self.lesson = page, page.page, lesson
        self.questions = {step.name: step.question for step in lesson.tasks}
        self.solved = 0

    def moved(self, act: Callable[[], None]) -> None:
        """Do something that changes the chain, and wait until the address follows and all is worked out."""
        before = self.web.url
        act()
        self.web.wait_for_url(lambda now: now != before, timeout=PATIENCE_MS)
        self.web.locator("[data-rest=done]").wait_for(state="attached", timeout=PATIENCE_MS)

    def set(self, key: str, text: str) -> None:
        """Set a control to something else, by touch."""
        control = self.web.locator(f".pz-control[data-key={key}]:visible")
        chosen = control.locator("select").first
        if chosen.count():
            self.moved(lambda: chosen.select_option(text))
        else:
            entry = control.locator("input.pz-entry").first
            entry.tap()
            entry.fill(text)
            self.moved(lambda: entry.press("Enter"))
        assert not control.locator(".pz-message").inner_text()

    def over(self) -> None:
        """Press start over, after something was changed."""
        self.moved(self.web.get_by_role("button", name="start over").tap)

    def touch_slider(self, key: str, part: float) -> None:
        """Touch a slider at a part of its length."""
        slider = self.web.locator(f"[data-slider={key}]").first
        slider.scroll_into_view_if_needed()
        box, before = slider.bounding_box(), self.page.revision
        here = box["x"] + part * box["width"], box["y"] + box["height"] / 2
        self.moved(lambda: self.web.touchscreen.tap(*here))
        self.page.drawn(before + 1)

    def read(self, row: str, column: int = 1) -> str:
        """A cell of the numbers."""
        cells = self.web.locator("table tr", has_text=row).first.locator("th, td")
        return cells.nth(column).inner_text()

    def until(self, row: str, pattern: str, column: int = 1) -> str:
        """Wait until a cell looks so; what it then says."""
        cell = self.web.locator("table tr", has_text=row).first.locator("th, td").nth(column)
        cell.filter(has_text=re.compile(pattern)).wait_for(timeout=PATIENCE_MS)
        return cell.inner_text()

    def item(self, task: str):
        """The list item of a task, which shows its question."""
        return self.web.locator(".pz-tasks > ol > li").nth(list(self.questions).index(task))

    def answered(self, task: str, words: str, good: bool) -> None:
        """Press check and wait for the sentence."""
        item = self.item(task)
        item.get_by_role("button", name="check").tap()
        said = item.locator(".pz-answer", has_text=re.compile(words))
        said.wait_for(timeout=PATIENCE_MS)
        if good:
            item.get_by_text("✓ solved").wait_for(timeout=PATIENCE_MS)
            self.solved += 1

    def open(self, fold: str) -> None:
        """Open what is folded away under these words."""
        self.web.locator("summary", has_text=re.compile(f"^{fold}$")).tap()

    def number(self, task: str, wrong: str, why: str, right: str) -> None:
        """Type a wrong answer, open the hint, type the right one."""
        field = self.item(task).get_by_label("your answer")
        field.fill(wrong)
        self.answered(task, why, False)
        self.item(task).get_by_text("a hint").tap()
        assert self.item(task).locator("details p").is_visible()
        field.fill(right)
        self.answered(task, r"^Right: ", True)

    def pick(self, task: str, wrong: str, right: str) -> None:
        """Pick a wrong answer, then the right one."""
        self.item(task).get_by_text(wrong, exact=True).tap()
        self.answered(task, "^Not so. Try each", False)
        self.item(task).get_by_text(right, exact=True).tap()
        self.answered(task, "^Right. ", True)


def bass(who: Learner) -> None:
    loss = who.read("lowest string, against the unloaded pickup")
    who.number("how-much", loss.lstrip("−"), "size is right, but mind the sign", loss)
    who.set("input", "amplifier")
    who.pick("which-input", "an old low-impedance pedal", "an instrument amplifier")
    who.number("small-disc", "2.94 kHz", "factor of 2π", f"{1 / (2 * pi * 68e3 * 5e-9):.0f} Hz")
    who.over()
    who.set("discs", "2p")
    who.pick("two-discs", "two discs in series", "two discs in parallel")
    who.set("discs", "1")
    who.set("pickup_c", "1.5n")
    who.set("input", "amplifier")
    who.touch_slider("cable_m", 0.9)
    who.pick("cable", "15 m", "1 m")
    who.over()
    who.answered("rescue", "Not yet: .*lowest string against the middle", False)
    who.set("stage", "follower")
    who.answered("rescue", "^Right. ", True)
    who.answered("spoil", "Not yet", False)
    who.set("gate_r", "33k")
    who.answered("spoil", "^Right. ", True)
    who.over()
    who.set("input", "amplifier")
    least = who.until("least input resistance for 3 dB loss", r"\d")
    who.number("least", "7 kΩ", "prefixes", least)


def transistor(who: Learner) -> None:
    who.touch_slider("source_r", 0.8)
    who.over()
    volts = who.until("source, to ground", r"^1\.00\sV")
    who.number("rest", "2.5 V", "less than that", volts)
    who.number("current", "1 V", "your answer: ", f"{float(volts.split()[0]) / 3.9:.3f} mA")
    who.set("source_r", "1k")
    who.pick("larger-resistor", "22 kΩ", "1 kΩ")
    who.over()
    who.set("jfet_idss", "15m")
    who.set("jfet_vgsoff", "-2.4")
    who.pick("three-of-a-bag", "2 mA, −0.5 V", "15 mA, −2.4 V")
    who.set("jfet_idss", "2m")
    who.set("jfet_vgsoff", "-0.5")
    who.number("weak-part", "0.5 V", "less than that", who.until("source, to ground", r"mV|^0\."))
    who.over()
    who.set("stage", "gain")
    who.set("jfet", "2N3819")
    who.number("gain-stage", "4.5 V", "out by about ten times", who.until("drain to source", r"mV|^0\."))
    who.answered("mend", "Not yet: where the transistor works is triode", False)
    who.set("source_r", "4k7")
    who.answered("mend", "^Right. ", True)
    who.over()
    who.set("stage", "gain")
    who.set("supply_v", "6")
    who.number("tired-battery", "3 V", "less than that", who.until("drain to source", r"^1\."))
    who.over()
    who.set("jfet_idss", "4m")
    who.set("jfet_vgsoff", "-1.6")
    who.answered("your-part", "Not yet: the source voltage is 1.16 V and should be at least 1.20 V", False)
    who.set("source_r", "10k")
    who.answered("your-part", "^Right. ", True)


def hum(who: Learner) -> None:
    who.open("The numbers")
    together = who.read("all hum together", 2)
    who.number("how-loud", "27", "mind the sign", together)
    who.set("shield_db", "20")
    who.pick("which-way", "a battery instead of the adapter", "foil in the box, worth 20 dB")
    who.set("shield_db", "30")
    who.number("what-is-left", "-57 dB", "nearer to 0", who.until("all hum together", "−49", 2))
    who.set("loop_v", "0")
    who.pick("next-way", "a second layer of foil: 40 dB", "one outlet strip, and no more loop")
    who.over()
    who.set("stage", "direct")
    who.pick("follower", "a follower at the disc", "a shield worth 10 dB")
    who.over()
    for key, text in (("hum_c", "0"), ("loop_v", "0"), ("return", "divider"), ("divider_c", "0")):
        who.set(key, text)
    who.number("divider", "-30 dB", "further below 0", who.until("all hum together", "−55", 2))
    who.answered("bypass", "Not yet: hum against hard playing is −55", False)
    who.set("divider_c", "100n")
    who.answered("bypass", "^Right. ", True)
    who.over()
    who.set("shield_db", "60")
    who.answered("quiet", "Not yet: hum against hard playing is −4", False)
    who.set("loop_v", "0")
    who.answered("quiet", "^Right. ", True)


WALKS = {"where-the-bass-goes": bass, "will-this-transistor-do": transistor, "find-the-hum": hum}


@pytest.fixture(scope="module")
def lesson_room():
    """The shipped chapters, kernels forked where they can be."""
    server = open_room(None, warm=True, seats=4)
    yield server
    server.stop()


@pytest.mark.parametrize("name", WALKS)
def test_a_lesson_from_first_to_last_task(lesson_room, browser, name) -> None:
    lesson = lesson_named(name)
    page = Page(browser, lesson_room, **PHONE)
    try:
        page.open(f"{lesson.chapter}?lesson={name}")
        page.page.locator(".pz-keepsake").wait_for(timeout=PATIENCE_MS)
        who = Learner(page, lesson)
        WALKS[name](who)
        assert who.solved == len(lesson.tasks)
        page.page.get_by_text(lesson.closing).wait_for(timeout=PATIENCE_MS)
        assert not wide(page) and not axe(page)
        item = page.page.locator(".pz-tasks > ol > li").last  # a second time counts nothing
        item.get_by_role("button", name="check").tap()
        # Whoever comes back finds what they have solved, on a kernel of its own.
        page.page.reload()
        page.page.wait_for_function(
            "count => [...document.querySelectorAll('.pz-done')].filter((mark) => mark.textContent).length === count",
            arg=len(lesson.tasks), timeout=PATIENCE_MS,
        )  # fmt: skip
        page.page.get_by_text(lesson.closing).wait_for(timeout=PATIENCE_MS)
        page.page.goto(lesson_room.url + "projector")
        # Each task was solved once by one visitor, whose reloading counts nothing, and who is not named.
        page.page.get_by_text("1 solved it").nth(len(lesson.tasks) - 1).wait_for(timeout=PATIENCE_MS)
        assert not page.problems
        assert all(request.url.startswith((lesson_room.url, "blob:", "data:")) for request in page.requests)
    finally:
        page.close()
