"""Lessons: small text files with a starting chain, the controls that show, prose and tasks checked from the figures.

A lesson is a TOML file in data/lessons/ or anywhere else. What is wrong with one is reported by line, with the fix.
Answers are never written down: each is a figure (a dotted path into `figures`) of some chain, worked out on demand.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from types import MappingProxyType

from piezolab.lessons.entries import NAME
from piezolab.lessons.lesson import Lesson
from piezolab.lessons.reader import LessonError, LessonReader
from piezolab.lessons.syntax import syntax_fault
from piezolab.location import data_dir

MOST_FILE = 64_000  # characters


def folders() -> tuple[Path, ...]:
    """Where lessons are looked for: a teacher's own folder (PIEZOLAB_LESSONS), then the shipped one."""
    own = os.environ.get("PIEZOLAB_LESSONS", "")
    return (*([Path(own)] if own else []), data_dir() / "lessons")


#: Environment variable with the name of the lesson that a room works on.
ROOM_LESSON = "PIEZOLAB_ROOM_LESSON"


def room_lesson() -> str:
    """Name of the lesson that this room works on; "" where there is none, or no room."""
    return os.environ.get(ROOM_LESSON, "")


def lesson_named(name: str) -> Lesson | None:
    """The lesson of that name, read without working out its figures again; None where there is none or it is faulty."""
    if not NAME.fullmatch(name) or len(name) > 60:
        return None
    for folder in folders():
        path = folder / f"{name}.toml"
        if path.is_file():
            try:
                return read_lesson(path.read_text(encoding="utf-8"), path.name, figures_too=False)
            except (LessonError, OSError, UnicodeDecodeError):
                return None
    return None


def known_lessons() -> tuple[Lesson, ...]:
    """Every lesson that can be held here, by title; faulty ones are left out (see `lessons` for what is wrong)."""
    names = {path.stem for folder in folders() if folder.is_dir() for path in folder.glob("*.toml")}
    found = (lesson_named(name) for name in names)
    return tuple(sorted((lesson for lesson in found if lesson is not None), key=lambda lesson: lesson.title))


@cache
def lessons(folder: Path | None = None) -> Mapping[str, Lesson]:
    """All lessons of a folder (default: the shipped ones) by name. Raises LessonError with all faults of all files."""
    folder = data_dir() / "lessons" if folder is None else folder
    found, faults = {}, []
    for path in sorted(folder.glob("*.toml")):
        try:
            found[path.stem] = read_lesson(path.read_text(encoding="utf-8"), path.name)
        except LessonError as error:
            faults += error.faults
        except (OSError, UnicodeDecodeError) as error:
            faults.append(f"{path.name}: cannot be read: {error}")
    if faults:
        raise LessonError(faults)
    return MappingProxyType(found)


def read_lesson(text: str, file: str, *, figures_too: bool = True) -> Lesson:
    """A lesson from its text; `file` names it; figures_too: work out every figure that it names, to see that it exists.

    Raises LessonError with all faults, each by line and with its fix.
    """
    if len(text) > MOST_FILE:
        raise LessonError([f"{file}: it has {len(text)} characters; allowed are up to {MOST_FILE}."])
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise LessonError([syntax_fault(text, file, error)]) from None
    reader = LessonReader(text, file, figures_too)
    lesson = reader.lesson(table)
    if reader.faults:
        raise LessonError(reader.faults)
    return lesson
