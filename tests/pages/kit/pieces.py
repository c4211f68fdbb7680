"""Work in pieces, done to its end."""

from collections.abc import Generator
from typing import Any


def finished(pieces: Generator[Any, None, Any]) -> Any:
    """What a generator returns in the end."""
    while True:
        try:
            next(pieces)
        except StopIteration as stop:
            return stop.value
