"""The catalogue: transistors, inputs, cables, batteries and pickups, read once from data/*.toml.

Each function returns a read-only mapping from row name (the word used in share links) to a frozen row, in the
file's order. Rows never change within a link format: a corrected row gets a new name.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import TypeVar

from piezolab.catalogue.data_folder import data_dir
from piezolab.catalogue.kinds import HOURS_A_YEAR, BatteryKind, CableKind, ClampKind, InputKind, PickupKind
from piezolab.catalogue.schema import CatalogueError, Row, build_row, spelled_out
from piezolab.catalogue.transistor import TransistorType, square_law_intercept

__all__ = [
    "HOURS_A_YEAR",
    "BatteryKind",
    "CableKind",
    "CatalogueError",
    "ClampKind",
    "InputKind",
    "PickupKind",
    "Row",
    "TransistorType",
    "batteries",
    "cables",
    "clamps",
    "data_dir",
    "default_battery",
    "default_cable",
    "default_clamp",
    "default_input",
    "default_pickup",
    "default_transistor",
    "inputs",
    "load_file",
    "offered",
    "pickups",
    "spelled_out",
    "square_law_intercept",
    "transistors",
]

RowKind = TypeVar("RowKind", bound=Row)


def load_file(path: Path, kind: type[RowKind]) -> Mapping[str, RowKind]:
    """Read and check one catalogue file; exactly one row carries ``default = true``.

    Raises:
        CatalogueError: the file cannot be read, is not TOML, or a row is wrong; the sentence names the place.
    """
    try:
        with path.open("rb") as stream:
            tables = spelled_out(path.name, tomllib.load(stream))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise CatalogueError(f"{path.name}: cannot be read: {error}") from error
    rows = {name: build_row(kind, path.name, name, table) for name, table in tables.items()}
    marked = [name for name, row in rows.items() if row.default]
    if len(marked) != 1:
        found = " and ".join(marked) or "no row"
        raise CatalogueError(
            f"{path.name}, field default: {found} has it; allowed: exactly one row with default = true"
        )
    return MappingProxyType(rows)


def offered(rows: Mapping[str, RowKind]) -> Mapping[str, RowKind]:
    """The rows to choose from: where a later row corrects one that old links name, the later one in its place."""
    stands = {row.corrects: name for name, row in rows.items() if row.corrects}
    names = [stands.get(name, name) for name, row in rows.items() if not row.corrects]
    return {name: rows[name] for name in names}


def _default(rows: Mapping[str, Row]) -> str:
    return next(name for name, row in rows.items() if row.default)


@cache
def transistors() -> Mapping[str, TransistorType]:
    """JFET types by type number."""
    return load_file(data_dir() / "transistors.toml", TransistorType)


@cache
def inputs() -> Mapping[str, InputKind]:
    """Kinds of input by name."""
    return load_file(data_dir() / "inputs.toml", InputKind)


@cache
def cables() -> Mapping[str, CableKind]:
    """Kinds of pickup lead and output cable by name."""
    return load_file(data_dir() / "cables.toml", CableKind)


@cache
def clamps() -> Mapping[str, ClampKind]:
    """Parts that keep a gate within bounds, by name."""
    return load_file(data_dir() / "clamps.toml", ClampKind)


@cache
def batteries() -> Mapping[str, BatteryKind]:
    """Kinds of battery by name. A mains adapter is not among them."""
    return load_file(data_dir() / "batteries.toml", BatteryKind)


@cache
def pickups() -> Mapping[str, PickupKind]:
    """Kinds of piezo pickup by name."""
    return load_file(data_dir() / "pickups.toml", PickupKind)


def default_transistor() -> str:
    """Name of the default transistor type."""
    return _default(transistors())


def default_input() -> str:
    """Name of the default kind of input."""
    return _default(inputs())


def default_cable() -> str:
    """Name of the default output cable."""
    return _default(cables())


def default_clamp() -> str:
    """Name of the default part that keeps a gate within bounds."""
    return _default(clamps())


def default_battery() -> str:
    """Name of the default battery."""
    return _default(batteries())


def default_pickup() -> str:
    """Name of the default pickup."""
    return _default(pickups())
