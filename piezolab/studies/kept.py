"""Answers that are kept: a study asked the same again hands back what it found, and nobody can bend it.

A few of each, the one longest unused goes first. What is kept belongs to this process alone: importing asks nothing, so
a process that others are forked from holds none.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from functools import wraps
from threading import RLock
from typing import Any, ParamSpec, TypeVar

import numpy as np

P, R = ParamSpec("P"), TypeVar("R")
_STORES: dict[str, OrderedDict[Any, Any]] = {}
_LOCK = RLock()


def kept(most: int) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """A function whose latest answers are kept, at most `most` of them; their arrays become read-only.

    Arguments may be arrays; where anything else among them cannot be hashed, the function is asked each time. What it
    answers must depend on its arguments alone.
    """

    def keeping(ask: Callable[P, R]) -> Callable[P, R]:
        store = _STORES[f"{ask.__module__}.{ask.__qualname__}"] = OrderedDict()

        @wraps(ask)
        def asked(*args: P.args, **options: P.kwargs) -> R:
            key = tuple(_key(each) for each in (*args, *sorted(options.items())))
            try:
                hash(key)
            except TypeError:
                return read_only(ask(*args, **options))
            with _LOCK:
                if key in store:
                    store.move_to_end(key)
                    return store[key]
            answer = read_only(ask(*args, **options))
            with _LOCK:
                store[key] = answer
                while len(store) > most:
                    store.popitem(last=False)
            return answer

        return asked

    return keeping


def forget() -> None:
    """Drop all that is kept."""
    with _LOCK:
        for store in _STORES.values():
            store.clear()


def how_many() -> dict[str, int]:
    """How many answers are kept of each function."""
    with _LOCK:
        return {name: len(store) for name, store in _STORES.items()}


def read_only(answer: Any) -> Any:
    """The same answer with every array in it read-only: in dataclasses, tuples, lists and mappings."""
    if isinstance(answer, np.ndarray):
        answer.setflags(write=False)
    elif is_dataclass(answer) and not isinstance(answer, type):
        for field in fields(answer):
            read_only(getattr(answer, field.name))
    elif isinstance(answer, Mapping):
        for value in answer.values():
            read_only(value)
    elif isinstance(answer, tuple | list):
        for value in answer:
            read_only(value)
    return answer


def _key(argument: Any) -> Any:
    if isinstance(argument, np.ndarray):
        return argument.shape, argument.dtype.str, argument.tobytes()
    if isinstance(argument, tuple) and any(isinstance(each, np.ndarray) for each in argument):
        return tuple(_key(each) for each in argument)
    return argument
