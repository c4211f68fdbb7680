"""What data/faults.toml knows: how common each kind of fault is, and the limits that the study decides by."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from piezolab.location import data_dir


class FaultDataError(ValueError):
    """data/faults.toml is wrong; the sentence names the place, the value and what is allowed."""


@dataclass(frozen=True)
class Limits:
    """The numbers of the table [limits]; shares are probabilities, `hot_w` W, `electrolytic_from` F."""

    healthy: float
    two: float
    slip: float
    stray: float
    hot_w: float
    short_share: float
    stop_share: float
    doubtful: float
    two_share: float
    clear_share: float
    read_share: float
    electrolytic_from: float
    unseen: float
    often_unseen: float
    try_share: float


@dataclass(frozen=True)
class Knowledge:
    """limits; weights: how common each kind is beside the others; worn: share of its cases in boards that had worked
    before; knocked: share that came with a drop or a knock; seen: share that an eye finds which compares the board with
    the drawing; texts: templates by table and key."""

    limits: Limits
    weights: Mapping[str, float]
    worn: Mapping[str, float]
    knocked: Mapping[str, float]
    seen: Mapping[str, float]
    texts: Mapping[str, Any]


_SHARES = {
    "healthy", "two", "slip", "stray", "short_share", "stop_share", "doubtful", "two_share", "clear_share",
    "read_share", "unseen", "often_unseen", "try_share",
}  # fmt: skip
_TABLES = ("kinds", "spots", "checks", "stop", "heard", "adapter", "unpowered")
NOT_KNOCKED = 0.02  # share of a kind's worn cases that came with a drop or a knock, where none is given
_KIND_TEXTS = ("mend", "reads", "shows", "source")


@cache
def knowledge() -> Knowledge:
    """The shipped table, read once. Raises FaultDataError."""
    return read(data_dir() / "faults.toml")


def read(path: Path) -> Knowledge:
    """A table of faults from a file. Raises FaultDataError on whatever is missing or out of range."""
    try:
        table = tomllib.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise FaultDataError(f"{path.name}: cannot be read: {error}") from error
    for name in ("limits", *_TABLES):
        if not isinstance(table.get(name), dict):
            raise FaultDataError(f"{path.name}: the table [{name}] is missing")
    limits = _limits(path, table["limits"])
    weights: dict[str, dict[str, float]] = {"weight": {}, "worn": {}, "knocked": {}, "seen": {}}
    for name, kind in table["kinds"].items():
        _check_kind(path, name, kind)
        for field, found in weights.items():
            found[name] = kind.get(field, NOT_KNOCKED * kind["worn"] if field == "knocked" else 0.0)
    texts = MappingProxyType({name: table[name] for name in _TABLES})
    return Knowledge(limits, *(MappingProxyType(each) for each in weights.values()), texts)


def _limits(path: Path, table: Mapping[str, Any]) -> Limits:
    """Raises FaultDataError on a limit that is missing or out of range."""
    limits = {}
    for item in fields(Limits):
        value = table.get(item.name)
        most = 1.0 if item.name in _SHARES else math.inf
        if not isinstance(value, float) or not 0 < value < most:
            allowed = "a share above 0 and below 1" if most == 1.0 else "a number above 0"
            raise FaultDataError(f"{path.name}, limits, {item.name}: {value!r} is not allowed; allowed is {allowed}")
        limits[item.name] = value
    if limits["healthy"] + limits["two"] >= 1:
        raise FaultDataError(f"{path.name}, limits, healthy: with two it must stay below 1")
    return Limits(**limits)


def _check_kind(path: Path, name: str, kind: Mapping[str, Any]) -> None:
    """Raises FaultDataError on a kind whose texts or shares are missing or out of range."""
    for text in _KIND_TEXTS:
        if not isinstance(kind.get(text), str) or not kind[text].strip():
            raise FaultDataError(f"{path.name}, kinds.{name}, {text}: {kind.get(text)!r}; allowed is a text")
    caution = kind.get("caution", "none")
    if not isinstance(caution, str) or not caution.strip():
        raise FaultDataError(f"{path.name}, kinds.{name}, caution: {caution!r}; allowed is a text, or none at all")
    for field in ("weight", "worn", "knocked", "seen"):
        share = kind.get(field, 0.0 if field in ("knocked", "seen") else None)
        if not isinstance(share, float) or not 0 <= share <= 1:
            raise FaultDataError(f"{path.name}, kinds.{name}, {field}: {share!r} is not allowed; allowed is 0.0 to 1.0")
