"""A lesson on a page: one screen at a time, with the step's own controls, its guess and its task."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import traitlets

from piezolab.chain import SignalChain
from piezolab.lessons.figure_words import figure_words, moved, moved_words, name_of
from piezolab.lessons.guesses import ON_THE_LINE, read_guess, way
from piezolab.lessons.lesson import Lesson, LessonStep, figure
from piezolab.lessons.screens import Screen, screens
from piezolab.pages.kit.blocks import Block, paragraphs
from piezolab.pages.kit.controls import Controls
from piezolab.pages.kit.opened_lesson import OpenedLesson, lesson_html, watch
from piezolab.pages.kit.page_state import PageState
from piezolab.pages.kit.piece import STATIC, Piece, number_in, script, text_in
from piezolab.pages.kit.tasks import Task, Tasks


class StepHead(Piece):
    """The bar of a lesson, back, place and on, and the words of the screen."""

    _esm = script("step_head.js")
    _css = STATIC / "steps.css"
    words = {"go": "_asked", "fresh": "_look"}

    title = traitlets.Unicode("").tag(sync=True)
    at = traitlets.Int(0).tag(sync=True)
    count = traitlets.Int(1).tag(sync=True)
    said = traitlets.Unicode("").tag(sync=True)
    solved = traitlets.Bool(False).tag(sync=True)
    #: The file may change under the page: the browser asks now and then.
    watched = traitlets.Bool(False).tag(sync=True)

    def __init__(self, go: Callable[[int], None], **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._go = go
        #: Called when the browser asks whether the lesson is still the same; whether it is to load the page again.
        self.look: Callable[[], bool] = lambda: False

    def _asked(self, content: dict[str, Any]) -> None:
        self._go(number_in(content, "to"))

    def _look(self, _content: dict[str, Any]) -> None:
        if self.watched and self.look():
            self.send({"word": "reload"})


class StepTasks(Tasks):
    """The tasks of a lesson, one at a time: the guess that comes first, and what was moved that should not be."""

    _esm = script("step_task.js")
    words = {**Tasks.words, "guess": "_guessed", "back": "_put_back"}

    #: Name of the task on the screen; "" where there is none.
    current = traitlets.Unicode("").tag(sync=True)
    #: The question, what was guessed, and which way it went: "" while there is none; for a dot also where it begins.
    guess = traitlets.Dict().tag(sync=True)
    #: What is not as the step has it, in a sentence.
    moved = traitlets.Unicode("").tag(sync=True)
    #: Which screen is open, from 0, and the latest wrong answer to each task: in a room the page tells its teacher.
    at = traitlets.Int(0).tag(sync=True)
    wrong = traitlets.Dict().tag(sync=True)

    def __init__(self, state: PageState, tasks: Sequence[Task], lesson: str) -> None:
        super().__init__(state, tasks, lesson)
        self.on_guess: Callable[[str], None] = lambda word: None
        self.on_back: Callable[[], None] = lambda: None

    def check(self, name: str, answer: str) -> tuple[bool, str]:
        good, sentence = super().check(name, answer)
        given = None if good else self._by_name[name].given(answer)
        if given is not None:
            self.wrong = {**self.wrong, name.rpartition("/")[2]: given}
        return good, sentence

    def _guessed(self, content: dict[str, Any]) -> None:
        word = text_in(content, "guess", 10)
        if word is not None:
            self.on_guess(word)

    def _put_back(self, _content: dict[str, Any]) -> None:
        self.on_back()


class LessonSteps:
    """Which screen is open, and what belongs to it; back and forth is free, and what was set in a step is there again.

    head, readings: parts of the page; own, tasks: parts that follow the step.
    """

    def __init__(self, state: PageState, lesson: Lesson, own: Controls, tasks: StepTasks) -> None:
        self.state, self.lesson, self.own, self.tasks = state, lesson, own, tasks
        self.screens = screens(lesson)
        self.readings = Block("readings")
        self.head = StepHead(self.go, title=lesson.title, count=len(self.screens))
        self.at = 0
        self._left: dict[str, SignalChain] = {}
        self._guesses: dict[str, str] = {}
        tasks.on_guess, tasks.on_back = self.guess, self.put_back
        state.observe(lambda _: self._follow(), "settled")
        tasks.observe(lambda _: self._show(), "done")
        tasks.observe(lambda _: self._mind(), "answers")
        self._show()
        self._follow()

    @property
    def screen(self) -> Screen:
        """The screen that is open."""
        return self.screens[self.at]

    @property
    def step(self) -> LessonStep | None:
        """The step that the screen belongs to; None for the first and the last words."""
        return self.screen.step

    def go(self, to: int, *, set_up: bool = True) -> None:
        """Open a screen. set_up: put its step's chain on the page, or what was left of it the last time."""
        if not 0 <= to < len(self.screens) or to == self.at:
            return
        before, self.at = self.step, to
        if self.step is not before:
            self.readings.content = ""  # what the step before let be read off is no figure of this one
            if before is not None:
                self._left[before.name] = self.state.chain
            if set_up and self.step is not None:
                self.state.put(self._left.get(self.step.name, self.step.start))
        self._show()
        self._follow()

    def resume(self) -> None:
        """Open the first step that is not solved, when the browser has said which are; the last words after all."""
        done = set(self.tasks.done)
        asked = [n for n, screen in enumerate(self.screens) if screen.asks]
        if self.at or not done & {self._name(self.screens[n].step) for n in asked}:
            return
        left = [n for n in asked if self._name(self.screens[n].step) not in done]
        step = self.screens[left[0]].step if left else None
        first = next((n for n, screen in enumerate(self.screens) if step is not None and screen.step is step), None)
        self.go(len(self.screens) - 1 if first is None else first, set_up=self.state.bare)

    def guess(self, word: str) -> None:
        """Take a guess, once for each step; then the controls can be moved."""
        asked = self.screen.asks and self.step.guess and self.step.name not in self._guesses
        if asked and (guessed := read_guess(self.step, word)):
            self._guesses[self.step.name] = guessed
            self._show()
            self._follow()

    def put_back(self) -> None:
        """The step's chain as it began."""
        self.state.put(self.state.home)

    # -- what shows -----------------------------------------------------------------------------------------------
    def _name(self, step: LessonStep | None) -> str:
        return "" if step is None else f"{self.lesson.name}/{step.name}"

    def _show(self) -> None:
        step, screen = self.step, self.screen
        self.state.home = self.lesson.chain if step is None else step.start
        guessing = screen.asks and bool(step.guess) and step.name not in self._guesses
        moves = step is not None and not guessing and (screen.asks or step.kind == "read")
        self.own.show_only(step.controls if moves else ())
        name = self._name(step) if screen.asks else ""
        with self.head.hold_sync(), self.tasks.hold_sync():
            self.head.at, self.head.said = self.at, self._said()
            self.head.solved = name in self.tasks.done
            self.tasks.current, self.tasks.at = name, self.at

    def _said(self) -> str:
        if self.at < len(self.screens) - 1:
            return self.screen.words
        done = self.tasks.done
        left = [n + 1 for n, one in enumerate(self.screens) if one.asks and self._name(one.step) not in done]
        left = f"Not solved yet: {', '.join(map(str, left))}. " if left else ""
        return left + self.screen.words

    def _mind(self) -> None:
        step = self.step if self.screen.asks else None
        wrong = self.tasks.answers.get(self._name(step), (True,))[0] is False
        self.tasks.moved = "" if step is None else _moved(step, self.state.chain, wrong)

    def _follow(self) -> None:
        self._mind()
        self._tell_guess("")
        self.state.at_rest.put((self, "step"), self._rest)

    def _tell_guess(self, went: str) -> None:
        step = self.step
        if not self.screen.asks or not step.guess:
            self.tasks.guess = {}
            return
        told = {"question": step.guess, "guessed": self._guesses.get(step.name, ""), "went": went}
        if step.guess_by == "dot":
            # where the dot begins: where the curve is when the step does
            told |= {"hz": figure(step.start, "loading.low_note_hz"), "db": figure(step.start, ON_THE_LINE)}
        self.tasks.guess = told

    def _rest(self) -> None:
        """What takes a moment: the figures to be read off, and what became of the guess."""
        step, chain = self.step, self.state.chain
        shows = () if step is None else step.shows
        self.readings.content = paragraphs(*(_reading(path, chain) for path in shows))
        if step is not None and self.screen.asks and step.name in self._guesses:
            went = way(step, chain)
            is_there = f"it is {figure_words(ON_THE_LINE, figure(chain, ON_THE_LINE))}"
            self._tell_guess(is_there if went and step.guess_by == "dot" else went)


def lesson_parts(
    state: PageState, opened: OpenedLesson, tasks: Sequence[Task], own: Controls, slug: str
) -> tuple[LessonSteps | None, Tasks, Block]:
    """A page's steps (None without a lesson), its tasks, and what is to be said of the lesson above them."""
    said = Block("lesson-faults", opened.told)
    if opened.lesson is None:
        return None, Tasks(state, tasks), said
    said.content = lesson_html(opened.lesson, slug)
    asked = StepTasks(state, tasks, opened.lesson.name)
    steps = LessonSteps(state, opened.lesson, own, asked)
    if opened.written is not None:
        steps.head.look = watch(opened.written, lambda told: setattr(said, "content", told))
        steps.head.watched = True
    return steps, asked, said


def _moved(step: LessonStep, chain: SignalChain, wrong: bool) -> str:
    """What was moved that the step does not let one move; "" for nothing. wrong: the last answer was; where it is asked
    what the step begins with, its own controls count as well then."""
    still = wrong and step.kind == "number" and step.chain == step.start
    if still and moved(chain, step.start, step.controls) == ():
        still = figure(chain, step.figure) != figure(step.start, step.figure)
    keys = moved(chain, step.start, () if still else step.controls)
    return moved_words(keys) if keys else ""


def _reading(path: str, chain: SignalChain) -> str:
    name = name_of(path)
    return f"{name[:1].upper()}{name[1:]}: {figure_words(path, figure(chain, path))}"
