"""Nodal equations of a network, and their solution for a whole batch at once.

Each coefficient is an array of its own (a plain number where it does not vary), so a batch, a sweep or both cost a few
numpy calls for each step of the elimination instead of one small matrix for each point.

Node rows do not store their diagonal. They keep the sum of the row (what leads to ground) and the negative off-diagonals,
and the diagonal is formed from them when it is needed: for passive networks no step then subtracts nearly equal numbers,
so 100 gigohm beside 100 ohm keeps its full precision. This is the star-mesh transformation; see W. K. Grassmann,
M. I. Taksar and D. P. Heyman, Operations Research 33 (1985) 1107-1116, for the idea in another field.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from piezolab.circuit.elements import GROUND
from piezolab.circuit.errors import SingularNetworkError

Value = complex | np.ndarray
Row = dict[str, Value]


class Equations:
    """Modified nodal equations A x = b. Unknowns are node voltages (V) and the currents (A) of branches.

    `transposed=True` collects the transposed matrix from the same calls; one solution of it gives the transfer
    from every place of the network to one output (the adjoint network).
    """

    def __init__(self, nodes: Iterable[str], *, transposed: bool = False) -> None:
        self.nodes = [node for node in nodes if node != GROUND]
        self.branches: dict[str, None] = {}  # an ordered set
        self.transposed = transposed
        self._off: dict[str, Row] = {node: {} for node in self.nodes}
        self._to_ground: dict[str, Value] = dict.fromkeys(self.nodes, 0.0)
        self._grounded_by_value: set[str] = set()  # nodes whose diagonal an admittance makes

    # -- collecting ---------------------------------------------------------------------------------------------
    def admittance(self, a: str, b: str, siemens: Value) -> None:
        """An admittance between a and b."""
        self.transadmittance(a, b, a, b, siemens)
        self._grounded_by_value.update((a, b))

    def transadmittance(self, a: str, b: str, plus: str, minus: str, siemens: Value) -> None:
        """A current siemens*(v(plus) - v(minus)) from a to b."""
        if self.transposed:
            a, b, plus, minus = plus, minus, a, b
        for row, sign in ((a, 1), (b, -1)):
            if row == GROUND or a == b or plus == minus:
                continue
            signed = siemens if sign > 0 else -siemens
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
        self._off[name] = {}
        self._to_ground[name] = 0.0
        for node, sign in ((a, 1.0), (b, -1.0)):
            if node != GROUND and a != b:
                self._add(name, node, sign)
                self._off[node][name] = self._off[node].get(name, 0.0) + sign
        if a != b and b == GROUND:
            self._to_ground[name] = 1.0
        elif a != b and a == GROUND:
            self._to_ground[name] = -1.0
        if np.any(np.asarray(impedance) != 0):
            self._off[name][name] = -impedance

    def control(self, row: str, column: str, value: Value) -> None:
        """A single coefficient that couples a branch to something else."""
        if GROUND in (row, column):
            return
        if self.transposed:
            row, column = column, row
        self._add(row, column, value)
        if row in self._off and column in self.nodes and (row != column):
            self._to_ground[row] = self._to_ground[row] + value

    def _add(self, row: str, column: str, value: Value) -> None:
        cells = self._off[row]
        cells[column] = cells[column] + value if column in cells else value

    # -- solving ------------------------------------------------------------------------------------------------
    def solve(self, *sides: dict[str, Value]) -> list[dict[str, Value]]:
        """Solutions for one or more right-hand sides (row name -> value); each maps unknown -> value.

        Raises SingularNetworkError with the name of the node or branch where the elimination breaks down.
        """
        off = {row: dict(cells) for row, cells in self._off.items()}
        sums = dict(self._to_ground)
        implicit = set(self.nodes)  # rows whose diagonal is sum minus off-diagonals
        rhs = [dict(side) for side in sides]
        steps: list[tuple[str, str, Row, Value]] = []
        for row, column in self._order():
            cells = off.pop(row)
            total = sums.pop(row)
            if row in implicit and row == column:
                pivot = self._diagonal(total, cells)
            else:
                if row in implicit:  # the diagonal is an ordinary coefficient of this row
                    cells[row] = self._diagonal(total, cells)
                pivot = cells.pop(column, 0.0)
            if np.any(np.asarray(pivot) == 0):
                raise SingularNetworkError(f"the equations have no unique solution at {row!r}")
            inverse = 1.0 / pivot
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
                sums[other] = sums[other] - factor * total
                for side in rhs:
                    if row in side:
                        side[other] = side.get(other, 0.0) - factor * side[row]
            steps.append((row, column, cells, inverse))
        answers: list[dict[str, Value]] = []
        for side in rhs:
            found: dict[str, Value] = {}
            for row, column, cells, inverse in reversed(steps):
                value = side.get(row, 0.0)
                for name, coefficient in cells.items():
                    value = value - coefficient * found[name]
                found[column] = value * inverse
            answers.append(found)
        for found in answers:
            for name, value in found.items():
                if not np.all(np.isfinite(value)):
                    raise SingularNetworkError(f"the equations have no finite solution at {name!r}")
        return answers

    def _diagonal(self, total: Value, cells: Row) -> Value:
        value = total
        for name, coefficient in cells.items():
            if name not in self.branches:
                value = value - coefficient
        return value

    def _order(self) -> list[tuple[str, str]]:
        """Pivots (row, column) of least fill-in, from the pattern alone.

        Branch rows go first, over one of their own nodes (coefficient 1); a node then pivots on its diagonal where an
        admittance makes one, or else on the branch current that it gained.
        """
        key = (
            self.transposed,
            tuple((row, tuple(cells)) for row, cells in self._off.items()),
            frozenset(self._grounded_by_value),
        )
        if key not in _ORDERS:
            if len(_ORDERS) > 512:
                _ORDERS.clear()
            _ORDERS[key] = self._find_order()
        return _ORDERS[key]

    def _find_order(self) -> list[tuple[str, str]]:
        branches = self.branches
        pattern = {row: set(cells) for row, cells in self._off.items()}
        for node in self.nodes:
            if node in self._grounded_by_value:
                pattern[node].add(node)
        order: list[tuple[str, str]] = []
        while pattern:
            best: tuple[tuple[int, int], str, str] | None = None
            for row, columns in pattern.items():
                for column in columns:
                    if row in branches:
                        rank = 0 if column not in branches else 2
                    else:
                        rank = 1 if column == row or column in branches else 3
                    reach = sum(column in others for others in pattern.values()) - 1
                    cost = (rank, (len(columns) - 1) * reach)
                    if best is None or cost < best[0]:
                        best = (cost, row, column)
            if best is None:
                missing = next(iter(pattern))
                raise SingularNetworkError(f"nothing determines the voltage or current at {missing!r}")
            _, row, column = best
            columns = pattern.pop(row) - {column}
            for others in pattern.values():
                if column in others:
                    others.discard(column)
                    others |= columns
            order.append((row, column))
        return order


_ORDERS: dict[object, list[tuple[str, str]]] = {}


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
