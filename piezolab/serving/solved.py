"""How many visitors of a room have solved each task: counts only, and no names."""

import contextlib
import hashlib
import re
import secrets
from collections.abc import Callable
from typing import Protocol

_WORD = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
#: Most lessons counted at once, and most visitors counted for a task.
MOST_LESSONS, MOST_VISITORS = 50, 5000


class SolvedError(ValueError):
    """What was reported cannot be counted; the message says why in one sentence."""


class _Task(Protocol):
    name: str
    question: str


class _Lesson(Protocol):
    name: str
    title: str

    @property
    def tasks(self) -> tuple[_Task, ...]: ...


class Solved:
    """The count.

    Parameters
    ----------
    find : callable
        Gives the lesson of a name, or None.
    key : bytes, optional
        What makes marks of visitors; the same one counts them once over a restart.
    """

    def __init__(self, find: Callable[[str], _Lesson | None], key: bytes | None = None) -> None:
        self._find = find
        self._lessons: dict[str, _Lesson] = {}
        self._who: dict[tuple[str, str], set[bytes]] = {}
        # Marks cannot be traced back to a visitor's cookie, not even in this program's memory.
        self._key = hashlib.blake2b(b"marks", key=key or secrets.token_bytes(32), digest_size=16).digest()

    def lesson(self, name: object) -> _Lesson:
        """The lesson of a name. Raises SolvedError where there is none."""
        if not isinstance(name, str) or len(name) > 60 or not _WORD.fullmatch(name):
            raise SolvedError("lesson: allowed is a lesson's name of small letters, digits and hyphens")
        if name not in self._lessons:
            lesson = self._find(name) if len(self._lessons) < MOST_LESSONS else None
            if lesson is None:
                raise SolvedError(f"lesson: {name!r} is not known here")
            self._lessons[name] = lesson
        return self._lessons[name]

    def add(self, who: str, lesson: object, tasks: list) -> None:
        """Count that a visitor has solved these tasks; a second time changes nothing. Raises SolvedError, and counts
        none, where one of them is not the lesson's."""
        found = self.lesson(lesson)
        names = {step.name for step in found.tasks}
        if not all(isinstance(task, str) and task in names for task in tasks):
            raise SolvedError(f"tasks: allowed are those of the lesson {found.name!r}")
        mark = self.mark(who)
        for task in tasks:
            marks = self._who.setdefault((found.name, task), set())
            if len(marks) < MOST_VISITORS:
                marks.add(mark)

    def left(self) -> list[list]:
        """The marks, for the next run of the server."""
        return [[lesson, task, sorted(mark.hex() for mark in marks)] for (lesson, task), marks in self._who.items()]

    def go_on(self, left: list[list]) -> None:
        """Count on from what an earlier run with the same key has left; what is not known any more is left out. Raises
        ValueError or TypeError where it is not such."""
        for name, task, marks in left:
            found = {bytes.fromhex(mark) for mark in marks[:MOST_VISITORS]}
            with contextlib.suppress(SolvedError):
                if task in {step.name for step in self.lesson(name).tasks}:
                    self._who.setdefault((name, task), set()).update(found)

    def mark(self, who: str) -> bytes:
        """What stands for a visitor in what is kept."""
        return hashlib.blake2b(who.encode(), key=self._key, digest_size=12).digest()

    def counts(self, lesson: _Lesson) -> list[tuple[str, int]]:
        """Each task's question and how many have solved it, in the lesson's order."""
        return [(task.question, len(self._who.get((lesson.name, task.name), ()))) for task in lesson.tasks]

    @property
    def lessons(self) -> list[_Lesson]:
        """The lessons of which something has been solved."""
        return [self._lessons[name] for name in sorted({name for name, _ in self._who})]
