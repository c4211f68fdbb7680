"""Builds that the drawer's search offered last, as a browser keeps them for other chapters: [name, configuration]."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from piezolab.chain import ChainError, SignalChain
from piezolab.chain.link import MOST_CHARACTERS, from_link

MOST_OFFERS = 3
MOST_NAME = 40  # characters


def checked_offers(value: Any) -> list[list[str]]:
    """The pairs, as they are; whether a configuration can be read is asked where it is used. Raises ValueError."""
    if not isinstance(value, list) or len(value) > MOST_OFFERS:
        raise ValueError(f"it is no list of up to {MOST_OFFERS} builds")
    for row in value:
        if not isinstance(row, list) or len(row) != 2 or not all(isinstance(text, str) for text in row):
            raise ValueError("a build has a name and a configuration text")
        name, query = row
        if not 0 < len(name) <= MOST_NAME or not name.isprintable() or len(query) > MOST_CHARACTERS:
            raise ValueError(f"a build has a name of 1 to {MOST_NAME} characters and a configuration text")
    return [list(row) for row in value]


def read_offers(rows: Sequence[Sequence[str]]) -> tuple[dict[str, SignalChain], tuple[str, ...]]:
    """The builds by name, and a sentence for each that is left out since it cannot be read."""
    found, wrong = {}, []
    for name, query in rows:
        try:
            found[name] = from_link(query)
        except ChainError as error:
            wrong.append(f"The drawer's build “{name}” is left out. {error.problems[0].sentence}")
    return found, tuple(wrong)
