"""Texts of advice, from data/advice.toml: words and assumed ranges. What a step brings is computed in studies."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from piezolab.catalogue.data_folder import data_dir
from piezolab.catalogue.schema import CatalogueError

AGAINST = ("room", "cord", "ripple", "loop", "hiss")


@dataclass(frozen=True)
class AdviceText:
    """One step: what it is against, how to say it, a caution where there is one.

    range_db: an assumed range (lower, upper) where nothing can be computed.
    """

    name: str
    against: str
    title: str
    text: str
    source: str
    caution: str = ""
    range_db: tuple[float, float] | None = None


@cache
def advice_texts() -> Mapping[str, AdviceText]:
    """All texts by name, in the file's order. Raises CatalogueError naming row and field."""
    with (data_dir() / "advice.toml").open("rb") as stream:
        tables = tomllib.load(stream)
    return MappingProxyType({name: read_row(name, table) for name, table in tables.items()})


def read_row(name: str, table: Mapping[str, object]) -> AdviceText:
    """One row, checked."""
    for field in ("against", "title", "text", "source"):
        if not isinstance(table.get(field), str) or not table[field]:
            raise CatalogueError(f"advice.toml, row {name}, field {field}: {table.get(field)!r}; allowed: some words")
    if table["against"] not in AGAINST:
        allowed = ", ".join(AGAINST)
        raise CatalogueError(f"advice.toml, row {name}, field against: {table['against']!r}; allowed: {allowed}")
    span = table.get("range_db")
    if span is not None and not (isinstance(span, list) and len(span) == 2 and 0 <= span[0] <= span[1] <= 120):
        raise CatalogueError(f"advice.toml, row {name}, field range_db: {span!r}; allowed: two rising dB from 0 to 120")
    unknown = set(table) - {"against", "title", "text", "source", "caution", "range_db"}
    if unknown:
        raise CatalogueError(f"advice.toml, row {name}: unknown field {sorted(unknown)[0]!r}")
    return AdviceText(
        name,
        str(table["against"]),
        str(table["title"]),
        str(table["text"]),
        str(table["source"]),
        str(table.get("caution", "")),
        (float(span[0]), float(span[1])) if span is not None else None,
    )
