"""SignalChain: the single source of truth that sliders write, figures read and links carry."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from types import MappingProxyType
from typing import Any

from piezolab import catalogue
from piezolab.chain.defaults import default
from piezolab.chain.parameter import ParameterError
from piezolab.chain.parameters import all_parameters
from piezolab.chain.problems import ChainError, Problem, unknown_key
from piezolab.chain.resolve import contradictions, resolved
from piezolab.chain.stages import Stage, stage_named
from piezolab.chain.stages.second_transistor import TYPE as SECOND_TYPE
from piezolab.chain.values import Values


class SignalChain:
    """An immutable chain. Only what differs from the defaults is held, so equal chains compare equal.

    Values are given and read by link key (`chain["gate_r"]`, `chain.gate_r`), in SI units. Raises ChainError listing
    every bad key and value; nothing is replaced silently.
    """

    __slots__ = ("__dict__", "_entered")
    _entered: Mapping[str, Any]

    def __init__(self, values: Mapping[str, Any] | None = None, /, **more: Any) -> None:
        entered, problems = _checked({**(values or {}), **more})
        if problems:
            raise ChainError(problems)
        object.__setattr__(self, "_entered", MappingProxyType(entered))

    @classmethod
    def _holding(cls, entered: dict[str, Any]) -> SignalChain:
        """A chain of what `_checked` has found good."""
        chain = object.__new__(cls)
        object.__setattr__(chain, "_entered", MappingProxyType(entered))
        return chain

    # -- reading ------------------------------------------------------------------------------------------------
    def __getitem__(self, key: str) -> Any:
        if key in self._entered:
            return self._entered[key]
        return default(key, self._entered)

    def __getattr__(self, key: str) -> Any:
        if key.startswith("_"):
            raise AttributeError(key)
        try:
            return self[key]
        except KeyError:
            raise AttributeError(f"a chain has no value {key!r}") from None

    @property
    def entered(self) -> Mapping[str, Any]:
        """What differs from the defaults, by key, in the link's order."""
        return self._entered

    @property
    def topology(self) -> Stage:
        """The stage of this chain."""
        return stage_named(self.stage)

    @property
    def transistor_measured(self) -> bool:
        """Whether I_DSS and V_GS(off) of all transistors were entered: the figures are about the parts in hand."""
        return all(self.measured(key) for key in ("jfet", *((SECOND_TYPE,) if self.topology.has(SECOND_TYPE) else ())))

    def measured(self, key: str) -> bool:
        """Whether I_DSS and V_GS(off) were entered of the transistor whose type has that key."""
        return f"{key}_idss" in self._entered and f"{key}_vgsoff" in self._entered

    @property
    def type_number(self) -> str:
        """What is printed on the transistor, whatever row of the catalogue its figures come from."""
        return catalogue.transistors()[self.jfet].type_number

    # -- changing -----------------------------------------------------------------------------------------------
    def but(self, changes: Mapping[str, Any] | None = None, /, **more: Any) -> SignalChain:
        """A new chain with some values changed; None takes a value back to its default. Raises ChainError."""
        merged = {**self._entered, **(changes or {}), **more}
        return SignalChain({key: value for key, value in merged.items() if value is not None})

    # -- identity -----------------------------------------------------------------------------------------------
    def __eq__(self, other: object) -> bool:
        return isinstance(other, SignalChain) and dict(self._entered) == dict(other._entered)

    def __hash__(self) -> int:
        return hash(tuple(self._entered.items()))

    def __setattr__(self, key: str, value: object) -> None:
        raise AttributeError("a chain cannot be changed; use `but`")

    def __delattr__(self, key: str) -> None:
        raise AttributeError("a chain cannot be changed; use `but`")

    def __reduce__(self) -> tuple[type[SignalChain], tuple[dict[str, Any]]]:
        return SignalChain, (dict(self._entered),)

    def __repr__(self) -> str:
        inside = ", ".join(f"{key}={value!r}" for key, value in self._entered.items())
        return f"SignalChain({inside})"

    # -- resolving ----------------------------------------------------------------------------------------------
    @cached_property
    def values(self) -> Values:
        """Every key with its number, what comes from transistor type, battery and input kind resolved."""
        return resolved(self.__getitem__)


def _checked(values: Mapping[str, Any]) -> tuple[dict[str, Any], list[Problem]]:
    """Canonical values in the link's order, defaults left out, and what was wrong (those keys left out too)."""
    table = all_parameters()
    problems: list[Problem] = []
    good: dict[str, Any] = {}
    for key in values:
        if key not in table:
            problems.append(Problem(str(key), unknown_key(str(key), table)))
    for key, parameter in table.items():
        if key in values:
            try:
                good[key] = parameter.check(values[key])
            except ParameterError as error:
                problems.append(Problem(key, str(error)))
    entered = _differing(good)
    while found := contradictions(entered):  # a default that comes back may contradict the next
        problems += found
        for problem in found:
            del good[problem.key]
        entered = _differing(good)
    return entered, problems


def _differing(good: Mapping[str, Any]) -> dict[str, Any]:
    """What differs from the defaults that go with it."""
    return {key: value for key, value in good.items() if value != default(key, good)}


def checked_leniently(values: Mapping[str, Any]) -> tuple[SignalChain, tuple[Problem, ...]]:
    """A chain from what is good, and the problems of what is not: those keys keep their defaults."""
    entered, problems = _checked(values)
    return SignalChain._holding(entered), tuple(problems)
