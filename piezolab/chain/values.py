"""The numbers of one chain, or of a batch of builds of it: every link key with its value resolved, in SI units."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any


class Values:
    """Resolved values by link key, as attributes (`return` is read with `values["return"]`). Immutable.

    Numbers may be arrays that broadcast together (a batch of builds); words stay words.
    """

    __slots__ = ("_values",)

    def __init__(self, values: Mapping[str, Any]) -> None:
        object.__setattr__(self, "_values", MappingProxyType(dict(values)))

    def __getattr__(self, key: str) -> Any:
        try:
            return self._values[key]
        except KeyError:
            raise AttributeError(f"a chain has no value {key!r}") from None

    def __getitem__(self, key: str) -> Any:
        return self._values[key]

    def __setattr__(self, key: str, value: object) -> None:
        raise AttributeError("values cannot be changed; use `but`")

    def __delattr__(self, key: str) -> None:
        raise AttributeError("values cannot be changed; use `but`")

    def __reduce__(self) -> tuple[type[Values], tuple[dict[str, Any]]]:
        return Values, (dict(self._values),)

    def but(self, **changes: Any) -> Values:
        """The values with some replaced. Raises KeyError on an unknown key."""
        for key in changes:
            if key not in self._values:
                raise KeyError(f"a chain has no value {key!r}")
        return Values({**self._values, **changes})

    def as_dict(self) -> dict[str, Any]:
        """A plain copy."""
        return dict(self._values)
