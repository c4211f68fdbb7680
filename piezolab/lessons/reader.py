"""Checks a lesson's text and reports what is wrong with it by line, with the fix."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from piezolab.chapters import find_chapters
from piezolab.lessons.file_fields import HEAD
from piezolab.lessons.lesson import Lesson, LessonStep
from piezolab.lessons.step_reader import StepReader
from piezolab.lessons.syntax import nearest
from piezolab.location import notebooks_dir

MOST_STEPS = 20
_HEAD = {one.name for one in HEAD}


class LessonError(ValueError):
    """What is wrong with a lesson; `faults` has one sentence for each fault, with file, line and fix."""

    def __init__(self, faults: list[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(faults))


class LessonReader(StepReader):
    """Checks one lesson and collects what is wrong, by line."""

    def lesson(self, table: Mapping[str, Any]) -> Lesson:
        """The whole lesson."""
        self._unknown_keys(table)
        minutes = self._minutes(table)
        self._controls(table)
        self.start = self.chain(table.get("chain", ""), "chain")
        chapter = self._chapter(table)
        steps = self._steps(table)
        return Lesson(
            self.file.removesuffix(".toml"), self.text(table, "title"), chapter, minutes, self.start,
            self.controls, self.text(table, "intro"),
            self.text(table, "closing", needed=False), steps,
        )  # fmt: skip

    def _unknown_keys(self, table: Mapping[str, Any]) -> None:
        for key in sorted(set(table) - _HEAD):
            table_at = re.compile(rf"\s*\[+\s*{re.escape(key)}\b")
            tables = [n + 1 for n, line in enumerate(self.lines) if table_at.match(line)]
            what = f"{key!r} is unknown{nearest(key, _HEAD)}"
            self.fault(tables[0] if tables else self.line(key), what, f"allowed are {', '.join(sorted(_HEAD))}")

    def _minutes(self, table: Mapping[str, Any]) -> int:
        minutes = table.get("minutes")
        if isinstance(minutes, bool) or not isinstance(minutes, int) or not 1 <= minutes <= 240:
            self.fault(
                self.line("minutes"), "minutes is missing or no whole number from 1 to 240", "write minutes = 25"
            )
            return 0
        return minutes

    def _controls(self, table: Mapping[str, Any]) -> None:
        """The controls that show, kept for what the steps ask of them."""
        controls = table.get("controls", [])
        if not isinstance(controls, list) or not controls:
            self.fault(self.line("controls"), "controls is missing or empty", 'write controls = ["gate_r", "input"]')
            controls = []
        self.controls = self.control_keys(controls, self.line("controls"))
        self.faulty_controls = len(self.controls) < max(len(controls), 1)

    def _chapter(self, table: Mapping[str, Any]) -> str:
        chapter = self.text(table, "chapter")
        slugs = [found.slug for found in find_chapters(notebooks_dir())]
        if chapter and chapter not in slugs:
            # a title is no address word, and near to one
            near = nearest(re.sub(r"[^a-z0-9]+", "-", chapter.lower()).strip("-"), slugs)
            fix = f"write one of the address words {', '.join(slugs)}"
            self.fault(self.line("chapter"), f"{chapter!r} is no chapter{near}", fix)
        return chapter

    def _steps(self, table: Mapping[str, Any]) -> tuple[LessonStep, ...]:
        raw = table.get("step", [])
        if not isinstance(raw, list) or not 1 <= len(raw) <= MOST_STEPS or not all(isinstance(s, dict) for s in raw):
            self.fault(len(self.lines), "there are no steps, or too many", f"write 1 to {MOST_STEPS} tables [[step]]")
            raw = []
        steps = tuple(self.step(step, n) for n, step in enumerate(raw))
        names = [step.name for step in steps]
        for n, name in enumerate(names):
            if name and name in names[:n]:
                self.fault(self.line("name", n), f"the name {name!r} is taken", "give each step a name of its own")
        if steps and steps[-1].kind == "read" and steps[-1].name:
            fix = "write the words as closing in the head of the file, which is shown when all is solved"
            self.fault(self.line("kind", len(steps) - 1), "the last step has nothing to solve", fix)
        return steps
