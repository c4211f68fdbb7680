"""What a catalogue row may contain, declared field by field, and the check of a row read from a file.

Row classes declare their fields with :func:`number`, :func:`text`, :func:`flag`, :func:`choice`,
:func:`words` and :func:`pairs`; :func:`build_row` turns one TOML table into a frozen row or says which field
is wrong.
"""

from __future__ import annotations

import dataclasses
import math
import re
from collections.abc import Callable, Mapping
from typing import Any, ClassVar


class CatalogueError(ValueError):
    """A catalogue row or file is wrong. The sentence names file, row, field, value and what is allowed."""


@dataclasses.dataclass(frozen=True)
class Rule:
    """How a field is checked: ``read`` returns the value kept or raises; ``allowed`` says it in words."""

    read: Callable[[Any], Any]
    allowed: str
    key: str | None = None


def _field(rule: Rule, optional: bool, default: Any = None) -> Any:
    metadata = {"rule": rule}
    if optional:
        return dataclasses.field(default=default, metadata=metadata)
    return dataclasses.field(metadata=metadata)


def number(low: float, high: float, unit: str, *, optional: bool = False, key: str | None = None) -> Any:
    """Declare a number in ``unit`` from ``low`` to ``high``; ``key`` if the file's word is no Python name."""

    def read(value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise ValueError
        if not math.isfinite(value) or not low <= value <= high:
            raise ValueError
        return float(value)

    return _field(Rule(read, f"a number from {low:g} to {high:g} {unit}".rstrip(), key), optional)


def text(*, optional: bool = False) -> Any:
    """Declare a non-empty sentence or word."""

    def read(value: Any) -> str:
        if not isinstance(value, str) or not value.strip():
            raise ValueError
        return value

    return _field(Rule(read, "a non-empty text"), optional)


def flag(*, optional: bool = False) -> Any:
    """Declare true or false."""

    def read(value: Any) -> bool:
        if not isinstance(value, bool):
            raise ValueError
        return value

    return _field(Rule(read, "true or false"), optional, False)


def choice(*options: str) -> Any:
    """Declare one word out of ``options``."""

    def read(value: Any) -> str:
        if value not in options:
            raise ValueError
        return value

    return _field(Rule(read, "one of " + ", ".join(options)), False)


def words(*, optional: bool = False) -> Any:
    """Declare a list of texts, stored as a tuple."""

    def read(value: Any) -> tuple[str, ...]:
        if not isinstance(value, list) or not all(isinstance(item, str) and item.strip() for item in value):
            raise ValueError
        return tuple(value)

    return _field(Rule(read, "a list of texts"), optional, ())


def pairs(unit_x: str, unit_y: str) -> Any:
    """Declare a curve: two or more pairs above zero, the first number rising, the second never rising."""

    def read(value: Any) -> tuple[tuple[float, float], ...]:
        points = tuple((float(x), float(y)) for x, y in value)
        if len(points) < 2 or not all(0 < x < math.inf and 0 < y < math.inf for x, y in points):
            raise ValueError
        for (x0, y0), (x1, y1) in zip(points, points[1:], strict=False):
            if not (x1 > x0 and y1 <= y0):
                raise ValueError
        return points

    allowed = (
        f"two or more pairs [{unit_x}, {unit_y}], all above zero, the first rising, the second never rising"
    )
    return _field(Rule(read, allowed), False)


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """What every row carries: its name in links, a label, a note, where its numbers come from.

    ``corrects`` names the row for which this one now stands (see :func:`spelled_out`), None for nearly every row.
    ``recalled`` lists the fields written down from memory (``"all"`` for the whole row), ``estimates`` those
    no source states; rows of common practice without a source need no list.
    """

    NAME_PATTERN: ClassVar[str] = r"[a-z0-9]+(-[a-z0-9]+)*"
    NAME_RULE: ClassVar[str] = "lower-case letters, digits and single hyphens"

    name: str
    label: str = text()
    note: str = text()
    source: str = text()
    from_memory: bool = flag(optional=True)
    default: bool = flag(optional=True)
    corrects: str | None = text(optional=True)
    recalled: tuple[str, ...] = words(optional=True)
    estimates: tuple[str, ...] = words(optional=True)

    def problems(self) -> list[tuple[str, Any, str]]:
        """Return (field, value, allowed) for each contradiction between fields; a subclass adds its own."""
        found: list[tuple[str, Any, str]] = []
        known = {file_key(item) for item in dataclasses.fields(self) if "rule" in item.metadata}
        for listing in ("recalled", "estimates"):
            for item in getattr(self, listing):
                if item not in known and not (listing == "recalled" and item == "all"):
                    found.append((listing, item, "the name of a field of this row"))
        if self.recalled and not self.from_memory:
            found.append(("from_memory", False, "true where recalled lists anything"))
        return found


#: What a row never takes over from another.
_OWN = ("default", "corrects", "note", "source")


def file_key(item: dataclasses.Field) -> str:
    """Return the word the file uses for a declared field."""
    return item.metadata["rule"].key or item.name


def spelled_out(file: str, tables: Mapping[str, Any]) -> dict[str, Any]:
    """The tables of a file with all their fields: one with ``corrects`` or ``like`` takes over what it does not state
    from the row that it names, which stands above it, but its note and source.

    Raises:
        CatalogueError: the row named is not above, or is itself a correction, so that two would stand for one part.
    """
    full: dict[str, Any] = {}
    for name, table in tables.items():
        full[name] = table
        for word in ("corrects", "like"):
            if isinstance(table, dict) and word in table:
                other = table[word]
                if not isinstance(other, str) or not isinstance(full.get(other), dict) or other == name:
                    raise _complain(file, name, word, other, "the name of a row above it")
                first = full[other].get("corrects")
                if first is not None:
                    raise _complain(file, name, word, other, f"a row that corrects none; here {first}")
                base = {key: value for key, value in full[other].items() if key not in _OWN}
                full[name] = {**base, **{key: value for key, value in table.items() if key != "like"}}
    return full


def _complain(file: str, row: str, field: str, value: Any, allowed: str) -> CatalogueError:
    return CatalogueError(f"{file}, row {row}, field {field}: {value!r} is not allowed; allowed: {allowed}")


def build_row(kind: type[Row], file: str, name: str, table: Any) -> Row:
    """Check one TOML table and return it as a frozen ``kind``.

    Raises:
        CatalogueError: a field is missing, unknown, of the wrong type, out of range or contradicts another.
    """
    if not re.fullmatch(kind.NAME_PATTERN, name):
        raise _complain(file, name, "name", name, kind.NAME_RULE)
    if not isinstance(table, dict):
        raise _complain(file, name, "row", table, "a table of fields")
    values: dict[str, Any] = {"name": name}
    remaining = dict(table)
    missing = [
        item
        for item in dataclasses.fields(kind)
        if "rule" in item.metadata and item.default is dataclasses.MISSING and file_key(item) not in table
    ]
    if missing:
        first, *others = missing
        also = f"; missing too: {', '.join(map(file_key, others))}" if others else ""
        raise _complain(file, name, file_key(first), "nothing", first.metadata["rule"].allowed + also)
    for item in dataclasses.fields(kind):
        rule: Rule | None = item.metadata.get("rule")
        if rule is None:
            continue
        key = file_key(item)
        if key not in remaining:
            continue
        value = remaining.pop(key)
        try:
            values[item.name] = rule.read(value)
        except (ValueError, TypeError):
            raise _complain(file, name, key, value, rule.allowed) from None
    for key, value in remaining.items():
        raise _complain(file, name, key, value, "no such field in this file")
    row = kind(**values)
    for field, value, allowed in row.problems():
        raise _complain(file, name, field, value, allowed)
    return row
