"""Nodal equations of a network, and their solution for a whole batch at once.

Each coefficient is an array of its own (a plain number where it does not vary), so a batch, a sweep or both cost a few
numpy calls for each step of the elimination instead of one small matrix for each point.

Node rows do not store their diagonal. They keep the sum of the row (what leads to ground) and the negative
off-diagonals, and the diagonal is formed from them when it is needed: for passive networks no step then subtracts
nearly equal numbers, so 100 gigohm beside 100 ohm keeps its full precision. This is the star-mesh transformation; see
W. K. Grassmann, M. I. Taksar and D. P. Heyman, Operations Research 33 (1985) 1107-1116, for the idea in another field.

That holds while nothing in the network can cancel anything else: resistors, capacitors, sources, transistors. With
coils or free controlled sources a pivot may vanish (at a resonance, say); such networks go to LAPACK, which exchanges
rows.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import zip_longest

import numpy as np

from piezolab.circuit.elements import GROUND
from piezolab.circuit.elimination import Coefficients, Elimination, Value, checked, substituted, substituted_adjoint
from piezolab.circuit.errors import SingularNetworkError
from piezolab.circuit.ordering import Order, find_order
from piezolab.giving_way import give_way


class Equations:
    """Modified nodal equations A x = b. Unknowns are node voltages (V) and the currents (A) of branches.

    Rows are the current law of each node (right-hand side: current sent into it, A) and the law of each branch
    (right-hand side: its electromotive force, V). No branch may bear the name of a node.
    """

    def __init__(self, nodes: Iterable[str]) -> None:
        self.nodes = [node for node in nodes if node != GROUND]
        self.branches: dict[str, None] = {}  # an ordered set
        self._off: dict[str, Coefficients] = {node: {} for node in self.nodes}
        self._to_ground: dict[str, Value] = dict.fromkeys(self.nodes, 0.0)
        self._ends: dict[str, tuple[str, str]] = {}  # of the branches
        self._partly: dict[str, np.ndarray] = {}  # branches that some members of the batch lack: where they are
        self._delicate = False  # pivots must be chosen by size

    def copy(self) -> Equations:
        """The same equations, to be added to."""
        other = Equations(())
        other.nodes, other.branches, other._ends = self.nodes, self.branches.copy(), self._ends.copy()
        other._off = {row: cells.copy() for row, cells in self._off.items()}
        other._to_ground, other._delicate = self._to_ground.copy(), self._delicate
        other._partly = self._partly.copy()
        return other

    def taken(self, index: np.ndarray, shape: tuple[int, ...]) -> Equations:
        """The equations of some members of the batch, by number in the flattened batch of that shape."""
        other = self.copy()
        for cells in (*other._off.values(), other._to_ground, other._partly):
            cells |= {name: members(value, index, shape) for name, value in cells.items()}
        return other

    # -- collecting ---------------------------------------------------------------------------------------------
    def admittance(self, a: str, b: str, siemens: Value) -> None:
        """An admittance between a and b."""
        if a == b:
            return
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
        positive = siemens >= 0 if isinstance(siemens, float) else np.all(np.real(siemens) >= 0)
        if b != minus or not positive:  # not as in a transistor, where it adds to what is there
            self._delicate = True
        for row, signed in ((a, siemens), (b, -siemens)):
            if row == GROUND:
                continue
            if plus not in (GROUND, row):
                self._add(row, plus, signed)
            if minus not in (GROUND, row):
                self._add(row, minus, -signed)
            if minus == GROUND:
                self._to_ground[row] = self._to_ground[row] + signed
            elif plus == GROUND:
                self._to_ground[row] = self._to_ground[row] - signed

    def branch(self, name: str, a: str, b: str, impedance: Value = 0.0, joined: Value = 1.0) -> None:
        """A branch current as unknown, from a to b, with v(a) - v(b) - impedance * i = (right-hand side).

        Where `joined` is 0 instead of 1 there is no such branch, and its current is 0.
        """
        self.branches[name] = None
        self._ends[name] = (a, b)
        cells = self._off.setdefault(name, {})
        self._to_ground.setdefault(name, 0.0)
        for node, sign in ((a, 1.0), (b, -1.0)):
            if node != GROUND and a != b:
                self._add(name, node, sign * joined)
                self._add(node, name, sign)
        if a != b and b == GROUND:
            self._to_ground[name] = self._to_ground[name] + joined
        elif a != b and a == GROUND:
            self._to_ground[name] = self._to_ground[name] - joined
        if isinstance(joined, np.ndarray):
            self._partly[name] = joined != 0
            impedance = np.where(joined != 0, impedance, 1.0)
        if a == b or (impedance != 0 if isinstance(impedance, int | float | complex) else np.any(impedance)):
            cells[name] = -impedance
            self._delicate = self._delicate or np.iscomplexobj(impedance)

    def control(self, row: str, column: str, value: Value) -> None:
        """A single coefficient that couples a branch to something else."""
        if GROUND in (row, column):
            return
        self._add(row, column, value)
        self._delicate = True
        if column in self.nodes:
            self._to_ground[row] = self._to_ground.get(row, 0.0) + value

    def _add(self, row: str, column: str, value: Value) -> None:
        cells = self._off.setdefault(row, {})
        cells[column] = cells[column] + value if column in cells else value

    # -- solving ------------------------------------------------------------------------------------------------
    def solve(
        self,
        *sides: dict[str, Value],
        wanted: Iterable[str] | None = None,
        enough: Sequence[frozenset[str]] = (),
    ) -> list[dict[str, Value]]:
        """Solutions for one or more right-hand sides (row name -> value); each maps unknown -> value.

        With `wanted` only what these unknowns depend on is worked out, and the answer may hold little else; `enough`:
        for each side what of that is enough there (empty: all).
        Raises SingularNetworkError with the name of the node or branch where the elimination breaks down.
        """
        if self._delicate:
            return self._solve_dense(sides)
        with np.errstate(all="ignore"):  # what is not finite is found and named at the end
            steps = self._eliminated(self._order(None if wanted is None else frozenset(wanted)))
            each = zip_longest(sides, enough, fillvalue=frozenset())
            return checked([substituted(steps, side, some) for side, some in each], steps)

    def solve_adjoint(self, *outputs: dict[str, Value]) -> list[dict[str, Value]]:
        """Solutions y of the transposed equations A' y = c, for one or more outputs c (unknown -> weight).

        Each maps row -> y: what the weighted sum of unknowns answers to a right-hand side of 1 in that row. One
        elimination so gives the transfer from every place of the network to an output (the adjoint network; S. W.
        Director and R. A. Rohrer, IEEE Trans. Circuit Theory CT-16 (1969) 318-323). Raises SingularNetworkError.
        """
        if self._delicate:
            return self._solve_dense(outputs, adjoint=True)
        with np.errstate(all="ignore"):
            steps = self._eliminated(self._order(None))
            return checked([substituted_adjoint(steps, output) for output in outputs], steps)

    def _solve_dense(self, sides: Sequence[dict[str, Value]], adjoint: bool = False) -> list[dict[str, Value]]:
        matrix, names = dense(self)
        scale = np.abs(matrix).max(axis=-1)
        for k, name in enumerate(names):
            if not np.all((scale[..., k] > 0) & (scale[..., k] < np.inf)):
                raise SingularNetworkError(f"nothing determines the voltage or current at {name!r}")
        values = [[np.asarray(side.get(name, 0.0)) for name in names] for side in sides]
        shape = np.broadcast_shapes(*(value.shape for column in values for value in column), scale.shape[:-1])
        right = np.stack([np.stack([np.broadcast_to(v, shape) for v in column], axis=-1) for column in values], axis=-1)
        scale = scale[..., None]
        try:
            if adjoint:
                found = np.linalg.solve(np.swapaxes(matrix / scale, -1, -2), right) / scale
            else:
                found = np.linalg.solve(matrix / scale, right / scale)
        except np.linalg.LinAlgError:
            # LAPACK does not say where; the largest part of a vector that the matrix brings to nothing does
            flat = np.linalg.svd((matrix / scale).reshape(-1, len(names), len(names)))
            member = int(np.argmin(flat.S[:, -1]))
            name = names[int(np.argmax(np.abs(flat.Vh[member, -1])))]
            raise SingularNetworkError(f"the equations have no unique solution at {name!r}") from None
        return [{name: found[..., k, n] for k, name in enumerate(names)} for n in range(len(sides))]

    def _eliminated(self, order: Order) -> list[Elimination]:
        steps: list[Elimination] = []
        try:
            self._eliminate(order, steps)
        except ZeroDivisionError:  # a pivot that does not vary over the batch
            row = order[len(steps)][0]
            raise SingularNetworkError(f"the equations have no unique solution at {row!r}") from None
        return steps

    def _eliminate(self, order: Order, steps: list[Elimination]) -> None:
        off = {row: self._off[row].copy() for row, _, _ in order}
        sums = self._to_ground.copy()
        implicit = set(self.nodes)  # rows whose diagonal is sum minus off-diagonals
        for row, column, kept in order:
            cells = off.pop(row)
            swap = self._partly.get(column) if row in implicit else None
            if swap is not None:
                self._exchange(row, column, swap, cells, off, sums)
                implicit.discard(row)
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
            factors: Coefficients = {}
            for other, there in off.items():
                if column not in there:
                    continue
                factor = there.pop(column) * inverse
                for name, value in cells.items():
                    if name == other and other in implicit:
                        continue  # the diagonal follows from the sum
                    there[name] = there[name] - factor * value if name in there else -factor * value
                if moving:
                    sums[other] = sums[other] - factor * total
                factors[other] = factor
                give_way()
            steps.append((row, column, kept, cells, inverse, factors, swap))

    def _exchange(
        self,
        node: str,
        branch: str,
        stays: np.ndarray,
        cells: Coefficients,
        off: dict[str, Coefficients],
        sums: dict[str, Value],
    ) -> None:
        """Where a member lacks the branch, its law (no current) and the node's current law change places, so that
        both pivots are sound in every member."""
        cells[node] = self._diagonal(sums[node], cells)
        there = off[branch]
        for name in {*cells, *there}:
            mine, other = cells.get(name, 0.0), there.get(name, 0.0)
            cells[name], there[name] = np.where(stays, mine, other), np.where(stays, other, mine)
        mine, other = sums[node], sums[branch]
        sums[node], sums[branch] = np.where(stays, mine, other), np.where(stays, other, mine)

    def _diagonal(self, total: Value, cells: Coefficients) -> Value:
        value = total
        for name, coefficient in cells.items():
            if name not in self.branches:
                value = value - coefficient
        return value

    def _order(self, wanted: frozenset[str] | None) -> Order:
        """Pivots (row, column) of least fill-in, from the pattern alone, kept for the next network of this shape."""
        key = (
            wanted,
            tuple((row, *cells) for row, cells in self._off.items()),
            tuple(self._ends.items()),
            tuple(self._partly),
        )
        if key not in _ORDERS:
            if len(_ORDERS) > 512:
                _ORDERS.clear()
            pattern = {row: set(cells) for row, cells in self._off.items()}
            _ORDERS[key] = find_order(pattern, self.nodes, self._ends, self._partly, wanted)
        return _ORDERS[key]


_ORDERS: dict[object, Order] = {}


def members(value: Value, index: np.ndarray, shape: tuple[int, ...]) -> Value:
    """Some members of a value, by number in the flattened batch of that shape; a plain number is everyone's."""
    return np.broadcast_to(value, shape).reshape(-1)[index] if np.ndim(value) else value


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
