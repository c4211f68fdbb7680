"""A new lesson to begin from: twenty lines that can be opened at once."""

from __future__ import annotations

from pathlib import Path

from piezolab.lessons.reader import LessonError
from piezolab.lessons.shelf import name_faults

TEMPLATE = """\
# What each line means, and what else there is: how-to-write-a-lesson.md, in piezolab/lessons.
title = "My lesson"
chapter = "where-does-the-bass-go"
minutes = 10
chain = "stage=direct&input=line"
controls = ["input"]
intro = "A dulcimer goes straight into a mixer and sounds thin."
closing = "A pickup is drained by what it is plugged into."

[[step]]
name = "which-input"
kind = "pick"
text = "Here is the same dulcimer, plugged in somewhere else."
guess = "Into an amplifier: will the low D go up, stay, or go down?"
question = "Which input leaves the low D the most?"
hint = "Try both, and watch the left end of the curve."
explain = "Its resistance is a hundred times that of the mixer."
figure = "loading.low_note_re_plateau_db"
compare = "largest"
options = [["mixer", "input=line"], ["amplifier", "input=amplifier"]]
"""


def new_lesson(name: str, folder: Path) -> Path:
    """Write the template as the lesson of that name into a folder; returns its file.

    Raises LessonError where no page could open the name, where there is such a file already, or where it cannot be
    written.
    """
    path = folder / f"{name}.toml"
    if faults := name_faults(name):
        raise LessonError(faults)
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(TEMPLATE)
    except FileExistsError:
        raise LessonError([f"{path.name}: it is there already; take another name, or edit it."]) from None
    except OSError as error:
        raise LessonError([f"{path.name}: it cannot be written: {error.strerror}."]) from None
    return path
