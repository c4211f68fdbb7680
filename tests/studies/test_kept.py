"""Answers that are kept: asked once, never bent, the oldest out, nothing kept where kernels are forked from."""

import subprocess
import sys
from dataclasses import dataclass

import numpy as np
import pytest

from piezolab.studies.kept import forget, how_many, kept


@dataclass(frozen=True)
class Answer:
    level: np.ndarray
    by_name: dict[str, np.ndarray]


def counted(most: int):
    asked = []

    @kept(most)
    def ask(what: object, *more: object, **options: object) -> Answer:
        asked.append(what)
        return Answer(np.zeros(3), {"a": np.ones(2)})

    return ask, asked


def test_the_same_question_is_asked_once_and_arrays_are_told_apart_by_what_they_hold() -> None:
    ask, asked = counted(4)
    assert ask(np.array([1.0, 2.0])) is ask(np.array([1.0, 2.0]))
    ask(np.array([1.0, 3.0]))
    ask(np.array([[1.0, 2.0]]))
    ask(np.array([1.0, 2.0]), way=1)
    assert len(asked) == 4


def test_the_one_longest_unused_goes() -> None:
    ask, asked = counted(2)
    for what in (1, 2, 1, 3, 1, 2):  # 3 takes the place of 2
        ask(what)
    assert asked == [1, 2, 3, 2]


def test_no_array_in_an_answer_can_be_written_to() -> None:
    ask, _ = counted(2)
    answer = ask("x")
    for array in (answer.level, answer.by_name["a"]):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1.0


def test_what_cannot_be_hashed_is_asked_each_time() -> None:
    ask, asked = counted(2)
    ask({"a": 1})
    ask({"a": 1})
    assert len(asked) == 2


def test_forgetting_drops_all() -> None:
    ask, asked = counted(2)
    ask(1)
    forget()
    ask(1)
    assert asked == [1, 1] and sum(how_many().values()) == 1


def test_the_warm_process_keeps_nothing() -> None:
    """Kernels are forked from it: each would carry what it holds."""
    script = (
        "from piezolab.serving.warm import preload, wanted\n"
        "preload(wanted())\n"
        "import sys\n"
        "from piezolab.studies.kept import how_many\n"
        "assert len(how_many()) > 10, how_many()\n"
        "full = {name: count for name, count in how_many().items() if count}\n"
        "for module in list(sys.modules.values()):\n"
        "    if (getattr(module, '__name__', '') or '').startswith('piezolab.studies'):\n"
        "        for name, each in vars(module).items():\n"
        "            if hasattr(each, 'cache_info') and each.cache_info().currsize:\n"
        "                full[f'{module.__name__}.{name}'] = each.cache_info().currsize\n"
        "assert not full, full\n"
    )
    subprocess.run([sys.executable, "-c", script], check=True, timeout=120)
