"""A lesson cut into the screens of a phone: its first words, the steps, and its last words."""

from __future__ import annotations

import re
from dataclasses import dataclass

from piezolab.lessons.lesson import Lesson, LessonStep
from piezolab.lessons.step_reader import MOST_WORDS

MOST_READ = 80  # words of a screen that is only read
_SENTENCE = re.compile(r"(?<=[.!?”])\s+(?=[A-Z“])")


@dataclass(frozen=True)
class Screen:
    """One screen: its words, and the step that it is of; None for the lesson's first and last words.

    asks: the step's task stands here, and not on a later screen of the same step.
    """

    words: str
    step: LessonStep | None
    asks: bool


def screens(lesson: Lesson) -> tuple[Screen, ...]:
    """All screens in order. A text too long to stand beside its task comes before it, on screens of its own."""
    made = [Screen(words, None, False) for words in pieces(lesson.intro, MOST_READ)]
    for step in lesson.steps:
        asks = step.kind != "read"
        beside = asks and count(step.text) <= MOST_WORDS
        if step.text and not beside:
            made += [Screen(words, step, False) for words in pieces(step.text, MOST_READ)]
        if asks:
            made.append(Screen(step.text if beside else "", step, True))
    closing = lesson.closing or "That was the lesson: well done."
    return (*made, *(Screen(words, None, False) for words in pieces(closing, MOST_READ)))


def pieces(text: str, most: int) -> list[str]:
    """A text in pieces of whole sentences, each of at most so many words where its sentences allow that."""
    found: list[str] = []
    for sentence in _SENTENCE.split(text.strip()):
        if found and count(found[-1]) + count(sentence) <= most:
            found[-1] += " " + sentence
        else:
            found.append(sentence)
    return found


def count(text: str) -> int:
    """Number of words."""
    return len(text.split())
