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

from piezolab.lessons.entries import MOST_NAME, NAME
from piezolab.lessons.lesson import Lesson
from piezolab.lessons.reader import LessonError, LessonReader
from piezolab.lessons.syntax import syntax_fault
from piezolab.location import data_dir

MOST_FILE = 64_000  # characters


#: Environment variable with a teacher's own folder of lessons.
OWN_FOLDER = "PIEZOLAB_LESSONS"


def folders() -> tuple[Path, ...]:
    """Where lessons are looked for: a teacher's own folder (PIEZOLAB_LESSONS), then the shipped one."""
    own = os.environ.get(OWN_FOLDER, "")
    return (*([Path(own)] if own else []), data_dir() / "lessons")


#: Environment variable with the name of the lesson that a room works on.
ROOM_LESSON = "PIEZOLAB_ROOM_LESSON"
#: And one that is not empty where a room shares the machine.
IN_A_ROOM = "PIEZOLAB_IN_A_ROOM"


def in_a_room() -> bool:
    """Whether other visitors share the machine with this page."""
    return bool(os.environ.get(IN_A_ROOM))


def room_lesson() -> str:
    """Name of the lesson that this room works on; "" where there is none, or no room."""
    return os.environ.get(ROOM_LESSON, "")


def lesson_named(name: str) -> Lesson | None:
    """The lesson of that name, read without working out its figures again; None where there is none or it is faulty."""
    try:
        return opened(name)[0]
    except LessonError:
        return None


def opened(name: str) -> tuple[Lesson | None, Path | None]:
    """The lesson of that name, and its file where it lies in a folder of a teacher's own, who may be writing it; two
    times None where there is none. Raises LessonError with what is wrong with the file."""
    if not NAME.fullmatch(name):
        return None, None
    for folder in folders():
        path = folder / f"{name}.toml"
        if path.is_file():
            own = path if folder != data_dir() / "lessons" else None
            return _read(path, figures_too=False), own
    return None, None


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
            found[path.stem] = _read(path)
        except LessonError as error:
            faults += error.faults
    if faults:
        raise LessonError(faults)
    return MappingProxyType(found)


def _read(path: Path, *, figures_too: bool = True) -> Lesson:
    faults = name_faults(path.stem)
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise LessonError([f"{path.name}: cannot be read: {error}", *faults]) from None
    try:
        lesson = read_lesson(text, path.name, figures_too=figures_too)
    except LessonError as error:
        raise LessonError([*faults, *error.faults]) from None
    if faults:
        raise LessonError(faults)
    return lesson


def name_faults(name: str) -> list[str]:
    """What is wrong with a lesson's name, by the rule by which a page opens one."""
    if NAME.fullmatch(name):
        return []
    allowed = f"small letters, digits and single hyphens between them, up to {MOST_NAME}"
    return [f"{name[:MOST_NAME]!r}: no page can open a lesson of that name; allowed are {allowed}."]


def notes(folder: Path | None = None) -> list[str]:
    """What can be read in a folder's lessons and does not fit on a phone, by line, with the fix."""
    said: list[str] = []
    for path in sorted((data_dir() / "lessons" if folder is None else folder).glob("*.toml")):
        text = path.read_text(encoding="utf-8")
        reader = LessonReader(text, path.name, False)
        reader.lesson(tomllib.loads(text))
        said += reader.notes
    return said


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
