"""Prices for the parts list, from a TOML file: the invented ones of the demonstration, or the user's own."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

from piezolab.chain.parameter import ParameterError
from piezolab.location import data_dir
from piezolab.studies.build_options import OPTIONS

MOST = 1e6


class PriceError(ValueError):
    """A price file that cannot be used; the message is one sentence with field, value and allowed range."""


@dataclass(frozen=True)
class Prices:
    """currency: a label; invented: whether they stand in for the user's own; of: price of one piece by kind."""

    currency: str
    invented: bool
    of: Mapping[str, float]

    def show(self, amount: float) -> str:
        """An amount with its currency."""
        return f"{amount:.2f} {self.currency}"


def read_prices(path: Path | None = None, currency: str | None = None) -> Prices:
    """Prices from a file, or those of the demonstration. currency: another label. Raises PriceError."""
    path = path or data_dir() / "prices.toml"
    try:
        table = tomllib.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise PriceError(f"prices: {path.name} cannot be read ({error}); allowed is a TOML file.") from None
    try:
        label = OPTIONS["currency"].check(currency if currency is not None else table.get("currency", ""))
    except ParameterError as error:
        raise PriceError(str(error)) from None
    found = table.get("price", {})
    if not isinstance(found, dict):
        raise PriceError(f"prices: {found!r} cannot be used; allowed is a table of prices by kind.")
    for kind, price in found.items():
        if isinstance(price, bool) or not isinstance(price, int | float) or not 0 <= price <= MOST:
            raise PriceError(f"prices, {kind}: {price!r} cannot be used; allowed is 0 to {MOST:g}.")
    return Prices(label, bool(table.get("invented", False)), MappingProxyType(dict(found)))
