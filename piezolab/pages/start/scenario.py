"""The invented instruments of the start page, as starting chains; read from data/instruments.toml."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache

from piezolab.chain import SignalChain
from piezolab.chain.link import from_link
from piezolab.location import data_dir

WORKSHOP = "Saltmarsh Instrument Workshop"


@dataclass(frozen=True)
class Instrument:
    """One instrument of the invented workshop: its label, what its maker wants to know, and its chain."""

    name: str
    label: str
    note: str
    chain: SignalChain


@cache
def instruments() -> tuple[Instrument, ...]:
    """All instruments, in the file's order. Raises ChainError where one's link is not right."""
    rows = tomllib.loads((data_dir() / "instruments.toml").read_text("utf-8"))
    return tuple(Instrument(name, row["label"], row["note"], from_link(row["link"])) for name, row in rows.items())
