"""What the link does not hold and the visitor wants to find again: kept in their browser, saved to and opened from a
file.

The server keeps nothing. Each section has a name, a check and a size limit; what comes back from the browser or from a
file is checked like any other input. A later chapter adds its section to `SECTIONS`, so that a file can be opened on
any page, and calls `Keepsake.use` to be handed what was kept.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import traitlets

from piezolab.chain import ChainError, SignalChain
from piezolab.chain.link import from_link
from piezolab.pages.kit.piece import STATIC, Piece, text_in

FORMAT = "piezolab keepsake 1"
MOST_FILE = 256_000  # characters
MOST_TRANSISTORS = 40
MOST_OF_FAULT = 26
MEASURED = ("pickup_c", "play_v", "input_r")  # link keys of the values measured with their ends


@dataclass(frozen=True)
class KeptKind:
    """One kind of thing that is kept.

    label: in words; check: returns the value in canonical form or raises ValueError with a sentence; most: characters
    of its JSON text.
    """

    label: str
    check: Callable[[Any], Any]
    most: int


def _curve(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError("it is no configuration text")
    try:
        from_link(value)
    except ChainError as error:
        raise ValueError(error.problems[0].sentence) from None
    return value


def _tasks(value: Any) -> dict[str, bool]:
    if not isinstance(value, dict) or len(value) > 500:
        raise ValueError("it is no list of finished things")
    if not all(isinstance(name, str) and len(name) <= 80 and done is True for name, done in value.items()):
        raise ValueError("it names something that is not finished")
    return dict(value)


def _bag(value: Any) -> list[dict[str, Any]]:
    """Measured transistors: name, type, I_DSS in A at a V_DS in V, V_GS(off) in V."""
    if not isinstance(value, list) or len(value) > MOST_TRANSISTORS:
        raise ValueError(f"it is no list of up to {MOST_TRANSISTORS} transistors")
    kept = []
    for row in value:
        if not isinstance(row, dict) or set(row) != {"name", "jfet", "idss", "vds", "vgsoff"}:
            raise ValueError("it names something that is no measured transistor")
        name, jfet, *numbers = (row[key] for key in ("name", "jfet", "idss", "vds", "vgsoff"))
        if not isinstance(name, str) or len(name) > 20 or not isinstance(jfet, str):
            raise ValueError("a transistor has a name of up to 20 characters and a type")
        try:
            SignalChain(dict(zip(("jfet_idss", "jfet_vds", "jfet_vgsoff"), numbers, strict=True)), jfet=jfet)
        except ChainError as error:
            raise ValueError(error.problems[0].sentence) from None
        kept.append(dict(row))
    return kept


def _readings(value: Any) -> dict[str, str]:
    if not isinstance(value, dict) or len(value) > 20:
        raise ValueError("it is no list of readings")
    if not all(isinstance(text, str) and len(text) <= 60 for pair in value.items() for text in pair):
        raise ValueError("it names something that is no reading")
    return dict(value)


def _build(value: Any) -> dict[str, str]:
    """Texts of a build's options by key. Those of older pages come back under today's keys."""
    # read where it is used: most pages have nothing to do with a build
    from piezolab.pages.kit.kept_build import kept_build

    return kept_build(_readings(value)).texts


def _fault(value: Any) -> dict[str, str]:
    """Up to 20 readings and what is heard; from an older page the meter's fields too."""
    if not isinstance(value, dict) or len(value) > MOST_OF_FAULT:
        raise ValueError("it is no list of readings")
    if not all(isinstance(text, str) and len(text) <= 90 for pair in value.items() for text in pair):
        raise ValueError("it names something that is no reading")
    return dict(value)


def _drawer(value: Any) -> dict[str, str]:
    if not isinstance(value, dict) or len(value) > 20:
        raise ValueError("it is no drawer")
    if not all(isinstance(text, str) and len(text) <= 400 for pair in value.items() for text in pair):
        raise ValueError("it names something that is no part of a drawer")
    return dict(value)


def _offers(value: Any) -> list[list[str]]:
    # read where it is used: most pages have nothing to do with a drawer
    from piezolab.pages.kit.drawer_offers import checked_offers

    return checked_offers(value)


def _line(value: Any) -> str:
    if not isinstance(value, str) or not 0 < len(value) <= 200 or not value.isprintable():
        raise ValueError("it is no line of up to 200 characters")
    return value


def _measured(value: Any) -> dict[str, list[float | None]]:
    """Link key -> value, low and high end in SI units; None for an end that is not known."""
    if not isinstance(value, dict) or not set(value) <= set(MEASURED):
        raise ValueError(f"it names something other than {', '.join(MEASURED)}")
    for key, row in value.items():
        numbers = isinstance(row, list) and len(row) == 3 and all(
            n is None or (type(n) in (int, float) and math.isfinite(n) and n >= 0) for n in row
        )
        if not numbers or row[0] is None:
            raise ValueError(f"{key} is no value with its two ends")
        try:
            SignalChain({key: row[0]})
        except ChainError as error:
            raise ValueError(error.problems[0].sentence) from None
    return dict(value)


#: Everything that can be kept, by name.
SECTIONS: dict[str, KeptKind] = {
    "curve": KeptKind("the kept curve", _curve, 4_500),
    "tasks": KeptKind("finished tasks", _tasks, 50_000),
    "bag": KeptKind("measured transistors", _bag, 8_000),
    "drawer": KeptKind("the drawer", _drawer, 4_000),
    "found": KeptKind("the drawer's last result", _line, 1_000),
    "offers": KeptKind("the drawer's builds", _offers, 13_000),
    "fault": KeptKind("readings of the fault finder", _fault, 5_000),
    "readings": KeptKind("meter readings", _readings, 2_500),
    "checks": KeptKind("ticked steps of the build", _tasks, 20_000),
    "build": KeptKind("board and meter", _build, 2_500),
    "measured": KeptKind("measured values", _measured, 1_000),
}


class Keepsake(Piece):
    """The browser's store, and the two buttons that save it to a file and open one."""

    _esm = STATIC / "keepsake.js"
    words = {"kept": "_kept", "file": "_file"}

    format = traitlets.Unicode(FORMAT).tag(sync=True)
    most = traitlets.Int(MOST_FILE).tag(sync=True)
    said = traitlets.Unicode("").tag(sync=True)

    def __init__(self) -> None:
        super().__init__()
        self._users: dict[str, Callable[[Any], None]] = {}
        self._values: dict[str, Any] = {}

    def use(self, name: str, given: Callable[[Any], None]) -> None:
        """Call `given` with the checked value of a section when the browser or a file brings one."""
        if name not in SECTIONS:
            raise KeyError(f"keepsake: no section {name!r}")
        self._users[name] = given

    def keep(self, name: str, value: Any) -> None:
        """Put a section into the browser's store; None takes it out. Raises ValueError where it does not pass its
        check."""
        text = None if value is None else self._text(name, value)
        if self._values.get(name) != text:
            self._values[name] = text
            self.send({"keep": {name: text}})

    def open_file(self, text: str) -> tuple[str, ...]:
        """Take the text of a saved file; returns what could not be taken."""
        try:
            content = json.loads(text) if len(text) <= MOST_FILE else None
        except (ValueError, RecursionError):
            content = None
        sections = content.get("sections") if isinstance(content, dict) and content.get("format") == FORMAT else None
        if not isinstance(sections, dict):
            most = f"{MOST_FILE // 1000} kB"
            return (f"file: it is not one that these pages saved; allowed is a file of up to {most} saved here.",)
        wrong: list[str] = []
        for name, value in sections.items():
            wrong += self._take(name, value, store=True)
        return tuple(wrong)

    @staticmethod
    def _text(name: str, value: Any) -> str:
        section = SECTIONS[name]
        text = json.dumps(section.check(value), ensure_ascii=False, allow_nan=False)
        if len(text) > section.most:
            raise ValueError(f"{section.label}: {len(text)} characters are too many; allowed are {section.most}.")
        return text

    def _take(self, name: str, value: Any, store: bool) -> list[str]:
        if name not in SECTIONS:
            return [f"file: {str(name)[:40]!r} is nothing that can be kept here; it was left out."] if store else []
        try:
            text = self._text(name, value)
        except (ValueError, RecursionError) as error:
            return [f"{SECTIONS[name].label}: left out, since {str(error)[:400].rstrip('.')}."]
        self._values[name] = text
        if store:
            self.send({"keep": {name: text}})
        if name in self._users:
            self._users[name](json.loads(text))
        return []

    def _kept(self, content: dict[str, Any]) -> None:
        sections = content.get("sections")
        if not isinstance(sections, dict):
            return
        wrong: list[str] = []
        for name, section in SECTIONS.items():
            text = sections.get(name)
            if not isinstance(text, str) or len(text) > section.most:
                continue
            try:
                value = json.loads(text)
            except (ValueError, RecursionError):
                continue
            wrong += self._take(name, value, store=False)
        self.said = " ".join(wrong)

    def _file(self, content: dict[str, Any]) -> None:
        self.said = ""  # the same sentence about another file is news, too
        text = text_in(content, "text", MOST_FILE)
        wrong = self.open_file(text if text is not None else "")
        self.said = " ".join(wrong) if wrong else "The file was opened."
