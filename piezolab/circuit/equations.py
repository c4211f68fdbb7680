"""Nodal equations of a network, and their solution for a whole batch at once.

Each coefficient is an array of its own (a plain number where it does not vary), so a batch, a sweep or both cost a few
numpy calls for each step of the elimination instead of one small matrix for each point.

Node rows do not store their diagonal. They keep the sum of the row (what leads to ground) and the negative
off-diagonals, and the diagonal is formed from them when it is needed: for passive networks no step then subtracts
nearly equal numbers, so 100 gigohm beside 100 ohm keeps its full precision. This is the star-mesh transformation; see
W. K. Grassmann, M. I. Taksar and D. P. Heyman, Operations Research 33 (1985) 1107-1116, for the idea in another field.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from piezolab.circuit.elements import GROUND
from piezolab.circuit.errors import SingularNetworkError

Value = complex | np.ndarray
Row = dict[str, Value]
Order = list[tuple[str, str, bool]]  # row, column, and whether the column's value is asked for


class Equations:
    """Modified nodal equations A x = b. Unknowns are node voltages (V) and the currents (A) of branches.

    `transposed=True` collects the transposed matrix from the same calls; one solution of it gives the transfer
    from every place of the network to one output (the adjoint network). No branch may bear the name of a node.
    """

    def __init__(self, nodes: Iterable[str], *, transposed: bool = False) -> None:
        self.nodes = [node for node in nodes if node != GROUND]
        self.branches: dict[str, None] = {}  # an ordered set
        self.transposed = transposed
        self._off: dict[str, Row] = {node: {} for node in self.nodes}
        self._to_ground: dict[str, Value] = dict.fromkeys(self.nodes, 0.0)
        self._admitting: set[str] = set()  # nodes whose diagonal an admittance makes
        self._controlled: set[str] = set()  # nodes whose diagonal a controlled current makes or changes
        self._own: set[tuple[str, str]] = set()  # (branch, node) coefficients that are 1 or -1 for certain
        self._unsure: set[tuple[str, str]] = set()  # coefficients that a control makes or changes

    # -- collecting ---------------------------------------------------------------------------------------------
    def admittance(self, a: str, b: str, siemens: Value) -> None:
        """An admittance between a and b."""
        if a == b:
            return
        self._admitting.update((a, b))
        for row, other in ((a, b), (b, a)):
            if row == GROUND:
                continue
            if other == GROUND:
                self._to_ground[row] = self._to_ground[row] + siemens
            else:
                self._add(row, other, -siemens)

    def transadmittance(self, a: str, b: str, plus: str, minus: str, siemens: Value) -> None:
        """A current siemens*(v(plus) - v(minus)) from a to b."""
        if a == b or plus == minus:
            return
        if self.transposed:
            a, b, plus, minus = plus, minus, a, b
        for row, signed in ((a, siemens), (b, -siemens)):
            if row == GROUND:
                continue
            if row in (plus, minus):
                self._controlled.add(row)
            if plus not in (GROUND, row):
                self._add(row, plus, signed)
            if minus not in (GROUND, row):
                self._add(row, minus, -signed)
            if minus == GROUND:
                self._to_ground[row] = self._to_ground[row] + signed
            elif plus == GROUND:
                self._to_ground[row] = self._to_ground[row] - signed

    def branch(self, name: str, a: str, b: str, impedance: Value = 0.0) -> None:
        """A branch current as unknown, from a to b, with v(a) - v(b) - impedance * i = (right-hand side)."""
        self.branches[name] = None
        cells = self._off.setdefault(name, {})
        self._to_ground.setdefault(name, 0.0)
        for node, sign in ((a, 1.0), (b, -1.0)):
            if node != GROUND and a != b:
                self._add(name, node, sign)
                self._add(node, name, sign)
                if (name, node) not in self._unsure:
                    self._own.add((name, node))
        if a != b and b == GROUND:
            self._to_ground[name] = self._to_ground[name] + 1.0
        elif a != b and a == GROUND:
            self._to_ground[name] = self._to_ground[name] - 1.0
        if a == b or (impedance != 0 if isinstance(impedance, int | float | complex) else np.any(impedance)):
            cells[name] = -impedance

    def control(self, row: str, column: str, value: Value) -> None:
        """A single coefficient that couples a branch to something else."""
        if GROUND in (row, column):
            return
        if self.transposed:
            row, column = column, row
        self._add(row, column, value)
        self._own.discard((row, column))
        self._unsure.add((row, column))
        if column in self.nodes:
            self._to_ground[row] = self._to_ground.get(row, 0.0) + value

    def _add(self, row: str, column: str, value: Value) -> None:
        cells = self._off.setdefault(row, {})
        cells[column] = cells[column] + value if column in cells else value

    # -- solving ------------------------------------------------------------------------------------------------
    def solve(self, *sides: dict[str, Value], wanted: Iterable[str] | None = None) -> list[dict[str, Value]]:
        """Solutions for one or more right-hand sides (row name -> value); each maps unknown -> value.

        With `wanted` only what these unknowns depend on is worked out, and the answer may hold little else.
        Raises SingularNetworkError with the name of the node or branch where the elimination breaks down.
        """
        order = self._order(None if wanted is None else frozenset(wanted))
        rhs = [dict(side) for side in sides]
        steps: list[Step] = []
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            try:
                self._eliminate(order, rhs, steps)
            except ZeroDivisionError:  # a pivot that does not vary over the batch
                raise SingularNetworkError(
                    f"the equations have no unique solution at {order[len(steps)][0]!r}"
                ) from None
            answers = [_substitute(steps, side) for side in rhs]
        for found in answers:
            for name, value in found.items():
                if not np.isfinite(value).all():
                    bad = (row for row, _, _, inverse in steps if not np.isfinite(inverse).all())
                    raise SingularNetworkError(f"the equations have no unique solution at {next(bad, name)!r}")
        return answers

    def _eliminate(self, order: Order, rhs: list[dict[str, Value]], steps: list[Step]) -> None:
        off = {row: self._off[row].copy() for row, _, _ in order}
        sums = self._to_ground.copy()
        implicit = set(self.nodes)  # rows whose diagonal is sum minus off-diagonals
        for row, column, kept in order:
            cells = off.pop(row)
            total = sums[row]
            if row in implicit:
                diagonal = self._diagonal(total, cells)
                if row == column:
                    pivot = diagonal
                else:  # the diagonal is an ordinary coefficient of this row
                    cells[row] = diagonal
                    pivot = cells.pop(column, 0.0)
            else:
                pivot = cells.pop(column, 0.0)
            inverse = 1.0 / pivot
            moving = isinstance(total, np.ndarray) or total != 0
            for other, there in off.items():
                if column == other and other in implicit:
                    factor = self._diagonal(sums[other], there) * inverse
                    implicit.discard(other)
                elif column in there:
                    factor = there.pop(column) * inverse
                else:
                    continue
                for name, value in cells.items():
                    if name == other and other in implicit:
                        continue  # the diagonal follows from the sum
                    there[name] = there[name] - factor * value if name in there else -factor * value
                if moving:
                    sums[other] = sums[other] - factor * total
                for side in rhs:
                    if row in side:
                        change = factor * side[row]
                        side[other] = side[other] - change if other in side else -change
            steps.append((row, column if kept else None, cells, inverse))

    def _diagonal(self, total: Value, cells: Row) -> Value:
        value = total
        for name, coefficient in cells.items():
            if name not in self.branches:
                value = value - coefficient
        return value

    def _order(self, wanted: frozenset[str] | None) -> Order:
        """Pivots (row, column) of least fill-in, from the pattern alone, kept for the next network of this shape."""
        key = (
            self.transposed,
            wanted,
            tuple(self.branches),
            tuple((row, *cells) for row, cells in self._off.items()),
            frozenset(self._admitting),
            frozenset(self._controlled),
            frozenset(self._own),
            frozenset(self._unsure),
        )
        if key not in _ORDERS:
            if len(_ORDERS) > 512:
                _ORDERS.clear()
            _ORDERS[key] = self._find_order(wanted)
        return _ORDERS[key]

    def _find_order(self, wanted: frozenset[str] | None) -> Order:
        """Branch rows go first, over one of their own nodes (coefficient 1); a node then pivots on its diagonal where
        an admittance makes one, or else on the branch current that it gained, or on what a controlled current makes.
        """
        branches, own = self.branches, set(self._own)
        pattern = {row: set(cells) for row, cells in self._off.items()}
        for node in self.nodes:
            if node in self._admitting or node in self._controlled:
                pattern[node].add(node)
        steps: list[tuple[str, str, set[str], set[str]]] = []
        while pattern:
            best: tuple[tuple[int, int], str, str] | None = None
            for row, columns in pattern.items():
                for column in columns:
                    if row in branches:
                        rank = 0 if (row, column) in own else 3 if column in branches else 4
                    elif column == row:
                        rank = 1 if row in self._admitting else 2
                    else:
                        rank = 1 if column in branches and (row, column) not in self._unsure else 5
                    reach = sum(column in others for others in pattern.values()) - 1
                    cost = (rank, (len(columns) - 1) * reach)
                    if best is None or cost < best[0]:
                        best = (cost, row, column)
            if best is None:
                missing = next(iter(pattern))
                raise SingularNetworkError(f"nothing determines the voltage or current at {missing!r}")
            _, row, column = best
            columns = pattern.pop(row) - {column}
            reached = {other for other, others in pattern.items() if column in others}
            for other in reached:
                pattern[other].discard(column)
                if (row, column) in own:  # v(a) = v(b) + ...: where v(a) stood with 1, v(b) stands with 1 now
                    fresh = {c for c in columns if (row, c) in own and c not in pattern[other]}
                    own |= {(other, c) for c in fresh if (other, column) in own}
                own -= {(other, c) for c in columns & pattern[other]}
                pattern[other] |= columns
            steps.append((row, column, columns, reached))
        return _needed(steps, wanted)


Step = tuple[str, str | None, Row, Value]  # row, column if asked for, the row's other coefficients, 1 / pivot
_ORDERS: dict[object, Order] = {}


def _substitute(steps: list[Step], side: dict[str, Value]) -> dict[str, Value]:
    found: dict[str, Value] = {}
    for row, column, cells, inverse in reversed(steps):
        if column is None:
            continue
        value = side.get(row, 0.0)
        for name, coefficient in cells.items():
            value = value - coefficient * found[name]
        found[column] = value * inverse
    return found


def _needed(
    steps: list[tuple[str, str, set[str], set[str]]], wanted: frozenset[str] | None
) -> Order:
    """The steps on which the wanted unknowns depend: their own rows, and all that is eliminated from these."""
    if wanted is None:
        return [(row, column, True) for row, column, _, _ in steps]
    unknowns, rows = set(wanted), set()
    for row, column, columns, _ in steps:
        if column in unknowns:
            unknowns |= columns
            rows.add(row)
    for row, _, _, reached in reversed(steps):
        if reached & rows:
            rows.add(row)
    return [(row, column, column in unknowns) for row, column, _, _ in steps if row in rows]


def dense(equations: Equations) -> tuple[np.ndarray, Sequence[str]]:
    """The same equations as one matrix (..., n, n) and the names of its rows and columns, for checks."""
    names = [*equations.nodes, *equations.branches]
    place = {name: k for k, name in enumerate(names)}
    values = [value for cells in equations._off.values() for value in cells.values()]
    values += list(equations._to_ground.values())
    shape = np.broadcast_shapes(*(np.shape(value) for value in values))
    kind = np.result_type(*values) if values else float
    matrix = np.zeros((*shape, len(names), len(names)), kind)
    for row, cells in equations._off.items():
        for column, value in cells.items():
            matrix[..., place[row], place[column]] += value
        if row in equations.nodes:
            matrix[..., place[row], place[row]] += equations._diagonal(equations._to_ground[row], cells)
    return matrix, names
