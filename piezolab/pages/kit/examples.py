"""What a page opens on where nobody brought a chain: its example, or what this browser keeps as its own."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from piezolab.chain import SignalChain
from piezolab.chain.link import from_link, read_link
from piezolab.location import data_dir

HOME = "home"
MOST_OWN = 2048  # characters of a kept chain: a browser's cookie has 4096 bytes


@dataclass(frozen=True)
class Example:
    """What a page opens on: an invented instrument that shows what the chapter is about."""

    name: str
    chain: SignalChain


@cache
def examples() -> Mapping[str, Example]:
    """The examples by address word. Raises ChainError where one's link is not right."""
    rows = tomllib.loads((data_dir() / "examples.toml").read_text("utf-8"))
    return {slug: Example(row["name"], from_link(row["link"])) for slug, row in rows.items()}


def own_chain(text: str) -> SignalChain | None:
    """The chain that this browser keeps; None where there is none, or where it cannot be read without a mistake."""
    if not text or len(text) > MOST_OWN:
        return None
    chain, problems = read_link(text)
    return None if problems else chain
