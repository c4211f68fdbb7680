"""Entries of a lesson's text, checked one by one: what is wrong is noted by line, with the fix."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any
from urllib.parse import parse_qsl

from piezolab.chain import ChainError, SignalChain
from piezolab.chain.link import PAGE_KEYS, read_link
from piezolab.lessons.lesson import STAGE_KIND, figure
from piezolab.lessons.syntax import nearest
from piezolab.studies.figures import GROUPS

MOST_TEXT = 3000
MOST_NAME = 60
NAME = re.compile(rf"(?=.{{1,{MOST_NAME}}}\Z)[a-z0-9]+(?:-[a-z0-9]+)*")


class Entries:
    """The lines of one lesson, and what was found wrong in them."""

    def __init__(self, text: str, file: str, figures_too: bool = True) -> None:
        self.lines, self.file, self.figures_too = text.splitlines(), file, figures_too
        self.faults: list[str] = []
        #: What can be read and would be better otherwise, in the same form.
        self.notes: list[str] = []
        self.start, self.controls, self.faulty_controls = SignalChain(), (), False

    def fault(self, where: int, what: str, fix: str) -> None:
        """Note a fault: the line, what is wrong, and how to mend it."""
        self.faults.append(f"{self.file}, line {where}: {what}; {fix}.")

    def note(self, where: int, what: str, fix: str) -> None:
        """Note what is allowed and does not fit on a phone, in the same form."""
        self.notes.append(f"{self.file}, line {where}: {what}; {fix}.")

    def line(self, key: str, step: int | None = None) -> int:
        """Line of a key, in the head or in the n-th step (from 0); of the step's own line where the key is missing."""
        starts = [n for n, line in enumerate(self.lines) if re.match(r"\s*\[\[\s*step\s*\]\]", line)]
        first, last = (0, starts[0] if starts else len(self.lines))
        if step is not None and step < len(starts):
            first, last = starts[step], starts[step + 1] if step + 1 < len(starts) else len(self.lines)
        for n in range(first, last):
            if re.match(rf"\s*(\[\[?\s*)?{re.escape(key)}\s*[=\]]", self.lines[n]):
                return n + 1
        return first + 1

    def text(self, table: Mapping[str, Any], key: str, step: int | None = None, *, needed: bool = True) -> str:
        """A text of the head or of a step; "" with a fault noted where it is missing."""
        value = table.get(key)
        if value is None and not needed:
            return ""
        if not isinstance(value, str) or (needed and not value.strip()):
            self.fault(self.line(key, step), f"{key} is missing or no text", f'write {key} = "some words"')
            return ""
        if len(value) > MOST_TEXT:
            self.fault(self.line(key, step), f"{key} has {len(value)} characters", f"allowed are up to {MOST_TEXT}")
            return ""
        return value.strip()

    def chain(self, words: Any, key: str, step: int | None = None, *, base: SignalChain | None = None) -> SignalChain:
        """A chain written as the part of a link after '?'; its problems are noted as faults. What is not written is as
        in `base`; a link pasted whole, with its '?', stands for itself."""
        base = SignalChain() if base is None else base
        if not isinstance(words, str):
            self.fault(self.line(key, step), f"{key} is no text", f'write {key} = "stage=direct&input=line"')
            return base
        chain, problems = read_link(words)
        for problem in problems:
            self.fault(self.line(key, step), problem.sentence.rstrip("."), "write the chain as a link's part after '?'")
        if problems or "?" in words:
            return chain
        written = [word for word, _ in parse_qsl(words) if word != "v" and word not in PAGE_KEYS]
        try:
            return base.but({word: chain[word] for word in written})
        except ChainError as error:
            for problem in error.problems:
                fix = "write what does not go with the lesson's chain too"
                self.fault(self.line(key, step), problem.sentence.rstrip("."), fix)
            return base

    def figure(self, table: Mapping[str, Any], chain: SignalChain, step: int, key: str = "figure") -> str:
        """The dotted path of a figure that the chain has; "" with a fault noted where there is none."""
        path = self.text(table, key, step)
        if path and self.figures_too:
            try:
                figure(chain, path)
            except KeyError:
                groups = ", ".join((*GROUPS, "stage"))
                near = nearest(path, _paths(chain))
                fix = f"write group.key with a group among {groups}, as `piezolab figures` prints them"
                self.fault(self.line(key, step), f"{path!r} is no figure{near}", fix)
                return ""
        return path


def _paths(chain: SignalChain) -> list[str]:
    """Every figure's dotted path."""
    from piezolab.studies.figures import figures

    return [STAGE_KIND, *(f"{group}.{key}" for group, found in figures(chain).items() for key in found or ())]
