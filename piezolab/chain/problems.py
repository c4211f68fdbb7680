"""What can be wrong with a chain, as sentences for people."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from piezolab.chain.parameter import Parameter, short


@dataclass(frozen=True)
class Problem:
    """What is wrong with one key: a sentence that starts with the control's label and gives value and allowed range."""

    key: str
    sentence: str

    @property
    def in_field(self) -> str:
        """The sentence at a field, which bears the label: without the link's word for it."""
        return self.sentence.replace(f" ({self.key}): ", ": ", 1)

    def __str__(self) -> str:
        return self.sentence


class ChainError(ValueError):
    """One or more values that a chain does not take; `problems` lists them."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(problem.sentence for problem in self.problems))

    def __reduce__(self) -> tuple[type[ChainError], tuple[tuple[Problem, ...]]]:
        return ChainError, (self.problems,)


def unknown_key(key: str, table: Mapping[str, Parameter]) -> str:
    """The sentence about a key that no chain has."""
    from difflib import get_close_matches

    shown = short(key, 40)
    like_a_key = len(key) <= 20 and key.isascii() and key.isidentifier()
    near = get_close_matches(key.lower(), list(table), n=1) if like_a_key else []
    hint = f"did you mean {near[0]!r}?" if near else "the keys are listed in the guide."
    return f"link: {shown!r} is not a key of a chain; {hint}"
