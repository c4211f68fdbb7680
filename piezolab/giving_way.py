"""Where long work gives way: whoever runs it may interrupt it there, and go on with it later or never.

The maths calls `give_way` between two pieces of some milliseconds; by itself that does nothing. A page that works
something out while nobody waits for it listens meanwhile (`pages/kit/at_rest.py`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

_listener: Callable[[], None] | None = None


def give_way() -> None:
    """May be interrupted here. Nothing that another piece of work reads may be half done."""
    if _listener is not None:
        _listener()


@contextmanager
def heard_by(listener: Callable[[], None]) -> Iterator[None]:
    """Within this, `listener` is called wherever work gives way."""
    global _listener
    before, _listener = _listener, listener
    try:
        yield
    finally:
        _listener = before
