"""What is left of the nodal equations once they are eliminated, and how right-hand sides go through it."""

from __future__ import annotations

import numpy as np

from piezolab.circuit.errors import SingularNetworkError
from piezolab.giving_way import give_way

Value = complex | np.ndarray
Coefficients = dict[str, Value]
#: One step: row, column, whether its unknown is wanted, the other coefficients, 1 / pivot, factors for other rows,
#: and where row and branch have kept their places.
Elimination = tuple[str, str, bool, Coefficients, Value, Coefficients, np.ndarray | None]


def substituted(
    steps: list[Elimination], side: dict[str, Value], enough: frozenset[str] = frozenset()
) -> dict[str, Value]:
    """The unknowns by column for a right-hand side by row; with `enough` no more than what these depend on."""
    side, found, lacking = side.copy(), {}, set(enough)
    for row, column, _, _, _, factors, stays in steps:
        give_way()
        if stays is not None and (row in side or column in side):
            mine, other = side.get(row, 0.0), side.get(column, 0.0)
            side[row], side[column] = np.where(stays, mine, other), np.where(stays, other, mine)
        if row in side:
            for other, factor in factors.items():
                change = factor * side[row]
                side[other] = side[other] - change if other in side else -change
    for row, column, kept, cells, inverse, _, _ in reversed(steps):
        give_way()
        if kept:
            value = side.get(row, 0.0)
            for name, coefficient in cells.items():
                value = value - coefficient * found[name]
            found[column] = value * inverse
            lacking.discard(column)
            if enough and not lacking:
                break
    return found


def substituted_adjoint(steps: list[Elimination], output: dict[str, Value]) -> dict[str, Value]:
    """The unknowns of the transposed equations: by row, for an output by column."""
    output, found = output.copy(), {}
    for row, column, _, cells, inverse, _, _ in steps:
        value = output.get(column, 0.0) * inverse
        if isinstance(value, np.ndarray) or value != 0:
            for name, coefficient in cells.items():
                change = coefficient * value
                output[name] = output[name] - change if name in output else -change
        found[row] = value
    for row, column, _, _, _, factors, stays in reversed(steps):
        for other, factor in factors.items():
            found[row] = found[row] - factor * found[other]
        if stays is not None:
            mine, other = found[row], found[column]
            found[row], found[column] = np.where(stays, mine, other), np.where(stays, other, mine)
    return found


def checked(answers: list[dict[str, Value]], steps: list[Elimination]) -> list[dict[str, Value]]:
    """The answers. Raises SingularNetworkError naming the row that left them without a finite value."""
    for found in answers:
        give_way()
        for name, value in found.items():
            if not np.isfinite(value).all():
                bad = (row for row, _, _, _, inverse, _, _ in steps if not np.isfinite(inverse).all())
                raise SingularNetworkError(f"the equations have no unique solution at {next(bad, name)!r}")
    return answers
